"""Prints how fast adverts are read against a blank spaCy pipeline on the same texts in the same run.

python tests/bench/bench_reading.py
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import spacy  # noqa: E402

from pipeline.nlp.advert import AdvertReader  # noqa: E402
from pipeline.nlp.facts import read_facts  # noqa: E402
from pipeline.nlp.reader import Reader  # noqa: E402
from pipeline.schemas.language import load_language  # noqa: E402


def main() -> None:
    """One line a way of reading: adverts a second, and the ratio to cutting into tokens alone."""
    files = sorted((ROOT / "models" / "claim_status" / "corpus").glob("*.jsonl"))
    rows = [json.loads(line) for path in files for line in path.read_text(encoding="utf-8").splitlines()]
    texts = [(row["text"], date.fromisoformat(row["saved_on"])) for row in rows]
    words = sum(len(text.split()) for text, _ in texts)
    print(f"{len(texts)} adverts of {words / len(texts):.0f} words on average")
    blank, claims, both = spacy.blank("en"), Reader(load_language(ROOT / "rules")), AdvertReader(ROOT / "rules")
    base = best(texts, lambda text, _: blank(text))
    ways: dict[str, Callable[[str, date], Any]] = {
        "claims by rules": claims.read_claims,
        "facts": read_facts,
        "facts and claims": both.read,
    }
    print(f"{'blank spaCy pipeline':24} {len(texts) / base:8,.0f} adverts/s")
    for name, way in ways.items():
        taken = best(texts, way)
        print(f"{name:24} {len(texts) / taken:8,.0f} adverts/s, 1/{taken / base:.1f} of the blank pipeline's speed")


def best(texts: list[tuple[str, date]], read: Callable[[str, date], Any], rounds: int = 3) -> float:
    """Seconds of the fastest of some rounds."""
    spans = []
    for _ in range(rounds):
        start = time.perf_counter()
        for text, day in texts:
            read(text, day)
        spans.append(time.perf_counter() - start)
    return min(spans)


if __name__ == "__main__":
    main()
