"""Prints what each part of the reading is worth: `ablation.py [--writers e,g] [GOLD.jsonl ...]`.

Each writer's whole adverts are read by a model trained on all the others (leave one writer out), with the tables that
`CARD.md` holds; some minutes a writer. The columns `bare` are the same adverts without stops and capitals. Annotated
adverts given as arguments are read by a model trained on the whole corpus. Ways of reading:

- keywords: a subject's part or finding is named; its usual status, whatever stands around it
- negspacy: the same keywords, `absent` where the PyPI package negspacy finds them negated (Chapman et al. 2001)
- rules: the rules with their scope, no model
- model: the model without anything that the rules say of a chunk
- both: what the program uses
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT), str(HERE)]

import spacy  # noqa: E402
from learn import Example, examples, load, train, unpunctuated  # noqa: E402
from spacy.tokens import Doc, Span  # noqa: E402
from train import SETTINGS, gaps_of  # noqa: E402

from pipeline.nlp.features import encode  # noqa: E402
from pipeline.nlp.model import ClaimModel  # noqa: E402
from pipeline.nlp.reader import Read  # noqa: E402
from pipeline.nlp.trained import TrainedReader  # noqa: E402
from pipeline.nlp.words import Words  # noqa: E402
from pipeline.schemas.language import load_language  # noqa: E402

WRITERS = "abcdefgklmnop"  # whole adverts, one writer a file; h and i are passages
STEPS = 10
ALONE = 0.35  # chance from which on a claim of the model alone stands
Pairs = set[tuple[str, str]]
Way = Callable[[Example], Pairs]


class Score:
    """Counts of right, made up and missed (advert, subject, status), and of (advert, subject)."""

    def __init__(self) -> None:
        self.claims: Counter[str] = Counter()
        self.subjects: Counter[str] = Counter()

    def add(self, got: Pairs, gold: Pairs) -> None:
        """Counts one advert."""
        for counts, one, two in (
            (self.claims, got, gold),
            (self.subjects, {s for s, _ in got}, {s for s, _ in gold}),
        ):
            counts["right"] += len(one & two)
            counts["made up"] += len(one - two)
            counts["missed"] += len(two - one)

    def f1(self, of: str = "claims") -> float:
        """F1 score of claims or subjects."""
        c: Counter[str] = getattr(self, of)
        return 2 * c["right"] / max(1, 2 * c["right"] + c["made up"] + c["missed"])


def keywords(example: Example) -> Pairs:
    """Every subject named, with the status of its words when nothing around them counts."""
    return {(m.subject, m.rule.default or "present") for m in example.read.mentions}


def negex() -> Way:
    """negspacy over the same keywords."""
    from negspacy.negation import Negex  # noqa: F401  registers the component

    nlp = spacy.blank("en")
    nlp.add_pipe("sentencizer")
    nlp.add_pipe("negex", config={"chunk_prefix": ["no"]})

    def read(example: Example) -> Pairs:
        tokens = example.read.tokens
        doc = Doc(nlp.vocab, words=[norm if norm.strip() else "." for norm in tokens.norms] or ["."])
        spans, last = [], 0
        for mention in sorted(example.read.mentions, key=lambda m: (m.start, -m.end)):
            if mention.start >= last:
                spans.append(Span(doc, mention.start, mention.end, label=mention.subject))
                last = mention.end
        doc.ents = spans
        for _, pipe in nlp.pipeline:
            doc = pipe(doc)
        usual = {m.start: m.rule.default or "present" for m in example.read.mentions}
        return {(e.label_, "absent" if e._.negex else usual.get(e.start, "present")) for e in doc.ents}

    return read


def bare(example: Example, words: Words) -> Example | None:
    """An advert as cut into chunks, without what the rules found in it."""
    read = Read(example.read.tokens, example.read.sentences, [], [], {}, example.read.dater)
    encoded = encode([read], words)
    return None if encoded is None else Example(example.row, read, encoded, example.claims)


def by(reader: TrainedReader) -> Way:
    """The program's own reading, whole."""

    def read(example: Example) -> Pairs:
        row = example.row
        found = reader.read_claims(row["text"], date.fromisoformat(row["saved_on"]), row["facts"].get("mileage"))
        return {(claim.subject, claim.status) for claim in found}

    return read


