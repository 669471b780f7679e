"""Adverts that nobody punctuated: where their clauses are found to begin, and what is read of them."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from pipeline.nlp.model import ClaimModel
from pipeline.nlp.run_on import LEAST, RunOn, stretches
from pipeline.nlp.tokens import Normaliser, tokenize
from pipeline.nlp.trained import TrainedReader
from pipeline.schemas.language import load_language

ROOT = Path(__file__).resolve().parents[2]
MODEL = ClaimModel.load(ROOT / "models" / "claim_status")
READER = TrainedReader(load_language(ROOT / "rules"), MODEL)
SAVED = date(2026, 10, 14)
ADVERT = (
    "selling my van had it five years never let me down cambelt and water pump done at 80k got the bill needs two "
    "front tyres for the next test rear arches are starting to bubble no leaks engine runs sweet gearbox a bit notchy "
    "when cold clutch was new last year brakes good just put discs on it only selling as work gave me one no time "
    "wasters"
)


def norms(text: str) -> list[str]:
    return tokenize(text, Normaliser()).norms


def test_only_long_stretches_without_punctuation_are_looked_at() -> None:
    assert stretches(norms("Belt done. Clutch fine, brakes good.")) == []
    some = "one " * (LEAST + 3)
    assert stretches(norms(f"Sold. {some}, and more")) == [(2, 2 + LEAST + 3)]
    assert stretches(norms("price £900 & a/c + tax " * 4)) == [(0, len(norms("price £900 & a/c + tax " * 4)))]


def test_clauses_begin_where_a_writer_would_have_put_a_stop() -> None:
    said = norms(ADVERT)
    stops, pauses = MODEL.run_on.divide([said])[0]
    begun = {said[place] for place in stops | pauses}
    assert {"cambelt", "rear", "engine", "gearbox", "clutch"} <= begun
    assert not {"my", "the", "for", "to"} & begun  # what no clause begins with
    assert stops <= set(range(len(said)))


def test_one_that_has_learned_nothing_divides_nothing() -> None:
    assert RunOn(RunOn.nothing()).divide([norms(ADVERT)]) == [(frozenset(), frozenset())]


def test_an_advert_without_stops_says_what_it_would_say_with_them() -> None:
    told = {(claim.subject, claim.status) for claim in READER.read_claims(ADVERT, SAVED)}
    assert {("timing_belt", "done"), ("wings_arches", "present"), ("clutch", "done"), ("brakes", "done")} <= told
    assert ("wings_arches", "absent") not in told and ("gearbox", "absent") not in told


@pytest.mark.parametrize("text", [ADVERT * 40, "no rust " * 5000, "x " * 20_000, "\u00e9 " * 300])
def test_offsets_hold_in_long_stretches(text: str) -> None:
    for claim in READER.read_claims(text, SAVED):
        assert text[claim.start : claim.end] == claim.quote


def test_chances_rest_on_the_words_around_a_gap_alone() -> None:
    """The same words divide alike wherever they stand in a stretch, so that a longer advert changes nothing."""
    said = norms(ADVERT)
    once = np.array(sorted(MODEL.run_on.divide([said])[0][1]))
    twice = np.array(sorted(MODEL.run_on.divide([said + said])[0][1]))
    inner = once[once < len(said) - 2]
    assert set(inner.tolist()) <= set(twice.tolist())
    assert set((inner[inner > 2] + len(said)).tolist()) <= set(twice.tolist())
