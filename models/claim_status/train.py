"""Trains the reader of claims on the corpus and the current rules: `python models/claim_status/train.py`.

Writes `claim_status.npz` (the weights) and `metrics.json` (figures, hashes of what it was trained on).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT), str(HERE)]

import numpy as np  # noqa: E402
from learn import examples, fit_arrays, fit_gaps, fit_weigh, load, train  # noqa: E402

from pipeline.nlp.model import ARTEFACT, ClaimModel  # noqa: E402
from pipeline.nlp.trained import TrainedReader  # noqa: E402
from pipeline.nlp.words import Words  # noqa: E402
from pipeline.schemas.language import load_language  # noqa: E402

SETTINGS: dict[str, Any] = {
    "strength_gaps": 0.5,
    "strength_subject": 0.5,
    "strength_status": 0.5,
    "strength_weigh": 0.1,
    "least": 0.05,
    "stands": 0.44,
    "passages": ["h", "i", "q", "r", "s"],  # written as pieces: where they end is no stop of their writers'
    # The last stage learns how far rules and model can be trusted: only from adverts that nobody read who wrote the
    # rules, each read by a model without its writer. File -> the line from which on it was not read.
    "unread": {"k": 65, "l": 65, "m": 65, "n": 65, "o": 0, "p": 0},
    "folds": [["k", "o"], ["l", "p"], ["m", "n"]],
}


def gaps_of(rows: dict[str, list[dict[str, Any]]]) -> dict[str, Any]:
    """Arrays of `RunOn`, learned from the whole adverts of a corpus (writer -> adverts)."""
    whole = [row["text"] for name, some in rows.items() if name not in SETTINGS["passages"] for row in some]
    return fit_gaps(whole, SETTINGS["strength_gaps"])


def digest(paths: list[Path]) -> str:
    """SHA-256 of the files' names and contents, in order of their names."""
    total = hashlib.sha256()
    for path in sorted(paths):
        total.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return total.hexdigest()


def save(folder: Path, arrays: dict[str, Any], meta: dict[str, Any]) -> str:
    """Writes the artefact; its SHA-256."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / ARTEFACT
    np.savez_compressed(path, **arrays, meta=np.array(json.dumps(meta, sort_keys=True)))
    return hashlib.sha256(path.read_bytes()).hexdigest()


def main(argv: list[str] | None = None) -> None:
    """Trains, measures and writes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    parser.add_argument("--rules", type=Path, default=ROOT / "rules")
    options = parser.parse_args(argv)
    begun = time.time()
    corpus = sorted((HERE / "corpus").glob("*.jsonl"))
    language = load_language(options.rules)
    rules = [*(options.rules / "subjects").glob("*.yaml"), *(options.rules / "scope").glob("*.yaml")]
    words = Words()
    rows = {path.stem: load(path) for path in corpus}
    gaps = gaps_of(rows)
    reader = TrainedReader(language, ClaimModel.empty(gaps))
    sets = {name: examples(some, reader, words) for name, some in rows.items()}
    subjects = sorted({claim["subject"] for found in sets.values() for one in found for claim in one.row["claims"]})
    limits = {subject: frozenset(statuses) for subject, statuses in language.limits.items()}
    folds = []
    for names in SETTINGS["folds"]:
        rest = [one for name in sorted(sets) if name not in names for one in sets[name]]
        apart = [one for name in names for one in sets[name][SETTINGS["unread"][name] :]]
        folds.append((train(rest, subjects, words, SETTINGS, gaps), apart))
    weigh = fit_weigh(folds, limits, SETTINGS["strength_weigh"])
    every = [one for name in sorted(sets) for one in sets[name]]
    arrays, meta = fit_arrays(every, subjects, words, SETTINGS, gaps, weigh)
    artefact = save(options.out, arrays, meta)
    metrics = {
        "artefact_sha256": artefact,
        "corpus_sha256": digest(corpus),
        "rules_sha256": digest(rules),
        "adverts": sum(map(len, sets.values())),
        "settings": SETTINGS,
    }
    (options.out / "metrics.json").write_text(json.dumps(metrics, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    print(f"trained in {time.time() - begun:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
