"""The first five minutes: questions with defaults, flags for scripts, what to do next, examples, completion."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
import typer
from typer.testing import CliRunner, Result

from pipeline import cli
from pipeline.cli import app
from pipeline.errors import UsageError, ViewworthyError
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.refs import completions
from pipeline.run import bring_up_to_date
from pipeline.search import open_search, start_search
from pipeline.starting import Wanted, completed, next_steps
from pipeline.store import open_store

RUNNER = CliRunner()
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]


def run(*words: object) -> Result:
    return RUNNER.invoke(app, [str(word) for word in words])


class Person:
    """Answers questions in turn; remembers them and what was said."""

    def __init__(self, *answers: str) -> None:
        self.answers: Iterator[str] = iter(answers)
        self.asked: list[str] = []
        self.told: list[str] = []

    def ask(self, question: str) -> str:
        self.asked.append(question)
        return next(self.answers)

    def say(self, words: str) -> None:
        self.told.append(words)


def asked(given: Wanted, *answers: str) -> tuple[Wanted, Person]:
    person = Person(*answers)
    return completed(given, person.ask, person.say), person


def test_six_questions_and_enter_is_enough_for_all_but_home() -> None:
    wanted, person = asked(Wanted(), "Skipton", "", "", "", "", "")
    assert len(person.asked) == 6
    assert wanted == Wanted("Skipton", "uk", ("general",), "everyday", None, None)
    assert all("Enter" in question for question in person.asked[1:])


def test_answers_by_number_by_name_and_by_a_piece_of_it() -> None:
    wanted, _ = asked(Wanted(), "Skipton", "kingdom", "camper", "work", "£7,000", "6.5k")
    assert wanted.packs == ("general", "light-camper-van")
    assert (wanted.purpose, wanted.budget, wanted.guide_price) == ("working", 7000, 6500)


def test_what_cannot_be_used_is_asked_again_with_the_reason() -> None:
    wanted, person = asked(Wanted(), "", "Nowhereton", "Skipton", "9", "", "", "", "plenty", "7000", "-1", "")
    assert wanted.home == "Skipton" and wanted.budget == 7000 and wanted.guide_price is None
    told = "\n".join(person.told)
    assert "It is needed" in told and "gazetteer" in told and "Give a number from 1 to" in told and "Give a sum" in told


def test_the_region_offered_is_where_home_is() -> None:
    wanted, _ = asked(Wanted(home="Toulouse"), "", "", "", "", "")
    assert wanted.region == "continent"
    wanted, _ = asked(Wanted(home="54.97, -2.10"), "ireland", "", "", "", "")
    assert wanted.region == "ireland"
    wanted, person = asked(Wanted(home="Skipton"), "continent", "", "", "", "", "")
    assert wanted.region == "uk" and "not in the gazetteer of Continental" in "\n".join(person.told)


def test_what_flags_say_is_not_asked() -> None:
    wanted, person = asked(Wanted("Hull", "uk", ("general",), "project", 5000.0), "")
    assert len(person.asked) == 1 and wanted.purpose == "project"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (Wanted(), "--home"),
        (Wanted("Nowhereton"), "gazetteer"),
        (Wanted("Hull", region="moon"), "unknown region"),
        (Wanted("Hull", purpose="racing"), "everyday"),
        (Wanted("Hull", packs=("general", "submarine")), "light-camper-van"),
        (Wanted("Hull", budget=-5.0), "--budget"),
    ],
)
def test_flags_that_cannot_be_used_say_what_can(given: Wanted, told: str) -> None:
    with pytest.raises(ViewworthyError, match=told):
        completed(given, None, lambda words: None)


def test_in_a_terminal_it_asks_and_then_says_where_adverts_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    person = Person("Hexham", "", "2", "", "6000", "")
    monkeypatch.setattr(cli, "_ask", person.ask)
    monkeypatch.setattr(sys, "stdin", type("Terminal", (), {"isatty": staticmethod(lambda: True)})())
    cli.start(tmp_path / "vans", pack=None, own_work=True)
    text = (tmp_path / "vans" / "buyer.toml").read_text(encoding="utf-8")
    assert 'home = "Hexham"' in text and "budget_total = 6000" in text and "does_own_work = true" in text
    assert len(person.asked) == 6
    steps = next_steps(tmp_path / "vans")
    assert str(tmp_path / "vans" / "inbox") in steps and "viewworthy add && viewworthy rank" in steps


def test_nothing_is_made_when_a_flag_is_wrong(tmp_path: Path) -> None:
    assert isinstance(run("start", tmp_path / "x", "--home", "Nowhereton").exception, ViewworthyError)
    assert not (tmp_path / "x").exists()


def test_rank_where_nothing_is_says_what_to_do_next(tmp_path: Path) -> None:
    run("start", tmp_path / "s", "--home", "Hull", "--no-questions")
    told = str(run("rank", "--search", tmp_path / "s").exception)
    assert "viewworthy add" in told and "Ctrl+S" in told and str(tmp_path / "s" / "inbox") in told
    (tmp_path / "s" / "inbox" / "a.txt").write_text("1994 Marrick, £900", encoding="utf-8")
    assert "1 file waits" in str(run("rank", "--search", tmp_path / "s").exception)
    (tmp_path / "s" / "inbox" / "a.txt").unlink()
    run("add", "--search", tmp_path / "s")
    assert "No adverts yet. Save some" in run("rank", "--search", tmp_path / "s").output


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_help_has_an_example_of_that_command_that_can_be_parsed(name: str) -> None:
    said = run(name, "--help")
    assert said.exit_code == 0
    assert f"Example: viewworthy {name}" in " ".join(said.output.split())
    command: click.Command = COMMANDS[name]
    options = {option for parameter in command.params for option in getattr(parameter, "opts", ())}
    example = " ".join((command.help or "").split()).split("Example: ")[1]
    used = [word.split("=")[0] for word in example.split() if word.startswith("--")]
    assert set(used) <= options, "an example names an option that is not there"


def test_numbers_are_completed_with_their_titles(tmp_path: Path) -> None:
    start_search(tmp_path / "s", home="Hull", guide_price=5000)
    (tmp_path / "s" / "inbox" / "a.txt").write_text("1994 Marrick Dale, £900, Hull", encoding="utf-8")
    with open_store(tmp_path / "s") as store:
        search = open_search(tmp_path / "s")
        add(store, gather([search.inbox]), search.as_of)
        bring_up_to_date(store, search)
    done = subprocess.run(
        [sys.executable, "-c", "import sys; sys.argv = ['viewworthy']; from pipeline.entry import main; main()"],
        env={
            **os.environ,
            "_VIEWWORTHY_COMPLETE": "complete_zsh",
            "_TYPER_COMPLETE_ARGS": "viewworthy show ",
            "VIEWWORTHY_SEARCH": str(tmp_path / "s"),
        },
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert '"1":"1994 Marrick Dale' in done.stdout, done


def test_completion_of_a_folder_that_is_none_is_empty(tmp_path: Path) -> None:
    assert completions(tmp_path, "") == []


def test_start_in_a_folder_that_is_there_asks_nothing(tmp_path: Path) -> None:
    run("start", tmp_path / "s", "--home", "Hull")
    again = run("start", tmp_path / "s")
    assert isinstance(again.exception, UsageError) and "already" in str(again.exception)
