"""On what each result rests: hashes of rules, models, code, buyer and evidence decide what is worked out again."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import fields, replace
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.fingerprint import fingerprint
from pipeline.paths import data_folder

if TYPE_CHECKING:
    from pipeline.types import Buyer, Evidence

READING = ("subjects.yaml", "subjects", "scope", "facts", "regions")
COSTING = ("packs", "reports", "regions", "money", "subjects.yaml")
DICTIONARY = "pyspellchecker"  # whose words are no slips of the pen (nlp/spelling.py)
CODE = Path(__file__).parent
COSTING_CODE = ("costing", "types.py", "uniforms.py", "itembeliefs.py")
# Of the buyer, these move no repair cost. A new field counts until it is named here.
NOT_COSTING = frozenset(
    {
        "home",
        "home_position",
        "travel_cost_per_mile",
        "time_value_per_hour",
        "outside_option",
        "must",
        "as_of",
        "search_name",
        "budget_is_hard",
        "risk",
        "units",
    }
)


def reading_version(rules: Path | None = None) -> str:
    """What decides whether a snapshot must be read again: reading rules, models, the readers' code, the dictionary."""
    rules, models = rules or data_folder("rules"), data_folder("models")
    parts = [rules / name for name in READING]
    parts += sorted(models.glob("*/*.npz"))
    return _hash(fingerprint([p for p in (*parts, CODE / "nlp") if p.exists()]), version(DICTIONARY))


def costing_version(rules: Path, buyer: Buyer, packs: Path) -> str:
    """What a repair cost rests on beside the vehicle's evidence."""
    parts = [*(rules / name for name in COSTING), packs, *(CODE / name for name in COSTING_CODE)]
    told = [(f.name, _plain(getattr(buyer, f.name))) for f in fields(buyer) if f.name not in NOT_COSTING]
    return _hash(fingerprint([p for p in parts if p.exists()]), *map(repr, told))


def evidence_key(evidence: Evidence, costing: str) -> str:
    """On what one vehicle's repair cost rests. Costing reckons in months: the day of the month moves nothing."""
    one = replace(evidence, ref="", as_of=evidence.as_of.replace(day=1), passages={})  # those only decide
    return _hash(costing, *(repr(_plain(getattr(one, f.name))) for f in fields(one)))


def run_key(folder: Path, rules: Path, day: str, stored: str) -> str:
    """On what a whole ranking rests: all rules, models and code, the search folder's own files, the day, the store."""
    own = [folder / name for name in ("buyer.toml", "packs", "value")]
    code = sorted(path for path in CODE.iterdir() if path.name != "_data")  # rules and models, when installed
    parts = [rules, *sorted(data_folder("models").glob("*/*.npz")), *code, *own]
    return _hash(fingerprint([p for p in parts if p.exists()]), day, stored)


def versions(rules: Path, buyer: Buyer, packs: Path) -> dict[str, str]:
    """What the run record names."""
    return {
        "rules": fingerprint([rules]),
        "reading": reading_version(rules),
        "costing": costing_version(rules, buyer, packs),
    }


def _plain(value: object) -> object:
    return sorted(value.items(), key=repr) if isinstance(value, Mapping) else value


def _hash(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode("utf-8", "surrogatepass")).hexdigest()[:32]
