"""Prints how fast adverts are read against medspacy (ConText after Harkema et al. 2009) with the rules' plain phrases.

    python tests/bench/bench_medspacy.py [ADVERTS]

So many adverts are drawn with a seed, 200 unless told. On Python 3.11 medspacy 1.3.1 wants an older spaCy and numpy
than this project. So pip, which needs a network, installs `medspacy.txt` into a new environment in a temporary folder,
where `medspacy_ways.py` runs. The two environments take turns, round by round. The goal is 20 times medspacy's speed.
Ends with 2 when it cannot be installed.
"""

from __future__ import annotations

import json
import os
import platform
import random
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy is imported

import spacy
from bench_reading import BLANK, ROOT, corpus, mean_words, target_phrases  # puts the project on the path
from rounds import ROUNDS, Way, least, turn

from pipeline.nlp.advert import Advert, AdvertReader
from pipeline.nlp.reader import Reader
from pipeline.schemas.language import load_language

HERE = Path(__file__).resolve().parent
SEED = 1
FEW = 62  # phrases, a sample beside all of them: shows what their number costs
RULES, BOTH = "claims by rules", "AdvertReader (facts, claims with the model)"


def main(adverts: int = 200) -> None:
    """A line a way: adverts a second of CPU time, and the ratio to the blank pipeline of its own environment."""
    every, language = corpus(), load_language(ROOT / "rules")
    texts = random.Random(SEED).sample(every, min(adverts, len(every)))
    phrases = target_phrases(language)
    few = random.Random(SEED).sample(phrases, FEW)
    with tempfile.TemporaryDirectory() as place:
        python = environment(Path(place) / "venv")
        given = Path(place) / "given.json"
        given.write_text(json.dumps({"texts": [text for text, _ in texts], "phrases": phrases, "few": few}))
        blank, rules, both = spacy.blank("en"), Reader(language), AdvertReader.to_stay(ROOT / "rules")
        here: dict[str, Way] = {
            BLANK: lambda: [len(blank(text)) for text, _ in texts],
            RULES: lambda: [len(rules.read_claims(*advert)) for advert in texts],
            BOTH: lambda: [len(reading.claims) for reading in both.read_all(Advert(*one) for one in texts)],
        }
        command = [str(python), str(HERE / "medspacy_ways.py"), str(given)]
        pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
        with subprocess.Popen(command, env=own_environment(), **pipes) as process:
            about = answer(process)
            turns = [(turn(here), answer(process, "turn\n")) for _ in range(ROUNDS)]
    print(
        f"{len(texts)} of {len(every):,} adverts drawn with seed {SEED}, {mean_words(texts):.0f} words on average; ",
        end="",
    )
    print(f"{len(phrases):,} target phrases; CPU time of the fastest of {ROUNDS} rounds")
    ours, theirs = least(mine for mine, _ in turns), least(other for _, other in turns)
    names = ("spacy", "numpy")
    print(f"Python {platform.python_version()}, " + ", ".join(f"{name} {version(name)}" for name in names))
    rates(ours, len(texts), {})
    print(about["versions"])
    rates(theirs, len(texts), about["found"])
    print("Times as fast: seconds against seconds; each against its own blank pipeline")
    for mine in (BOTH, RULES):
        for other in about["found"]:
            times = theirs[other] / ours[mine]
            own = times * ours[BLANK] / theirs[BLANK]
            print(f"  {f'{mine} : {other}':96} {times:5.1f} {own:5.1f}")


def environment(folder: Path) -> Path:
    """Makes a virtual environment with medspacy in it; its Python. Ends with 2 and pip's reason where that fails."""
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    pip = [str(python), "-m", "pip", "install", "--quiet", "--retries", "1", "-r", str(HERE / "medspacy.txt")]
    for command in ([sys.executable, "-m", "venv", str(folder)], pip):
        done = subprocess.run(command, capture_output=True, text=True, env=own_environment())
        if done.returncode:
            said = [line for line in (done.stdout + done.stderr).splitlines() if "ERROR" in line or "rror:" in line]
            print("medspacy could not be installed, so nothing is measured; is there a network?", file=sys.stderr)
            print("\n".join(said or (done.stdout + done.stderr).splitlines()[-5:]), file=sys.stderr)
            raise SystemExit(2)
    return python


def own_environment() -> dict[str, str]:
    """The variables without those that would mix this project's packages into the other environment."""
    return {
        name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV")
    }


def answer(process: subprocess.Popen[str], asked: str = "") -> Any:
    """What the other environment says, to `asked` or of itself; it has said why on standard error where it ended."""
    assert process.stdin and process.stdout
    process.stdin.write(asked)
    process.stdin.flush()
    said = process.stdout.readline()
    if not said:
        raise SystemExit("medspacy's process ended before it answered")
    return json.loads(said)


def rates(taken: dict[str, float], adverts: int, found: dict[str, list[int]]) -> None:
    """Adverts a second of each way, and how many targets it found where it says so."""
    for name, seconds in taken.items():
        ratio = "" if name == BLANK else f", 1/{seconds / taken[BLANK]:.1f} of the blank one's speed"
        work = "; {:,} targets, {:,} negated".format(*found[name]) if name in found else ""
        print(f"  {name:50} {adverts / seconds:8,.0f} adverts/s{ratio}{work}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
