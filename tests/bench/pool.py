"""Pools of adverts of any size, made from the project's own corpus with a seed: the same count, the same pool.

Each advert keeps the sentences of one corpus advert that hold numbers, with the numbers varied, and has most of its
other sentences from others. Some adverts and sentences are used far more often than others, as words are in any text
(Zipf 1949; the offset after Mandelbrot 1953), so that a larger pool goes on bringing what few adverts hold. One advert
in twenty is a vehicle advertised again: shorter, and cheaper where it named its price.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator, Sequence
from itertools import accumulate, islice
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PLACES = ("Hexham", "Skipton", "Stroud", "Kendal", "Ludlow", "Bath", "Inverness", "Truro", "York", "Norwich", "Dorking")
LEAST_WORDS = 40  # below are phrases to train on, no adverts
OFFSET, FROM_OTHERS, AGAIN, REMEMBERED = 50, 0.8, 0.05, 300
_SENTENCE = re.compile(r"[^.!?\n]+[.!?\n]*")
_PRICE = re.compile(r"£\s?(\d{1,2},?\d{3}|\d{3,5})\b")
_MILES = re.compile(r"\b(\d{2,3}),(\d{3})\b")
_YEAR = re.compile(r"\b(19[6-9]\d|200\d)\b")
_LONE_K = re.compile(r"\b(\d{2,3})k\b")


def corpus() -> list[str]:
    """The corpus's adverts, in the order of its files."""
    files = sorted((ROOT / "models" / "claim_status" / "corpus").glob("*.jsonl"))
    texts = [json.loads(line)["text"] for file in files for line in file.read_text(encoding="utf-8").splitlines()]
    return [text for text in texts if len(text.split()) >= LEAST_WORDS]


def adverts(count: int, seed: int = 8) -> Iterator[dict[str, Any]]:
    """Rows as `viewworthy add` takes them: id, text, saved_on, place."""
    rng = random.Random(seed)
    bases = [_SENTENCE.findall(text) for text in corpus()]
    loose = [piece for text in bases for piece in text if not _has_number(piece) and len(piece) > 25]
    rng.shuffle(bases)
    rng.shuffle(loose)
    often, loose_often = _often(bases), _often(loose)
    recent: list[list[str]] = []
    for number in range(count):
        if recent and rng.random() < AGAIN:
            pieces = _again(rng.choice(recent), rng)
        else:
            pieces = [
                rng.choices(loose, cum_weights=loose_often)[0]
                if not _has_number(piece) and rng.random() < FROM_OTHERS
                else _varied(piece, rng)
                for piece in rng.choices(bases, cum_weights=often)[0]
            ]
            recent = [*recent[1 - REMEMBERED :], pieces]
        yield {
            "id": f"made-{number}",
            "text": "".join(pieces).strip(),
            "saved_on": "2026-10-20",
            "place": rng.choice(PLACES),
        }


def _has_number(piece: str) -> bool:
    return any(c.isdigit() for c in piece)


def _often(things: Sequence[object]) -> list[float]:
    """How often each is used, summed up from the first."""
    return list(accumulate(1 / (OFFSET + rank) for rank in range(len(things))))


def _again(pieces: list[str], rng: random.Random) -> list[str]:
    """The same vehicle, advertised once more."""
    gone = rng.randrange(len(pieces))
    kept = [piece for n, piece in enumerate(pieces) if n != gone or _has_number(piece)]
    return [_PRICE.sub(lambda m: f"£{int(m[1].replace(',', '')) * 0.95:,.0f}", piece) for piece in kept]


def _varied(piece: str, rng: random.Random) -> str:
    piece = _PRICE.sub(lambda m: f"£{round(int(m[1].replace(',', '')) * rng.uniform(0.6, 1.6), -1):,.0f}", piece)
    piece = _MILES.sub(lambda m: f"{round(int(m[1] + m[2]) * rng.uniform(0.6, 1.5), -2):,.0f}", piece)
    piece = _LONE_K.sub(lambda m: f"{round(int(m[1]) * rng.uniform(0.7, 1.4)):.0f}k", piece)
    return _YEAR.sub(lambda m: str(int(m[1]) + rng.randint(-3, 3)), piece)


def write(folder: Path, count: int, seed: int = 8, together: int = 1000) -> None:
    """The pool as JSONL files of `together` adverts each."""
    lines = (json.dumps(row, ensure_ascii=False) + "\n" for row in adverts(count, seed))
    for start in range(0, count, together):
        text = "".join(islice(lines, together))
        (folder / f"pool-{start:07}.jsonl").write_text(text, encoding="utf-8")
