"""Run by bench_medspacy.py with the Python of medspacy's environment: says what it is, then times a turn when asked.

    python medspacy_ways.py GIVEN

GIVEN is a JSON of `texts`, `phrases` (`label` and `pattern`) and `few` of these. Answers are JSON, one a line: first
`versions`, and what each way `found` (targets, and those negated); then, for each line that comes in, CPU seconds of
each way.
"""

from __future__ import annotations

import gc
import json
import platform
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Any

import medspacy  # type: ignore[import-not-found]
import spacy
from loguru import logger  # type: ignore[import-not-found]
from medspacy.ner import TargetRule  # type: ignore[import-not-found]
from rounds import Way, turn

BLANK = "blank spaCy pipeline"
Phrases = list[dict[str, str]]


def main(given: Path) -> None:
    """Answers on standard output, which nothing else may write to."""
    answers, sys.stdout = sys.stdout, sys.stderr
    logger.remove()  # the sentence splitter would tell of every token at which a sentence begins
    told = json.loads(given.read_text(encoding="utf-8"))
    texts, phrases, few = told["texts"], told["phrases"], told["few"]
    pipelines = {
        f"medspacy's default, {len(phrases):,} phrases": whole(phrases),
        f"medspacy's default, {len(few):,} phrases": whole(few),
        f"spaCy's ruler, medspacy's ConText, {len(phrases):,} phrases": ruler(phrases),
    }
    found = {name: seen([nlp(text) for text in texts]) for name, nlp in pipelines.items()}
    names = ("spacy", "medspacy", "PyRuSH", "numpy")
    versions = f"Python {platform.python_version()}, " + ", ".join(f"{name} {version(name)}" for name in names)
    print(json.dumps({"versions": versions, "found": found}), file=answers, flush=True)
    ways = {name: reading(nlp, texts) for name, nlp in {BLANK: spacy.blank("en"), **pipelines}.items()}
    gc.collect()
    gc.freeze()  # as the reader that is compared does: what stays is not looked at again while texts are read
    for _ in sys.stdin:
        print(json.dumps(turn(ways)), file=answers, flush=True)


def whole(phrases: Phrases) -> Any:
    """As medspacy's introduction loads it: its tokenizer, sentence splitter, target matcher, ConText and its rules.

    QuickUMLS is not part of the default, and nothing is fetched.
    """
    nlp = medspacy.load()
    matcher = nlp.get_pipe("medspacy_target_matcher")
    matcher.add([TargetRule(phrase["pattern"], phrase["label"]) for phrase in phrases])
    if len(matcher.rules) != len(phrases):
        raise SystemExit(f"medspacy took {len(matcher.rules)} of {len(phrases)} phrases")
    return nlp


def ruler(phrases: Phrases) -> Any:
    """spaCy's tokenizer, sentences by its stops and its entity ruler, as negspacy is given; then medspacy's ConText."""
    nlp = spacy.blank("en")
    nlp.add_pipe("sentencizer")
    entities: Any = nlp.add_pipe("entity_ruler", config={"phrase_matcher_attr": "LOWER"})
    entities.add_patterns(phrases)
    return medspacy.load(nlp, medspacy_enable={"medspacy_context"})


def reading(nlp: Any, texts: list[str]) -> Way:
    """Reads all texts, one by one."""
    return lambda: [len(nlp(text)) for text in texts]


def seen(documents: list[Any]) -> tuple[int, int]:
    """Targets found, and those that ConText holds for negated: to see that a pipeline did its work."""
    targets = [target for document in documents for target in document.ents]
    return len(targets), sum(target._.is_negated for target in targets)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
