"""One advert's text to its reading: facts first, since the claims' times lean on the mileage, then claims."""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from pipeline.nlp.facts import read_facts
from pipeline.nlp.model import ClaimModel
from pipeline.nlp.trained import Asked, TrainedReader
from pipeline.paths import data_folder
from pipeline.schemas.language import load_language
from pipeline.types import Fact, Reading, StatedValue

_FIRST = "1989 van, 2.0 diesel, 90,000 miles, MOT May, one owner, full history, new clutch last year. £1,000 ono."
TOGETHER = 32  # adverts on which the model works at once; of twice as many little more is gained


class Advert(NamedTuple):
    """A text to read, the day on which it was saved, and what stands beside it."""

    text: str
    saved_on: date
    stated: Sequence[StatedValue] = ()
    title: str | None = None


class AdvertReader:
    """Reads adverts by the rules of a rules folder and the trained model. Loading takes a moment."""

    def __init__(self, rules: Path, models: Path | None = None) -> None:
        model = ClaimModel.load((models or data_folder("models")) / "claim_status")
        self._claims = TrainedReader(load_language(rules), model)

    @staticmethod
    def to_stay(rules: Path) -> AdvertReader:
        """A reader for as long as the process lives: what is loaded now, the garbage collector need not look at again.

        It would at every full round, an eighth of the time of reading. Much is made only when the first text is read.
        """
        reader = AdvertReader(rules)
        reader.read(_FIRST, date(2000, 1, 1))
        gc.freeze()
        return reader

    def read(self, text: str, saved_on: date, stated: Sequence[StatedValue] = (), title: str | None = None) -> Reading:
        """Facts and claims of one text, offsets into `text`; relative dates are worked out from `saved_on`.

        Where text and metadata are silent, facts of a `title` that stands beside the text fill in (offsets -1).
        """
        return next(self.read_all([Advert(text, saved_on, stated, title)]))

    def read_all(self, adverts: Iterable[Advert]) -> Iterator[Reading]:
        """Readings as `read` gives them, one for one and in order; many at once take less time for each."""
        left = iter(adverts)
        while some := list(islice(left, TOGETHER)):
            facts = [_facts(advert) for advert in some]
            asked = [
                Asked(advert.text, advert.saved_on, next((fact.value for fact in told if fact.key == "mileage"), None))
                for advert, (told, _) in zip(some, facts, strict=True)
            ]
            for (told, rivals), claims in zip(facts, self._claims.read_all(asked), strict=True):
                yield Reading(tuple(told), claims, tuple(rivals))


def _facts(advert: Advert) -> tuple[list[Fact], list[Fact]]:
    """Facts and rivals of the text and what stands beside it."""
    text, saved_on, stated, title = advert
    facts, rivals = read_facts(text, saved_on, stated)
    if title and title not in text:
        known = {fact.key for fact in facts}
        named, _ = read_facts(title, saved_on)
        facts += [replace(f, start=-1, end=-1, origin="title") for f in named if f.key not in known]
    return facts, rivals
