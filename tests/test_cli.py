"""The command line: what each command prints, writes and leaves by, and every way it can be used wrongly."""

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from pipeline.cli import app, main
from pipeline.errors import ViewworthyError

RUNNER = CliRunner()
GOOD = "1994 Marrick Dale camper, 2.4 diesel, 98,000 miles, MOT to June 2027. Sills solid, belt due. £4,200. Hexham."


def run(*words: object, stdin: str | bytes | None = None) -> Result:
    return RUNNER.invoke(app, [str(word) for word in words], input=stdin)


def fails(result: Result) -> ViewworthyError:
    assert isinstance(result.exception, ViewworthyError), result.exception
    assert "\n" not in str(result.exception)
    return result.exception


@pytest.fixture
def search(tmp_path: Path) -> Path:
    folder = tmp_path / "vans"
    made = run("start", folder, "--home", "Skipton", "--budget", 7000, "--guide-price", 6000)
    assert made.exit_code == 0, made.output
    return folder


def test_start_makes_a_folder_that_can_be_used(search: Path) -> None:
    assert (search / "inbox").is_dir()
    text = (search / "buyer.toml").read_text(encoding="utf-8")
    assert 'home = "Skipton"' in text and "budget_total = 7000" in text and "guide_price = 6000" in text


def test_start_never_overwrites_and_refuses_what_it_cannot_use(search: Path, tmp_path: Path) -> None:
    assert "already" in str(fails(run("start", search, "--home", "Hull")))
    assert "unknown region" in str(fails(run("start", tmp_path / "b", "--home", "Hull", "--region", "moon")))
    assert not (tmp_path / "b" / "buyer.toml").exists()
    assert "purpose" in str(fails(run("start", tmp_path / "c", "--home", "Hull", "--purpose", "racing")))
    assert "Give --home" in str(fails(run("start", tmp_path / "d")))


def test_add_rank_show_export(search: Path) -> None:
    (search / "inbox" / "hexham.txt").write_text(GOOD, encoding="utf-8")
    (search / "inbox" / "broken.pdf").write_bytes(b"%PDF-1.4 nothing more")
    added = run("add", "--search", search, "--json")
    assert added.exit_code == 1, "one file was refused, the rest was done"
    told = json.loads(added.stdout)
    assert (told["new"], told["changed"], told["same"]) == (1, 0, 0)
    assert [r["source"] for r in told["refused"]] == ["broken.pdf"]

    ranked = run("rank", "--search", search, "--json")
    assert ranked.exit_code == 0, ranked.output
    (vehicle,) = json.loads(ranked.stdout)["vehicles"]
    assert vehicle["advert_ids"] == ["hexham.txt"]
    assert vehicle["asking_price"] == 4200
    assert vehicle["verdict"] in ("travel", "ring first", "leave")
    assert vehicle["repair_cost"]["p10"] < vehicle["repair_cost"]["mean"] < vehicle["repair_cost"]["p90"]
    page = (search / "reports" / "ranking.html").read_text(encoding="utf-8")
    assert "Sills solid" in re.sub(r"<[^>]+>", "", page) and "broken.pdf" in page

    assert "Marrick" in run("rank", "--search", search).stdout
    for ref in (vehicle["ref"], "hexham.txt", "marrick"):
        shown = run("show", ref, "--search", search)
        assert shown.exit_code == 0 and "asking price" in shown.stdout
    assert json.loads(run("show", "1", "--search", search, "--json").stdout)["ref"] == "1"
    for kind in ("csv", "jsonl", "parquet"):
        out = search / f"out-{kind}"
        assert run("export", out, "--as", kind, "--search", search).exit_code == 0
        assert (out / f"snapshots.{kind}").exists()


