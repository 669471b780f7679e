"""The rules on our own annotated adverts: how much they find, that offsets are right, and how fast they read."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.nlp.reader import Reader
from pipeline.schemas.language import load_language

ROOT = Path(__file__).parents[2]
CORPUS = ROOT / "models" / "claim_status" / "corpus"
READER = Reader(load_language(ROOT / "rules"))


def adverts(name: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (CORPUS / f"{name}.jsonl").read_text(encoding="utf-8").splitlines()]


# The rules were written with a and b at hand; c was kept back and shows what they do with words they have not seen.
@pytest.mark.parametrize(("name", "floor"), [("a", 0.75), ("b", 0.75), ("c", 0.55)])
def test_claims_are_found(name: str, floor: float) -> None:
    right = read = said = 0
    for row in adverts(name):
        claims = READER.read_claims(row["text"], date.fromisoformat(row["saved_on"]), row["facts"].get("mileage"))
        for claim in claims:
            assert row["text"][claim.start : claim.end] == claim.quote
        found = {(claim.subject, claim.status) for claim in claims}
        gold = {(claim["subject"], claim["status"]) for claim in row["claims"]}
        right += len(found & gold)
        read += len(found)
        said += len(gold)
    f1 = 2 * right / (read + said)
    print(f"corpus {name}: precision {right / read:.3f}, recall {right / said:.3f}, F1 {f1:.3f}")
    assert f1 >= floor
