"""Reads an advert's text and what was stated beside it; gives facts with quote, offsets and rule, and their rivals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pipeline.nlp.facts.candidates import Candidate
from pipeline.nlp.facts.engine import read_engine
from pipeline.nlp.facts.identity import read_identity
from pipeline.nlp.facts.mileage import read_mileage
from pipeline.nlp.facts.price import read_price
from pipeline.nlp.facts.roadtest import read_test
from pipeline.nlp.facts.scene import Scene
from pipeline.nlp.facts.stated import same_value, stated_facts
from pipeline.nlp.facts.values import read_history, read_owners
from pipeline.nlp.facts.year import read_year
from pipeline.types import FACT_KEYS, Fact, StatedValue

__all__ = ["read_facts"]


def read_facts(text: str, saved_on: date, stated: Sequence[StatedValue] = ()) -> tuple[list[Fact], list[Fact]]:
    """Chosen facts in the order of FACT_KEYS, and rivals: candidates that lost, metadata that disagrees.

    The text wins over what was stated beside it unless it is silent. Months said without a year are worked out from
    `saved_on`. Values: numbers, codes of the annotation guide; years a tuple of the acceptable years.
    """
    scene = Scene.of(text, saved_on)
    chosen: list[Candidate] = []
    rivals: list[Candidate] = []

    def keep(read: tuple[list[Candidate], list[Candidate]]) -> None:
        chosen.extend(read[0])
        rivals.extend(read[1])

    for reader in (read_identity, read_price, read_engine, read_test, read_owners, read_history):
        keep(reader(scene))
    keep(read_year(scene, next((one for one in chosen if one.key == "plate"), None)))
    owned = [
        (one.start, one.end) for one in chosen if one.key in ("asking_price", "year", "plate", "vin", "engine_litres")
    ]
    keep(read_mileage(scene, owned))
    facts = {fact.key: fact for one in chosen for fact in one.facts(text)}
    others = [one.fact(text) for one in rivals]
    for fact in stated_facts(stated):
        if fact.key not in facts:
            facts[fact.key] = fact
        elif not same_value(fact.key, facts[fact.key].value, fact.value):
            others.append(fact)
    return [facts[key] for key in FACT_KEYS if key in facts], others