def test_the_same_file_again_is_the_same_and_a_changed_one_is_a_snapshot(search: Path) -> None:
    path = search / "inbox" / "hexham.txt"
    path.write_text(GOOD, encoding="utf-8")
    run("add", "--search", search)
    assert json.loads(run("add", "--search", search, "--json").stdout)["same"] == 1
    path.write_text(GOOD.replace("4,200", "3,900"), encoding="utf-8")
    assert json.loads(run("add", "--search", search, "--json").stdout)["changed"] == 1
    run("rank", "--search", search)
    text = " ".join((search / "reports" / "ranking.html").read_text(encoding="utf-8").split())
    assert "4,200" in text and "3,900" in text, "the price history is on the page"


def test_standard_input_and_the_environment(search: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VIEWWORTHY_SEARCH", str(search))
    assert json.loads(run("add", "-", "--json", stdin=GOOD).stdout)["new"] == 1


def test_a_run_on_nothing_says_what_to_do_next(search: Path) -> None:
    assert "viewworthy add" in str(fails(run("rank", "--search", search)))
    run("add", "--search", search)
    empty = run("rank", "--search", search)
    assert empty.exit_code == 0 and "No adverts yet" in empty.output


def test_wrong_use_is_one_line_with_a_remedy(search: Path, tmp_path: Path) -> None:
    assert "viewworthy start" in str(fails(run("rank", "--search", tmp_path)))
    assert "no such file" in str(fails(run("add", tmp_path / "none.txt", "--search", search)))
    run("add", "--search", search)
    assert "viewworthy add" in str(fails(run("show", "99", "--search", search)))
    assert "parquet" in str(fails(run("export", tmp_path / "o", "--as", "xml", "--search", search)))
    (search / "buyer.toml").write_text("[buyer]\nhome = 1\n", encoding="utf-8")
    assert str(fails(run("rank", "--search", search))).startswith("buyer.toml:2: home:")


def test_main_turns_errors_into_one_line_and_a_status(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["viewworthy", "rank", "--search", str(tmp_path)])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 2
    line = capsys.readouterr().err
    assert line.startswith("viewworthy: ") and line.count("\n") == 1


def test_extract_answers_line_for_line(tmp_path: Path) -> None:
    rows = [json.dumps({"id": "a", "saved_on": "2026-10-01", "text": GOOD}), "{broken", json.dumps({"id": "b"})]
    result = run("extract", stdin="\n".join(rows) + "\n\n")
    first, second, third = map(json.loads, result.stdout.splitlines())
    assert result.exit_code == 1
    assert first["facts"]["asking_price"] == 4200 and first["facts"]["test_expiry"] == "2027-06"
    for one in (*first["claims"], *(e for e in first["evidence"].values() if e["start"] >= 0)):
        assert GOOD[one["start"] : one["end"]] == one["quote"]
    assert "line 2 is not valid JSON" in second["error"]
    assert third["id"] == "b" and "no text" in third["error"]
    path = tmp_path / "one.jsonl"
    path.write_text(rows[0], encoding="utf-8")
    assert run("extract", path).exit_code == 0
    assert "cannot be opened" in str(fails(run("extract", tmp_path / "none.jsonl")))


def test_check_rules_counts_what_there_is() -> None:
    result = run("check-rules", "--json")
    assert result.exit_code == 0, result.exception
    told = json.loads(result.stdout)
    assert told["faults"] >= 30 and told["subjects"] == 53


def test_check_rules_names_file_and_line_of_a_wrong_pack(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text("about: mine\nsource: judgement\nfalts: []\n", encoding="utf-8")
    assert "mine.yaml:3: falts: unknown key" in str(fails(run("check-rules", tmp_path)))


@pytest.mark.parametrize("command", ["demo", "start", "add", "rank", "show", "extract", "check-rules", "export"])
def test_help_of_each_command_has_an_example(command: str) -> None:
    result = run(command, "--help")
    assert result.exit_code == 0 and "Example: viewworthy" in result.output


def test_a_formula_in_an_advert_is_no_formula_in_the_export(search: Path) -> None:
    (search / "inbox" / "trap.txt").write_text("=HYPERLINK(0) van £500 Hexham", encoding="utf-8")
    run("add", "--search", search)
    run("export", search / "out", "--search", search)
    assert ",=HYPERLINK" not in (search / "out" / "snapshots.csv").read_text(encoding="utf-8")
