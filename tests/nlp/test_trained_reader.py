"""The trained reader: what it was trained on, that training gives the same again, and what it makes of texts."""

import gc
import hashlib
import json
import sys
import time
import zipfile
from datetime import date
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "models" / "claim_status"
sys.path.insert(0, str(FOLDER))

from learn import examples, fit_arrays, load  # noqa: E402
from train import SETTINGS, digest  # noqa: E402

from pipeline.errors import ModelError  # noqa: E402
from pipeline.nlp.merge import ORIGIN  # noqa: E402
from pipeline.nlp.model import ARTEFACT, ClaimModel, Guesses  # noqa: E402
from pipeline.nlp.run_on import RunOn  # noqa: E402
from pipeline.nlp.trained import TrainedReader  # noqa: E402
from pipeline.nlp.weigh import Candidates, allowed, candidates  # noqa: E402
from pipeline.nlp.words import Words  # noqa: E402
from pipeline.schemas.language import load_language  # noqa: E402
from pipeline.types import STATUSES  # noqa: E402

LANGUAGE = load_language(ROOT / "rules")
READER = TrainedReader(LANGUAGE, ClaimModel.load(FOLDER))
METRICS = json.loads((FOLDER / "metrics.json").read_text(encoding="utf-8"))
SAVED = date(2026, 10, 14)


def test_artefact_is_the_one_that_the_metrics_are_of() -> None:
    assert hashlib.sha256((FOLDER / ARTEFACT).read_bytes()).hexdigest() == METRICS["artefact_sha256"]
    assert METRICS["settings"] == SETTINGS


def test_it_was_trained_on_the_rules_and_the_corpus_that_are_here() -> None:
    """When this fails after a change of rules or corpus: python models/claim_status/train.py."""
    rules = [*(ROOT / "rules" / "subjects").glob("*.yaml"), *(ROOT / "rules" / "scope").glob("*.yaml")]
    assert METRICS["rules_sha256"] == digest(rules)
    assert METRICS["corpus_sha256"] == digest(list((FOLDER / "corpus").glob("*.jsonl")))


def test_artefact_is_small_and_holds_no_objects() -> None:
    assert (FOLDER / ARTEFACT).stat().st_size < 20_000_000
    with zipfile.ZipFile(FOLDER / ARTEFACT) as archive:
        assert all(name.endswith(".npy") for name in archive.namelist())
    with np.load(FOLDER / ARTEFACT, allow_pickle=False) as arrays:
        assert all(arrays[name].dtype != object for name in arrays.files)


def test_training_gives_the_same_again() -> None:
    rows = load(FOLDER / "corpus" / "a.jsonl")[:40]
    subjects = sorted({claim["subject"] for row in rows for claim in row["claims"]})
    fitted = []
    for _ in range(2):
        words = Words()
        found = examples(rows, TrainedReader(LANGUAGE, ClaimModel.empty()), words)
        fitted.append(fit_arrays(found, subjects, words, SETTINGS, RunOn.nothing()))
    (one, meta), (two, other) = fitted
    assert meta == other
    assert all(np.array_equal(one[name], two[name]) for name in one)
    assert len(one["chunk_keys"]) > 500 and np.abs(one["chunk_weights"]).max() > 0.1


def test_learned_words_carry_over_to_texts_that_were_never_seen() -> None:
    """A reader of forty adverts finds more in the next forty than one that has learned nothing."""
    rows = load(FOLDER / "corpus" / "a.jsonl")
    words = Words()
    plain = TrainedReader(LANGUAGE, ClaimModel.empty())
    found = examples(rows[:100], plain, words)
    subjects = sorted({claim["subject"] for row in rows for claim in row["claims"]})
    model = ClaimModel(*fit_arrays(found, subjects, words, SETTINGS, RunOn.nothing()))
    right = 0
    for example in examples(rows[100:], plain, words):
        got = model.guesses([example.read])[1].likely(0.5)
        right += len(got & example.gold) - len(got - example.gold)
    assert right > 50


@pytest.mark.parametrize(
    ("text", "subject", "status"),
    [
        ("She drinks a litre of water a week and I have not found out where it goes.", "cooling", "present"),
        ("When it rains the sunroof drips on your knee.", "water_ingress", "present"),
        ("New clutch last March, bites where it should.", "clutch", "done"),
        ("No rust anywhere underneath.", "rust_general", "absent"),
    ],
)
def test_reads(text: str, subject: str, status: str) -> None:
    claims = READER.read_claims(text, SAVED)
    assert (subject, status) in {(claim.subject, claim.status) for claim in claims}, claims
    for claim in claims:
        assert text[claim.start : claim.end] == claim.quote
        assert 0 < claim.confidence < 1
        assert claim.rule


def test_a_claim_is_less_sure_beside_its_opposite() -> None:
    model = ClaimModel.load(FOLDER)
    one, other = (0.5, 0.05, 0.05, 0.05, 0.05), (0.02, 0.9, 0.02, 0.02, 0.02)

    def found(said: list[tuple[float, ...]], told: set[tuple[str, str]], limits: dict[str, set[str]]) -> Candidates:
        """Candidates of an advert whose chunks say so of the clutch."""
        size, none = len(said), np.zeros(len(said), np.int64)
        guesses = Guesses(["clutch"], none, np.arange(size), none, np.full(size, 0.9), np.array(said), [()] * size)
        return candidates(guesses, [told], [9], allowed(["clutch"], limits))

    def sure(said: list[tuple[float, ...]], told: set[tuple[str, str]]) -> float:
        likely = found(said, told, {})
        return float(model.confidences(likely.features)[likely.claims().index(("clutch", STATUSES[0]))])

    assert sure([one], set()) > sure([one, other], set())
    assert sure([one], {("clutch", STATUSES[0])}) > sure([one, other], {("clutch", STATUSES[0])})
    assert found([one], set(), {"clutch": {STATUSES[1]}}).claims() == [("clutch", STATUSES[1])]  # all that it can have


def test_claims_of_the_model_alone_name_it() -> None:
    rows = load(FOLDER / "corpus" / "h.jsonl")[:400]
    rules = {claim.rule for row in rows for claim in READER.read_claims(row["text"], SAVED)}
    assert any(rule.startswith(ORIGIN) for rule in rules) and any(not rule.startswith(ORIGIN) for rule in rules)


@pytest.mark.parametrize("text", ["", "\n\n", "\x00", "()[]{}" * 400, "no " * 3000, "é\u0301" * 500, "x" * 200_000])
def test_hostile_texts_give_right_offsets_and_no_error(text: str) -> None:
    for claim in READER.read_claims(text, SAVED):
        assert text[claim.start : claim.end] == claim.quote


def test_time_is_linear_in_the_length() -> None:
    """The best of three, without collecting garbage, as `timeit` does: other tests' objects are no part of it."""
    text = "sills solid, new clutch, no rust on the arches, needs tyres at 90k. "

    def span(times: int) -> float:
        begun = time.process_time()
        READER.read_claims(text * times, SAVED)
        return time.process_time() - begun

    gc.disable()
    try:
        spans = [min(span(times) for _ in range(3)) for times in (300, 1200)]
    finally:
        gc.enable()
    assert spans[1] < 10 * spans[0] + 0.2


def test_a_missing_or_foreign_artefact_is_told_with_its_place(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="train"):
        ClaimModel.load(tmp_path)
    (tmp_path / ARTEFACT).write_bytes(b"no archive")
    with pytest.raises(ModelError, match="claim_status"):
        ClaimModel.load(tmp_path)