def alone(model: ClaimModel, words: Words) -> Way:
    """The model with nothing from the rules."""

    def read(example: Example) -> Pairs:
        one = bare(example, words)
        if one is None:
            return set()
        return model.guesses([one.read])[1].likely(ALONE)

    return read


def table(rows: dict[str, dict[str, Score]], names: Sequence[str]) -> str:
    """Markdown: F1 of claims / of subjects, a line a way of reading."""
    lines = ["| | " + " | ".join(names) + " |", "| --- |" + " ---: |" * len(names)]
    for way, scores in rows.items():
        cells = [f"{scores[n].f1():.3f} / {scores[n].f1('subjects'):.3f}" for n in names]
        lines.append(f"| {way} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def main(argv: Sequence[str] | None = None) -> None:
    """Prints the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--writers", default=",".join(WRITERS), help="files of the corpus to read, without .jsonl")
    parser.add_argument("gold", nargs="*", help="annotated adverts of your own")
    options = parser.parse_args(argv)
    language = load_language(ROOT / "rules")
    words = Words()
    corpora = {path.stem: load(path) for path in sorted((HERE / "corpus").glob("*.jsonl"))}
    golds = {Path(path).stem: load(Path(path)) for path in options.gold}
    subjects = sorted({claim["subject"] for rows in corpora.values() for row in rows for claim in row["claims"]})
    table_rows: dict[str, dict[str, Score]] = {way: {} for way in ("keywords", "negspacy", "rules", "model", "both")}
    outside = negex()
    weigh = ClaimModel.load(HERE).weigh  # its few numbers rest on all writers
    bins: list[list[bool]] = [[] for _ in range(STEPS)]
    for name in [*(n for n in options.writers.split(",") if n in corpora), *(["gold"] if golds else [])]:
        others = {other: rows for other, rows in corpora.items() if other != name}
        gaps = gaps_of(others)
        plain = TrainedReader(language, ClaimModel.empty(gaps))
        rest = [one for rows in others.values() for one in examples(rows, plain, words)]
        model = train(rest, subjects, words, SETTINGS, gaps, weigh)
        bares = [one for one in (bare(example, words) for example in rest) if one is not None]
        ways: dict[str, Way] = {
            "keywords": keywords,
            "negspacy": outside,
            "rules": lambda e: {(m.subject, told[0]) for m in e.read.mentions for told in m.statuses},
            "model": alone(train(bares, subjects, words, SETTINGS, gaps), words),
            "both": by(TrainedReader(language, model)),
        }
        for held, texts in golds.items() if name == "gold" else [(name, corpora[name])]:
            bare_texts = [row for row in map(unpunctuated, texts) if row is not None]
            for label, some in ((held, texts), (f"{held} bare", bare_texts)):
                found = examples(some, plain, words)
                for way, read in ways.items():
                    score = table_rows[way][label] = Score()
                    for example in found:
                        score.add(read(example), example.gold)
                if label == name:
                    calibrate(TrainedReader(language, model), found, bins)
    print("F1 of claims / of subjects\n")
    print(table(table_rows, list(table_rows["both"])))
    print("\nReliability of the confidences, over all left-out writers\n")
    print("| told | claims | right |\n| --- | ---: | ---: |")
    for step, right in enumerate(bins):
        if right:
            low = step / STEPS
            print(f"| {low:.1f}–{low + 1 / STEPS:.1f} | {len(right)} | {sum(right) / len(right):.2f} |")


def calibrate(reader: TrainedReader, found: Sequence[Example], bins: list[list[bool]]) -> None:
    """Counts how often claims of each confidence are right."""
    for example in found:
        row: dict[str, Any] = example.row
        for claim in reader.read_claims(row["text"], date.fromisoformat(row["saved_on"]), row["facts"].get("mileage")):
            bins[min(STEPS - 1, int(claim.confidence * STEPS))].append((claim.subject, claim.status) in example.gold)


if __name__ == "__main__":
    main()
