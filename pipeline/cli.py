"""The command line: commands parse and print; heavy parts are imported only by the commands that need them."""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from pipeline.errors import UsageError, ViewworthyError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.run import Progress
    from pipeline.types import VehicleView

app = typer.Typer(
    help="Reads the adverts of older vehicles that you saved, and ranks the few worth travelling to.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=True,
    pretty_exceptions_enable=False,
)

SearchOption = Annotated[
    Path | None,
    typer.Option(
        "--search", metavar="DIR", help="The search folder (default: VIEWWORTHY_SEARCH, else the current one)."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Machine-readable output on standard output.")]


def say(words: str) -> None:
    """A message for the person, on standard error."""
    typer.echo(words, err=True)


@contextmanager
def progress_bar() -> Iterator[Progress]:
    """Shows how far a stage is, on a terminal only, once it has taken two seconds."""
    if not sys.stderr.isatty():
        yield lambda stage, done, total: None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        tasks: dict[str, Any] = {}

        def show(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(stage, total=total or None)
            bar.update(tasks[stage], completed=done, total=total or None)

        yield show


@app.command()
def demo(
    folder: Annotated[
        Path | None, typer.Option("--into", metavar="DIR", help="Where to make it (default: a new folder).")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Runs the whole job on the invented adverts that come with the program.

    Example: viewworthy demo
    """
    from pipeline.paths import data_folder

    target = folder or Path(tempfile.mkdtemp(prefix="viewworthy-demo-"))
    if folder is not None and (folder / "buyer.toml").exists():
        raise UsageError(
            "there is a search here already", where=str(folder), remedy="Name a folder that is not there yet."
        )
    source = data_folder("data_demo")
    shutil.copytree(source, target, dirs_exist_ok=True, ignore=shutil.ignore_patterns("expected*", "*.md.j2"))
    say(f"The demonstration is in {target}.")
    _add(target, [target / "inbox"])
    _rank(target, as_json)


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The search folder to make.")],
    home: Annotated[
        str | None, typer.Option(help="Where your journeys start: a place, or 'latitude, longitude'.")
    ] = None,
    purpose: Annotated[str, typer.Option(help="original, working, everyday or project.")] = "everyday",
    budget: Annotated[float | None, typer.Option(help="Price and first year's repairs together.")] = None,
    region: Annotated[str, typer.Option(help="uk, ireland, north-america, australasia-sa or continent.")] = "uk",
    guide_price: Annotated[
        float | None, typer.Option(help="What a sound one of middling age and mileage fetches.")
    ] = None,
    own_work: Annotated[bool, typer.Option("--own-work", help="You do your own work where it is safe.")] = False,
    pack: Annotated[list[str] | None, typer.Option(help="A kind of vehicle; may be given again.")] = None,
) -> None:
    """Makes a search folder with a commented buyer.toml.

    Example: viewworthy start vans --home Hexham --budget 7000 --pack light-camper-van
    """
    from pipeline.search import start_search

    if home is None:
        if not sys.stdin.isatty():
            raise UsageError("where do your journeys start?", remedy="Give --home PLACE.")
        home = typer.prompt("Where do your journeys start (a place name)?")
    packs = ("general", *(name for name in pack or [] if name != "general"))
    path = start_search(
        folder,
        home=home,
        purpose=purpose,
        budget=budget,
        region=region,
        own_work=own_work,
        guide_price=guide_price,
        packs=packs,
    )
    from pipeline.search import open_search

    try:
        open_search(folder)
    except ViewworthyError:
        path.unlink()
        raise
    say(f"Made {path}. Save adverts into {folder / 'inbox'}, then: viewworthy add --search {folder}")


@app.command()
def add(
    files: Annotated[
        list[str] | None, typer.Argument(metavar="[FILE]...", help="Files or folders; - for standard input.")
    ] = None,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Takes saved adverts into the search (default: its inbox/).

    Example: viewworthy add ~/Downloads/van.html
    """
    from pipeline.search import find_search

    folder = find_search(search)
    paths = [Path(name) for name in files] if files else [folder / "inbox"]
    if any(str(path) == "-" for path in paths):
        added = _add(folder, [p for p in paths if str(p) != "-"], stdin=sys.stdin.buffer.read())
    else:
        added = _add(folder, paths)
    if as_json:
        typer.echo(json.dumps(added))
    if added["refused"]:
        raise typer.Exit(1)


@app.command()
def rank(search: SearchOption = None, as_json: JsonOption = False) -> None:
    """Brings everything up to date, prints the ranking and writes the page.

    Example: viewworthy rank --search vans
    """
    from pipeline.search import find_search

    _rank(find_search(search), as_json)


@app.command()
def show(
    ref: Annotated[str, typer.Argument(help="The vehicle's number, a file name, or a piece of its title.")],
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """One vehicle in full: what was read, costs, value, and why it stands where it stands.

    Example: viewworthy show 12
    """
    from pipeline.output import as_json as to_json
    from pipeline.search import find_search

    view = _find(_bring(find_search(search)).view.vehicles, ref)
    if as_json:
        typer.echo(json.dumps(to_json(view), ensure_ascii=False, indent=1))
        return
    from pipeline.report import vehicle_text

    typer.echo(vehicle_text(view, shutil.get_terminal_size((100, 40)).columns))


@app.command()
def extract(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="[FILE]...", help="JSONL files (default: standard input).")
    ] = None,
) -> None:
    """Reads adverts as JSONL, prints what they state and claim as JSONL. No search folder, no database.

    Each line holds `text`, and `id` and `saved_on` where known.

    Example: viewworthy extract adverts.jsonl > read.jsonl
    """
    from pipeline.extract import extract_lines

    failed = False
    sources: list[Path | None] = [*files] if files else [None]
    for path in sources:
        try:
            handle = sys.stdin.buffer if path is None else path.open("rb")
        except OSError as error:
            raise UsageError(f"cannot be opened ({error.strerror})", where=str(path)) from error
        with handle:
            for line, good in extract_lines(handle):
                typer.echo(line)
                failed = failed or not good
    if failed:
        raise typer.Exit(1)


@app.command("check-rules")
def check_rules(
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="A folder of packs of your own, to check too.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Checks the rules and packs: says file, line, what is wrong and what is allowed.

    Example: viewworthy check-rules vans/packs
    """
    from pipeline.check_rules import check_all

    report = check_all(folder)
    if as_json:
        typer.echo(json.dumps(report, ensure_ascii=False, indent=1))
        return
    typer.echo("The rules are in order.")
    for name, value in report.items():
        typer.echo(f"  {name}: {value if not isinstance(value, dict) else ''}")
        if isinstance(value, dict):
            for key, count in value.items():
                typer.echo(f"    {count:>5}  {key}")


@app.command()
def export(
    target: Annotated[Path, typer.Argument(metavar="DIR", help="Where the files go.")],
    kind: Annotated[str, typer.Option("--as", metavar="KIND", help="parquet, csv or jsonl.")] = "csv",
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Every table of the search to Parquet, CSV or JSONL.

    Example: viewworthy export out --as parquet
    """
    from pipeline.search import find_search
    from pipeline.store import open_store

    kinds: dict[str, Literal["parquet", "csv", "jsonl"]] = {"parquet": "parquet", "csv": "csv", "jsonl": "jsonl"}
    if kind not in kinds:
        raise UsageError(f"--as {kind}: not known", remedy=f"Use one of {', '.join(kinds)}.")
    folder = find_search(search)
    with open_store(folder, create=False) as store:
        try:
            paths = store.export(target, kinds[kind])
        except OSError as error:
            raise UsageError(f"cannot be written ({error.strerror})", where=str(target)) from error
    if as_json:
        typer.echo(json.dumps([str(path) for path in paths]))
    else:
        say(f"Wrote {len(paths)} tables to {target}.")


# ---- what commands share --------------------------------------------------------


def _add(folder: Path, paths: list[Path], stdin: bytes | None = None) -> dict[str, Any]:
    import hashlib

    from pipeline.ingest import gather
    from pipeline.run import add as add_sources
    from pipeline.search import open_search
    from pipeline.store import open_store
    from pipeline.types import SourceFile

    missing = [path for path in paths if not path.exists()]
    if missing:
        raise UsageError("there is no such file", where=str(missing[0]), remedy="Check the name.")
    search = open_search(folder)
    sources = list(gather(paths))
    if stdin is not None:
        digest = hashlib.sha256(stdin).hexdigest()
        sources.append(SourceFile(f"standard input {digest[:8]}", stdin, digest))
    with open_store(folder) as store, progress_bar() as progress:
        added = add_sources(store, sources, search.as_of, progress)
    for refusal in added.refusals:
        place = f"{refusal.source}:{refusal.line}" if refusal.line else refusal.source
        say(f"not read: {place} {refusal.reason} It is kept.")
    say(
        f"{added.files} files, {added.seen} adverts: {added.new} new, {added.changed} changed, {added.same} as before; "
        f"{len(added.refusals)} refused."
    )
    return {
        "files": added.files,
        "adverts": added.seen,
        "new": added.new,
        "changed": added.changed,
        "same": added.same,
        "refused": [
            {"source": r.source, "line": r.line, "reason": r.reason} for r in added.refusals
        ],
    }  # fmt: skip


def _bring(folder: Path) -> Any:
    from pipeline.run import bring_up_to_date
    from pipeline.search import open_search
    from pipeline.store import open_store

    search = open_search(folder)
    with open_store(folder, create=False) as store, progress_bar() as progress:
        return bring_up_to_date(store, search, progress)


def _rank(folder: Path, as_json: bool) -> None:
    from pipeline.output import as_json as to_json
    from pipeline.report import page, table

    view = _bring(folder).view
    report = folder / "reports" / "ranking.html"
    report.parent.mkdir(exist_ok=True)
    part = report.with_suffix(".part")
    part.write_text(page(view), encoding="utf-8")
    part.replace(report)
    if as_json:
        rows = [to_json(vehicle) for vehicle in view.vehicles]
        typer.echo(json.dumps({"as_of": view.as_of.isoformat(), "vehicles": rows}, ensure_ascii=False, indent=1))
    elif not view.vehicles:
        say("No adverts yet. Save some into inbox/ and run 'viewworthy add'.")
    else:
        typer.echo(table(view, shutil.get_terminal_size((110, 40)).columns))
    say(f"The page: {report.resolve()}")


def _find(vehicles: tuple[VehicleView, ...], ref: str) -> VehicleView:
    tests: tuple[Callable[[VehicleView], bool], ...] = (
        lambda v: v.ref == ref,
        lambda v: any(ref in (t.advert_id, t.source) for t in v.texts),
        lambda v: ref.lower() in v.title.lower() or any(ref.lower() in t.source.lower() for t in v.texts),
    )
    for test in tests:
        found = [vehicle for vehicle in vehicles if test(vehicle)]
        if len(found) == 1:
            return found[0]
        if found:
            some = "; ".join(f"{v.ref} {v.title}" for v in found[:6])
            raise UsageError(f"{ref!r} fits {len(found)} vehicles: {some}", remedy="Give the number.")
    raise UsageError(f"no vehicle fits {ref!r}", remedy="Give a number from 'viewworthy rank'.")


def main() -> None:
    """Entry point: errors for the user become one line on standard error and an exit status."""
    os.environ.setdefault("DO_NOT_TRACK", "1")
    try:
        app(standalone_mode=True)
    except ViewworthyError as error:
        say(f"viewworthy: {error}")
        sys.exit(error.exit_status)


if __name__ == "__main__":
    main()
