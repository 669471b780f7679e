"""Prints how fast adverts are read against a blank spaCy pipeline on the same texts in the same run, and the memory.

python tests/bench/bench_reading.py [ADVERTS]: so many adverts are read for the memory, 100,000 unless told.
"""

from __future__ import annotations

import json
import resource
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import spacy  # noqa: E402
from rounds import Way, fastest  # noqa: E402

from pipeline.nlp.advert import Advert, AdvertReader  # noqa: E402
from pipeline.nlp.facts import read_facts  # noqa: E402
from pipeline.nlp.reader import Reader  # noqa: E402
from pipeline.schemas.language import Language, load_language  # noqa: E402

BLANK = "blank spaCy pipeline"
NEGEX = "negspacy, as many phrases"
WORDS = (80, 190)  # of an advert
Texts = list[tuple[str, date]]


def main(adverts: int = 100_000) -> None:
    """One line a way of reading: adverts a second of CPU time, and the ratio to cutting into tokens alone."""
    texts = corpus()
    print(f"{len(texts)} adverts of {mean_words(texts):.0f} words on average")
    language = load_language(ROOT / "rules")
    blank, claims, outside = spacy.blank("en"), Reader(language), negspacy(language)
    both = AdvertReader.to_stay(ROOT / "rules")  # last: what it holds is not looked at by any way's garbage collection
    ways: dict[str, Way] = {
        BLANK: lambda: [len(blank(text)) for text, _ in texts],
        "claims by rules": lambda: [len(claims.read_claims(*advert)) for advert in texts],
        "facts": lambda: [len(read_facts(*advert)) for advert in texts],
        "facts and claims": lambda: [len(reading.claims) for reading in both.read_all(Advert(*one) for one in texts)],
        NEGEX: lambda: [len(outside(text)) for text, _ in texts],
    }
    taken = fastest(ways)
    for name, seconds in taken.items():
        ratio = "" if name == BLANK else f", 1/{seconds / taken[BLANK]:.1f} of the blank pipeline's speed"
        print(f"{name:24} {len(texts) / seconds:8,.0f} adverts/s{ratio}")
    memory(texts, both, adverts)


def corpus() -> Texts:
    """The corpus' adverts of a usual length, and the day on which each was saved."""
    files = sorted((ROOT / "models" / "claim_status" / "corpus").glob("*.jsonl"))
    rows = [json.loads(line) for path in files for line in path.read_text(encoding="utf-8").splitlines()]
    whole = [row for row in rows if WORDS[0] <= len(row["text"].split()) <= WORDS[1]]
    return [(row["text"], date.fromisoformat(row["saved_on"])) for row in whole]


def mean_words(texts: Texts) -> float:
    """Words of an advert on average."""
    return sum(len(text.split()) for text, _ in texts) / len(texts)


def target_phrases(language: Language) -> list[dict[str, str]]:
    """The plain phrases of the rules as `label` and `pattern`, for tools that take no patterns such as the rules'."""
    return [
        {"label": subject, "pattern": pattern}
        for subject, rules in language.subjects.items()
        for rule in rules
        for pattern in rule.patterns
        if not set("|?<>.") & set(pattern)
    ]


def negspacy(language: Language) -> Callable[[str], Any]:
    """negspacy (Chapman et al. 2001) over the plain phrases of the same rules."""
    from negspacy.negation import Negex  # noqa: F401  registers the component

    nlp = spacy.blank("en")
    nlp.add_pipe("sentencizer")
    ruler = nlp.add_pipe("entity_ruler", config={"phrase_matcher_attr": "LOWER"})
    phrases = target_phrases(language)
    ruler.add_patterns(phrases)  # type: ignore[attr-defined]
    nlp.add_pipe("negex", config={"chunk_prefix": ["no"]})
    print(f"{len(phrases):,} target phrases for negspacy")
    return nlp


def memory(texts: Texts, reader: AdvertReader, adverts: int) -> None:
    """Reads many adverts, no two alike and each with a word of its own, and prints the greatest memory held so far."""
    every = (_own(texts, number) for number in range(1, adverts + 1))
    for number, _ in enumerate(reader.read_all(every), 1):
        if number in (adverts // 10, adverts // 2, adverts):
            print(f"greatest memory after {number:7,} adverts: {_peak():6.1f} MB")


def _own(texts: Texts, number: int) -> Advert:
    text, day = texts[number % len(texts)]
    return Advert(f"{text}\nLot{number} qx{number:x}zed, ref {number}.", day)


def _peak() -> float:
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return held / (1 << 20 if sys.platform == "darwin" else 1 << 10)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
