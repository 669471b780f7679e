"""One advert's text to its reading: facts first, since the claims' times lean on the mileage, then claims."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from pipeline.nlp.facts import read_facts
from pipeline.nlp.model import ClaimModel
from pipeline.nlp.trained import TrainedReader
from pipeline.paths import data_folder
from pipeline.schemas.language import load_language
from pipeline.types import Reading, StatedValue


class AdvertReader:
    """Reads adverts by the rules of a rules folder and the trained model. Loading takes a moment."""

    def __init__(self, rules: Path, models: Path | None = None) -> None:
        model = ClaimModel.load((models or data_folder("models")) / "claim_status")
        self._claims = TrainedReader(load_language(rules), model)

    def read(self, text: str, saved_on: date, stated: Sequence[StatedValue] = (), title: str | None = None) -> Reading:
        """Facts and claims of one text, offsets into `text`; relative dates are worked out from `saved_on`.

        Where text and metadata are silent, facts of a `title` that stands beside the text fill in (offsets -1).
        """
        facts, rivals = read_facts(text, saved_on, stated)
        if title and title not in text:
            known = {fact.key for fact in facts}
            named, _ = read_facts(title, saved_on)
            facts += [replace(f, start=-1, end=-1, origin="title") for f in named if f.key not in known]
        mileage = next((fact.value for fact in facts if fact.key == "mileage"), None)
        claims = self._claims.read_claims(text, saved_on, mileage)
        return Reading(tuple(facts), claims, tuple(rivals))
