"""What an experienced inspector knows: packs laid together, completed from shared defaults, and checked.

A pack is a file `NAME.yaml` or a folder `NAME/` of such files. Packs are laid over each other by id: an entry with
a new id is added, an entry with a known id changes the fields that it gives (mappings are merged, lists replaced).
`general` always comes first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from pipeline.errors import RuleError
from pipeline.rules import RuleModel, read_rules, rule_error
from pipeline.schemas.evidence import Candour, FactTable, ReportTable
from pipeline.schemas.knowledge_checks import check_knowledge
from pipeline.schemas.knowledge_parts import (
    Access,
    Assembly,
    Fault,
    Job,
    Kind,
    Knowledge,
    PackFile,
    Place,
    ReportFile,
    Root,
    Service,
)
from pipeline.schemas.region import load_money, load_regions
from pipeline.schemas.subjects import load_subjects

__all__ = ["Knowledge", "load_knowledge", "pack_names"]

M = TypeVar("M", bound=RuleModel)
SECTIONS: tuple[str, ...] = ("roots", "faults", "services", "access", "assemblies", "jobs")


def load_knowledge(packs: Sequence[str], rules: Path, extra_folders: Sequence[Path] = ()) -> Knowledge:
    """Knowledge of the named packs, later ones over earlier ones.

    `rules` is the rules folder; packs are looked for in `extra_folders` (the search folder's `packs/`) first, then
    in `rules/packs/`. Raises RuleError naming file and line of the first thing that is wrong.
    """
    names = ("general", *(name for name in dict.fromkeys(packs) if name != "general"))
    folders = [*extra_folders, rules / "packs"]
    entries: dict[str, dict[str, dict[str, Any]]] = {section: {} for section in SECTIONS}
    places: dict[tuple[str, str], Place] = {}
    files: list[PackFile] = []
    per_pack: list[list[PackFile]] = []
    for name in names:
        per_pack.append([])
        for path, label in _pack_files(name, folders):
            file = read_rules(path, PackFile, label)
            files.append(file)
            per_pack[-1].append(file)
            for section in SECTIONS:
                _lay_over(entries[section], section, getattr(file, section), path, label, places)
    reports = _read_reports(rules, places)
    entries["faults"] = {key: _with_defaults(entry, reports.kinds, places) for key, entry in entries["faults"].items()}
    knowledge = Knowledge(
        packs=names,
        roots=_validated(entries["roots"], "roots", Root, places),
        faults=_validated(entries["faults"], "faults", Fault, places),
        services=_validated(entries["services"], "services", Service, places),
        jobs=_validated(entries["jobs"], "jobs", Job, places),
        access=_validated(entries["access"], "access", Access, places),
        assemblies=_validated(entries["assemblies"], "assemblies", Assembly, places),
        tables=reports.tables,
        fact_tables=reports.facts,
        candour=tuple(reports.candour),
        rhythm=tuple(reports.rhythm),
        **reports.single,
        engines=tuple(tuple(e for f in group for e in f.engines) for group in reversed(per_pack)),
        traits={trait: chance for file in files for trait, chance in file.traits.items()},
        told=tuple(told for file in files for told in file.told),
        no_belief=reports.no_belief,
        regions=load_regions(rules),
        money=load_money(rules),
        files=tuple(files),
        places=places,
    )
    check_knowledge(knowledge, tuple(load_subjects(rules).names))
    return knowledge


def pack_names(rules: Path, extra_folders: Iterable[Path] = ()) -> tuple[str, ...]:
    """Names of the packs that can be loaded."""
    found = [p for folder in (rules / "packs", *extra_folders) if folder.is_dir() for p in folder.iterdir()]
    return tuple(sorted({p.stem for p in found if p.suffix == ".yaml" or any(p.glob("*.yaml"))}))


def _pack_files(name: str, folders: Sequence[Path]) -> list[tuple[Path, str]]:
    for folder in folders:
        if Path(name).name != name:
            break
        if (folder / f"{name}.yaml").is_file():
            return [(folder / f"{name}.yaml", f"{folder.parent.name}/packs/{name}.yaml")]
        paths = sorted((folder / name).glob("*.yaml"))
        if paths:
            return [(path, f"{folder.parent.name}/packs/{name}/{path.name}") for path in paths]
    known = ", ".join(pack_names(folders[-1].parent, folders[:-1]))
    raise RuleError(f"there is no pack {name!r}", where="packs", remedy=f"There are: {known}.")


def _lay_over(
    known: dict[str, dict[str, Any]],
    section: str,
    added: Sequence[dict[str, Any]],
    path: Path,
    label: str,
    places: dict[tuple[str, str], Place],
) -> None:
    here: set[str] = set()
    for index, entry in enumerate(added):
        key = entry.get("id")
        if not isinstance(key, str):
            raise rule_error(label, path, (section, index), f"{section}: an entry has no id", "Give it one.")
        if key in here:
            raise rule_error(label, path, (section, index), f"{section}: the id {key!r} stands twice", "Keep one.")
        if "source" not in entry:
            raise rule_error(label, path, (section, index), f"{key}: no source", "Say where its numbers come from.")
        here.add(key)
        known[key] = _merged(known.get(key, {}), entry)
        places[(section, key)] = Place(label, path, (section, index))


def _merged(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    result = dict(below)
    for key, value in above.items():
        old = result.get(key)
        result[key] = _merged(old, value) if isinstance(old, Mapping) and isinstance(value, Mapping) else value
    return result


def _with_defaults(
    entry: dict[str, Any], kinds: Mapping[str, Kind], places: Mapping[tuple[str, str], Place]
) -> dict[str, Any]:
    kind = kinds.get(str(entry.get("kind")))
    if kind is None:
        place = places[("faults", entry["id"])]
        what = f"{entry['id']}: unknown kind {entry.get('kind')!r}"
        raise rule_error(place.label, place.path, (*place.location, "kind"), what, f"There are: {', '.join(kinds)}.")
    table = kind.defaults.get("table")
    shared = {key: value for key, value in kind.defaults.items() if key not in ("table", "speaks_also")}
    merged = _merged(shared, entry)
    speaks = merged.get("speaks")
    if isinstance(speaks, list) and all(isinstance(link, dict) for link in speaks):
        own = {link.get("subject") for link in speaks}
        shared_links = () if merged.pop("only_own_subjects", False) is True else kind.defaults.get("speaks_also", ())
        also = [link for link in shared_links if link["subject"] not in own]
        merged["speaks"] = [{"table": table, **link} for link in [*speaks, *also]]
    return merged


def _validated(
    entries: Mapping[str, dict[str, Any]],
    section: str,
    model: type[M],
    places: Mapping[tuple[str, str], Place],
) -> dict[str, M]:
    result: dict[str, M] = {}
    for key, entry in entries.items():
        try:
            result[key] = model.model_validate(entry)
        except ValidationError as error:
            first, place = error.errors()[0], places[(section, key)]
            field = ".".join(str(part) for part in first["loc"])
            what = "unknown key" if first["type"] == "extra_forbidden" else str(first["msg"])
            what = f"{key}.{field}: {what.removeprefix('Value error, ')}"
            raise rule_error(place.label, place.path, (*place.location, *first["loc"]), what) from error
    return result


SINGLE = ("learning", "unproven", "assumed", "admission")  # given in one file of rules/reports


@dataclass
class _Reports:
    tables: dict[str, ReportTable] = field(default_factory=dict)
    facts: dict[str, FactTable] = field(default_factory=dict)
    kinds: dict[str, Kind] = field(default_factory=dict)
    candour: list[Candour] = field(default_factory=list)
    rhythm: list[str] = field(default_factory=list)
    single: dict[str, Any] = field(default_factory=dict)  # what is given once
    no_belief: dict[str, str] = field(default_factory=dict)


def _read_reports(rules: Path, places: dict[tuple[str, str], Place]) -> _Reports:
    found = _Reports()
    for path in sorted((rules / "reports").glob("*.yaml")):
        label = f"rules/reports/{path.name}"
        file = read_rules(path, ReportFile, label)
        ids = {
            "tables": [table.id for table in file.tables],
            "facts": [fact.id for fact in file.facts],
            "kinds": [kind.id for kind in file.kinds],
            "candour": [candour.id for candour in file.candour],
        }
        for section, keys in ids.items():
            for index, key in enumerate(keys):
                if (section, key) in places:
                    raise rule_error(label, path, (section, index), f"the id {key!r} stands twice", "Keep one.")
                places[(section, key)] = Place(label, path, (section, index))
        found.tables |= {table.id: table for table in file.tables}
        found.facts |= {fact.id: fact for fact in file.facts}
        found.kinds |= {kind.id: kind for kind in file.kinds}
        found.candour += file.candour
        found.rhythm += file.rhythm
        for name in SINGLE:
            given = getattr(file, name)
            if given is not None and name in found.single:
                raise RuleError(f"{name} stands twice", where=label, remedy="Give it in one file.")
            if given is not None:
                found.single[name] = given
        found.no_belief |= file.no_belief
    if missing := [name for name in SINGLE if name not in found.single]:
        raise RuleError(f"{' and '.join(missing)}: not there", where="rules/reports", remedy="Give it in one file.")
    return found
