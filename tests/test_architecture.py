"""The import rules of the design, read off the source."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "pipeline"
STAGES = {"ingest", "nlp", "linking", "costing", "valuation", "ranking", "planning", "report"}
MODULES = sorted(PACKAGE.rglob("*.py"))
ONLY = {
    "yaml": ("rules.py",),
    "duckdb": ("store/",),
    "starlette": ("desk/",),  # the one that listens; see pipeline/desk/
    "uvicorn": ("desk/",),
    "prefect": ("nightly.py",),
    "prefect_dask": ("nightly.py",),
    "dask": ("nightly.py",),
    "distributed": ("nightly.py",),
}
NETWORK = {"socket", "urllib.request", "http.client", "requests", "httpx", "aiohttp", "ftplib", "smtplib"}


def imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def is_at(path: Path, owner: str) -> bool:
    return path.as_posix() == owner or (owner.endswith("/") and path.as_posix().startswith(owner))


def test_there_is_something_to_check() -> None:
    assert len(MODULES) > 4


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_import_rules(path: Path) -> None:
    relative, found = path.relative_to(PACKAGE), imports(path)
    stage = relative.parts[0] if relative.parts[0] in STAGES else None
    others = {name.split(".")[1] for name in found if name.startswith("pipeline.") and name.count(".") >= 1}
    if stage:
        assert not (others & STAGES) - {stage}, "a stage imports another stage"
        assert not others & {"run", "cli", "store", "nightly", "notes", "desk"}, "a stage imports what joins the stages"
    if "desk" in others:
        assert relative.parts[0] in ("cli.py", "desk"), "only the command opens the desk"
    for library, owners in ONLY.items():
        if any(name.split(".")[0] == library for name in found):
            assert any(is_at(relative, owner) for owner in owners), f"{library} belongs to {' and '.join(owners)} alone"
    assert not found & NETWORK, "nothing opens a network connection"
    assert not found & {"pickle", "joblib", "dill", "shelve"}, "models are stored without pickle"
