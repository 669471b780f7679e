"""Reads rules: YAML in, validated typed values out. The only module that reads YAML.

The models themselves stand in `pipeline/schemas/`, one module a kind of rules; each ends with a `load_...`
function that calls `read_rules` here. Unknown keys are refused. An error names file and line.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError

from pipeline.errors import RuleError

M = TypeVar("M", bound=BaseModel)

RuleId = Annotated[str, StringConstraints(pattern=r"^[a-z0-9_.\-]+$")]
Source = Annotated[str, StringConstraints(min_length=3)]  # "common practice", "judgement", or a published source


class RuleModel(BaseModel):
    """Base of all rule models: frozen, unknown keys refused, no silent type changes."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=False)


class _Loader(yaml.CSafeLoader):
    """Safe YAML in which only true/false are booleans, so that `no`, `on` and `off` stay words."""


_Loader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag not in ("tag:yaml.org,2002:bool",)]
    for first, resolvers in yaml.CSafeLoader.yaml_implicit_resolvers.items()
}
_Loader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile(r"^(?:true|false)$"), list("tf"))


def read_rules(path: Path, model: type[M], label: str | None = None) -> M:
    """One rules file as a `model`.

    Raises RuleError naming file and line when the file is missing, not YAML, has a key twice or does not fit.
    """
    label = label or path.name
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise RuleError(f"cannot be read ({error.strerror})", where=label) from error
    except UnicodeDecodeError as error:
        raise RuleError("is not UTF-8 text", where=label, remedy="Save it as UTF-8.") from error
    found: M = _parsed(text, model, label)
    return found


@lru_cache(maxsize=512)  # the desk, an adviser's run and the tests load the same text many times
def _parsed(text: str, model: type[Any], label: str) -> Any:
    try:
        data = yaml.load(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise RuleError(f"is not valid YAML: {error.problem}", where=f"{label}:{line}") from error
    except yaml.YAMLError as error:
        raise RuleError(f"is not valid YAML: {error}", where=label) from error
    _refuse_double_keys(text, label)
    try:
        return model.model_validate(data if data is not None else {})
    except ValidationError as error:
        first = error.errors()[0]
        line = _line_of(text, first["loc"])
        field = ".".join(str(part) for part in first["loc"]) or "the file"
        raise RuleError(
            f"{field}: {_plain(first)}", where=f"{label}:{line}", remedy=_remedy(error.error_count())
        ) from error


def read_folder(folder: Path, model: type[M]) -> dict[str, M]:
    """Every `*.yaml` below a folder, sorted by name: path relative to the folder -> model."""
    found = sorted(folder.rglob("*.yaml"))
    return {
        path.relative_to(folder).with_suffix("").as_posix(): read_rules(path, model, f"{folder.name}/{path.name}")
        for path in found
    }


def rule_error(
    label: str, path: Path, location: Sequence[str | int], what: str, remedy: str | None = None
) -> RuleError:
    """A RuleError at the line where `location` (keys and indices) stands in the file."""
    line = _line_of(path.read_text(encoding="utf-8"), tuple(location))
    return RuleError(what, where=f"{label}:{line}", remedy=remedy)


def _plain(error: Any) -> str:
    if error["type"] == "extra_forbidden":
        return "unknown key"
    return str(error["msg"]).removeprefix("Value error, ")


def _remedy(count: int) -> str | None:
    return f"{count - 1} more like it in this file." if count > 1 else None


def _refuse_double_keys(text: str, label: str) -> None:
    stack = [yaml.compose(text, Loader=_Loader)]
    while stack:
        node = stack.pop()
        if isinstance(node, yaml.MappingNode):
            seen: set[str] = set()
            for key, value in node.value:
                if key.value in seen and isinstance(key, yaml.ScalarNode):
                    raise RuleError(
                        f"the key {key.value!r} stands twice",
                        where=f"{label}:{key.start_mark.line + 1}",
                        remedy="Keep one.",
                    )
                seen.add(key.value if isinstance(key, yaml.ScalarNode) else "")
                stack.append(value)
        elif isinstance(node, yaml.SequenceNode):
            stack.extend(node.value)


def _line_of(text: str, location: Sequence[str | int]) -> int:
    """Line (from 1) of the deepest part of `location` that the file has."""
    try:
        node = yaml.compose(text, Loader=_Loader)
    except yaml.YAMLError:
        return 1
    line = 1
    for part in location:
        if isinstance(node, yaml.MappingNode):
            hit = next(((k, v) for k, v in node.value if str(k.value) == str(part)), None)
            if hit is None:
                continue  # names of union members stand in pydantic's path, not in the file
            line, node = hit[0].start_mark.line + 1, hit[1]
        elif isinstance(node, yaml.SequenceNode) and isinstance(part, int) and part < len(node.value):
            node = node.value[part]
            line = node.start_mark.line + 1
    return line
