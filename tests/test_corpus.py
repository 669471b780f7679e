"""The annotated corpus is sound: quotes stand in their texts, codes are known, no claim twice."""

import json
from pathlib import Path

import pytest

from pipeline.paths import data_folder
from pipeline.schemas.subjects import load_subjects
from pipeline.types import FACT_KEYS, GRADES, STATUSES

CORPUS = sorted((Path(__file__).resolve().parent.parent / "models" / "claim_status" / "corpus").glob("*.jsonl"))


SUBJECTS = load_subjects(data_folder("rules")).names


def test_there_is_a_corpus() -> None:
    assert CORPUS


@pytest.mark.parametrize("path", CORPUS, ids=lambda p: p.name)
def test_annotations_hold(path: Path) -> None:
    rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    assert len({row["id"] for row in rows}) == len(rows)
    for row in rows:
        assert set(row["facts"]) == set(FACT_KEYS), row["id"]
        keys = [(c["subject"], c["status"]) for c in row["claims"]]
        assert len(set(keys)) == len(keys), row["id"]
        for claim in row["claims"]:
            assert claim["subject"] in SUBJECTS, (row["id"], claim)
            assert claim["quote"] in row["text"], (row["id"], claim["quote"])
            assert claim["status"] in STATUSES and claim["grade"] in GRADES, (row["id"], claim)
