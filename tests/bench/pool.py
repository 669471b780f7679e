"""Pools of adverts of any size, made from the project's own corpus with a seed: the same count, the same pool.

Each advert keeps the sentences of one corpus advert that hold numbers, with the numbers varied, and has about half of
its other sentences from others, so that adverts are as alike as those of one market and none is another's copy.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PLACES = ("Hexham", "Skipton", "Stroud", "Kendal", "Ludlow", "Bath", "Inverness", "Truro", "York", "Norwich", "Dorking")
_SENTENCE = re.compile(r"[^.!?\n]+[.!?\n]*")
_PRICE = re.compile(r"£\s?(\d{1,2},?\d{3}|\d{3,5})\b")
_MILES = re.compile(r"\b(\d{2,3}),(\d{3})\b")
_YEAR = re.compile(r"\b(19[6-9]\d|200\d)\b")
_LONE_K = re.compile(r"\b(\d{2,3})k\b")


def corpus() -> list[str]:
    """The corpus's texts, in the order of its files."""
    files = sorted((ROOT / "models" / "claim_status" / "corpus").glob("*.jsonl"))
    return [json.loads(line)["text"] for file in files for line in file.read_text(encoding="utf-8").splitlines()]


def adverts(count: int, seed: int = 8) -> Iterator[dict[str, Any]]:
    """Rows as `viewworthy add` takes them: id, text, saved_on, place."""
    rng = random.Random(seed)
    pieces = [_SENTENCE.findall(text) for text in corpus()]
    loose = [piece for text in pieces for piece in text if not any(c.isdigit() for c in piece) and len(piece) > 25]
    for number in range(count):
        words = []
        for piece in rng.choice(pieces):
            plain = not any(c.isdigit() for c in piece)
            words.append(rng.choice(loose) if plain and rng.random() < 0.5 else _varied(piece, rng))
        yield {
            "id": f"made-{number}",
            "text": "".join(words).strip(),
            "saved_on": "2026-10-20",
            "place": rng.choice(PLACES),
        }


def _varied(piece: str, rng: random.Random) -> str:
    piece = _PRICE.sub(lambda m: f"£{round(int(m[1].replace(',', '')) * rng.uniform(0.6, 1.6), -1):,.0f}", piece)
    piece = _MILES.sub(lambda m: f"{round(int(m[1] + m[2]) * rng.uniform(0.6, 1.5), -2):,.0f}", piece)
    piece = _LONE_K.sub(lambda m: f"{round(int(m[1]) * rng.uniform(0.7, 1.4)):.0f}k", piece)
    return _YEAR.sub(lambda m: str(int(m[1]) + rng.randint(-3, 3)), piece)


def write(folder: Path, count: int, seed: int = 8, together: int = 1000) -> None:
    """The pool as JSONL files of `together` adverts each."""
    lines = [json.dumps(row, ensure_ascii=False) + "\n" for row in adverts(count, seed)]
    for start in range(0, count, together):
        text = "".join(lines[start : start + together])
        (folder / f"pool-{start:07}.jsonl").write_text(text, encoding="utf-8")
