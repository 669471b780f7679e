"""The command line: commands parse and print; heavy parts are imported only by the commands that need them."""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from pipeline.errors import UsageError, ViewworthyError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.intake import Progress
    from pipeline.types import ReportView

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


def _refs(context: typer.Context, incomplete: str) -> list[tuple[str, str]]:
    """Numbers and titles for the shell's completion."""
    from pipeline.refs import completions

    given = context.params.get("search")
    return completions(Path(given or os.environ.get("VIEWWORTHY_SEARCH") or "."), incomplete)


RefArgument = Annotated[
    str,
    typer.Argument(
        metavar="REF", help="The vehicle's number, a file name, or a piece of its title.", autocompletion=_refs
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
    purpose: Annotated[str | None, typer.Option(help="everyday (usual), working, original or project.")] = None,
    budget: Annotated[float | None, typer.Option(help="Price and first year's repairs together.")] = None,
    region: Annotated[
        str | None,
        typer.Option(help="uk, ireland, north-america, australasia-sa or continent (default: where home is)."),
    ] = None,
    guide_price: Annotated[
        float | None, typer.Option(help="What a sound one of middling age and mileage fetches.")
    ] = None,
    own_work: Annotated[bool, typer.Option("--own-work", help="You do your own work where it is safe.")] = False,
    pack: Annotated[list[str] | None, typer.Option(help="A kind of vehicle; may be given again.")] = None,
    no_questions: Annotated[bool, typer.Option("--no-questions", help="Asks nothing: flags and defaults.")] = False,
) -> None:
    """Makes a search folder with a commented buyer.toml. In a terminal it asks what the flags do not say.

    Example: viewworthy start vans --home Hexham --budget 7000 --pack light-camper-van
    """
    from pipeline.search import open_search, start_search
    from pipeline.starting import Wanted, completed, next_steps

    if (folder / "buyer.toml").exists():
        raise UsageError("there is a buyer.toml already", where=str(folder), remedy="Edit it, or name another folder.")
    packs = tuple(dict.fromkeys(("general", *pack))) if pack else None
    ask = None if no_questions or not sys.stdin.isatty() else _ask
    wanted = completed(Wanted(home, region, packs, purpose, budget, guide_price), ask, say)
    path = start_search(
        folder,
        home=wanted.home or "",
        purpose=wanted.purpose or "everyday",
        budget=wanted.budget,
        region=wanted.region or "uk",
        own_work=own_work,
        guide_price=wanted.guide_price,
        packs=wanted.packs or ("general",),
    )
    try:
        open_search(folder)
    except ViewworthyError:
        path.unlink()
        raise
    say(next_steps(folder))


def _ask(question: str) -> str:
    return str(typer.prompt(question, default="", show_default=False, err=True))


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
def rank(
    search: SearchOption = None,
    as_json: JsonOption = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", help="Says how long each stage took and what was worked out anew.")
    ] = False,
) -> None:
    """Brings everything up to date, prints the ranking and writes the page.

    Example: viewworthy rank --search vans
    """
    from pipeline.search import find_search

    _rank(find_search(search), as_json, verbose)


@app.command()
def show(
    ref: RefArgument,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """One vehicle in full: what was read, costs, value, and why it stands where it stands.

    Example: viewworthy show 12
    """
    from pipeline.shown import answer

    told = answer(search or Path(os.environ.get("VIEWWORTHY_SEARCH") or "."), ref, as_json)
    if told is not None:
        typer.echo(told, nl=False)
        return
    from pipeline.output import as_json as to_json
    from pipeline.refs import find_vehicle
    from pipeline.search import find_search

    whole = _bring(find_search(search), remember=False, asked=[ref]).view
    view = find_vehicle((*whole.vehicles, *whole.apart), ref)
    if as_json:
        typer.echo(json.dumps(to_json(view), ensure_ascii=False, indent=1))
        return
    from pipeline.report import vehicle_text

    typer.echo(vehicle_text(view, shutil.get_terminal_size((100, 40)).columns, whole.buyer.units))


@app.command()
def nightly(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="A search folder, or a folder of search folders (default: as --search)."),
    ] = None,
    once: Annotated[bool, typer.Option("--once", help="One night, now.")] = False,
    cron: Annotated[str | None, typer.Option("--cron", metavar="TIME", help="Every night at a cron time.")] = None,
    plain: Annotated[
        bool, typer.Option("--plain", help="One night without Prefect, as cron or a systemd timer starts it.")
    ] = False,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """A night: takes in what is new, ranks, writes the page and a digest of what changed.

    Example: viewworthy nightly --once vans
    """
    from pipeline.night import as_json as to_json
    from pipeline.night import every_night, plain_night, search_folders, summary
    from pipeline.search import find_search

    if bool(cron) + once + plain != 1:
        raise UsageError("a night must be told when", remedy="Give one of --once, --plain and --cron TIME.")
    place = folder or find_search(search)
    folders = search_folders(place)
    if plain:
        nights = every_night(folders, plain_night)
    else:
        from pipeline.nightly_settings import prepare

        prepare(place, served=bool(cron))
        from pipeline.nightly import one_night, serve

        if cron:
            serve(place, cron, say)
            return
        nights = every_night(folders, one_night)
    typer.echo(to_json(nights) if as_json else summary(nights))
    if any(night.error or night.told["add"]["refused"] for night in nights):
        raise typer.Exit(1)


@app.command()
def sheet(
    ref: RefArgument,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Where it goes (default: reports/sheet-NUMBER.html).")
    ] = None,
    search: SearchOption = None,
) -> None:
    """Call sheet and viewing sheet of one vehicle, to print: what to ask, where to look, what to pay.

    Example: viewworthy sheet 12
    """
    from pipeline.output import write_files
    from pipeline.refs import find_vehicle
    from pipeline.search import find_search, open_search
    from pipeline.sheets import sheet_of

    folder = find_search(search)
    whole = _bring(folder, remember=False, asked=[ref]).view
    vehicle = find_vehicle((*whole.vehicles, *whole.apart), ref)
    target = out or folder / "reports" / f"sheet-{vehicle.ref}.html"
    (path,) = write_files(target.parent, {target.name: sheet_of(open_search(folder), whole, vehicle)})
    say(f"The sheet: {path.resolve()} (open it in a browser and print it)")


@app.command()
def advise(
    members: Annotated[Path, typer.Argument(metavar="MEMBERS", help="A folder of member files, NAME.toml each.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Where the pages go (default: reports/advise).")
    ] = None,
    contacts: Annotated[
        bool, typer.Option("--contacts", help="Leaves sellers' telephone numbers, addresses and plates in.")
    ] = False,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """For a club's adviser: the best few of one pool for each member, a page each and a summary.

    Example: viewworthy advise members --search pool
    """
    from pipeline.advise.command import advise as give_advice
    from pipeline.advise.command import as_json as to_json
    from pipeline.search import find_search, open_search
    from pipeline.store import open_store

    folder = find_search(search)
    target = out or folder / "reports" / "advise"
    with open_store(folder, create=False) as store, progress_bar() as progress:
        given = give_advice(store, open_search(folder), members, target, contacts=contacts, progress=progress)
    for refusal in given.view.refusals:
        say(f"not used: {refusal.reason}")
    if as_json:
        typer.echo(json.dumps(to_json(given.view), ensure_ascii=False, indent=1))
    none = sum(not one.view.vehicles for one in given.view.members)
    say(f"{len(given.view.members)} members, {given.view.vehicles} vehicles, {none} without one worth a visit.")
    say(f"The summary, for the adviser alone: {given.paths[0].resolve()}")
    if given.view.refusals:
        raise typer.Exit(1)


@app.command()
def note(
    ref: RefArgument,
    found: Annotated[
        list[str] | None, typer.Option(metavar="PART: STATE", help="Seen: sound, minor or major; may be given again.")
    ] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option(metavar="SUBJECT: ANSWER", help="Told: 'timing_belt: done at 80000', 'owners: 3'; again."),
    ] = None,
    correct: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME: RIGHT", help="What the advert really says: 'mileage: 98500', 'sills: unsaid'."),
    ] = None,
    text: Annotated[str, typer.Option(help="In your own words; it is read as the adverts are.")] = "",
    photo: Annotated[list[str] | None, typer.Option(help="File name of a photograph; may be given again.")] = None,
    at: Annotated[str | None, typer.Option(help="Where you learnt it: call, viewing or papers.")] = None,
    price_agreed: Annotated[float | None, typer.Option(help="The price that you and the seller agreed.")] = None,
    price_refused: Annotated[float | None, typer.Option(help="An offer that the seller refused.")] = None,
    refused: Annotated[bool, typer.Option("--refused", help="The seller takes the asking price or nothing.")] = False,
    bought: Annotated[bool, typer.Option("--bought", help="You bought it.")] = False,
    sold: Annotated[bool, typer.Option("--sold", help="It was sold to somebody else.")] = False,
    gone: Annotated[bool, typer.Option("--gone", help="It is no longer for sale.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Takes the newest note of the vehicle back.")] = False,
    history: Annotated[bool, typer.Option("--history", help="Lists the notes of the vehicle.")] = False,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Records what a call or a viewing brought; beliefs, costs, prices and the ranking follow.

    Parts and subjects go by their names in `viewworthy show`; one that is not known is answered with the nearest.

    Example: viewworthy note 12 --found "sills: major" --answer "timing_belt: done at 80000"

    Example: viewworthy note 12 --text "rang, he says the belt was done in 2022, clutch slips a bit"
    """
    from pipeline.notes.command import fate_of, learnt_at, run_note
    from pipeline.notes.record import Given
    from pipeline.search import find_search

    given = Given(
        found=found or (),
        answers=answer or (),
        corrections=correct or (),
        text=text,
        photos=photo or (),
        price_agreed=price_agreed,
        price_refused=price_refused,
        no_less=refused,
        fate=fate_of(bought=bought, sold=sold, gone=gone),
        learnt=learnt_at(at),
    )
    folder = find_search(search)
    with progress_bar() as progress:
        told = run_note(folder, ref, given, undo=undo, list_notes=history, as_json=as_json, progress=progress)
    typer.echo(told)


@app.command()
def desk(
    port: Annotated[int, typer.Option(help="The port to listen on (default: any that is free).")] = 0,
    search: SearchOption = None,
) -> None:
    """A page on this computer: paste adverts, see and correct what was read, record calls, edit buyer.toml.

    It listens on 127.0.0.1 alone and prints its address, which holds the key to it. Ctrl-C ends it.

    Example: viewworthy desk --search vans
    """
    from pipeline.desk import serve
    from pipeline.search import find_search, open_search

    folder = find_search(search)
    open_search(folder)
    serve(folder, port, lambda address: say(f"The desk is open: {address}\nCtrl-C closes it."))


@app.command()
def plan(
    refs: Annotated[
        list[str] | None, typer.Argument(metavar="[REF]...", help="These vehicles alone (default: all to travel to).")
    ] = None,
    days: Annotated[int, typer.Option(min=1, max=2, help="1, or 2 for a weekend.")] = 1,
    leave: Annotated[str | None, typer.Option(metavar="HH:MM", help="When you can leave home.")] = None,
    hours: Annotated[float | None, typer.Option(min=1, max=24, help="From leaving home to being back.")] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(metavar="REF=TIME", help="An appointment: 7=10:30, 7=10:30-12:00, 7=2/10:30 on the second day."),
    ] = None,
    place: Annotated[
        list[str] | None, typer.Option(metavar="REF=PLACE", help="Where a vehicle stands; may be given again.")
    ] = None,
    also_ring: Annotated[
        bool, typer.Option("--also-ring", help="Weighs those to ring first too, as if the call went as expected.")
    ] = False,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """A day or a weekend of viewings: which vehicles, in which order, and what the plan is worth.

    Example: viewworthy plan --leave 09:00 --hours 8 --at 17=10:30 --place 12=Ilkley
    """
    from pipeline.outing import outings_json, outings_lines, planned
    from pipeline.search import find_search

    folder = find_search(search)
    ask = (lambda words: str(typer.prompt(words, default="", err=True))) if sys.stdin.isatty() else None

    def bring() -> ReportView:
        asked = [word.partition("=")[0] for word in (*(refs or ()), *(at or ()), *(place or ()))]
        view: ReportView = _bring(folder, remember=False, asked=asked).view
        return view

    found = planned(bring, refs or (), at or (), place or (), leave, hours, days, also_ring, ask)
    if as_json:
        typer.echo(json.dumps(outings_json(found), ensure_ascii=False, indent=1))
        return
    from pipeline.wrap import wrapped

    typer.echo(wrapped(outings_lines(found), shutil.get_terminal_size((100, 40)).columns), nl=False)


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
    contacts: Annotated[
        bool, typer.Option("--contacts", help="Leaves sellers' telephone numbers, addresses and plates in.")
    ] = False,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Every table of the search to Parquet, CSV or JSONL, telephone numbers, addresses and plates dotted out.

    Example: viewworthy export out --as parquet
    """
    from pipeline.advise.contacts import SECRET_FACTS, masked
    from pipeline.search import find_search
    from pipeline.store import open_store

    kinds: dict[str, Literal["parquet", "csv", "jsonl"]] = {"parquet": "parquet", "csv": "csv", "jsonl": "jsonl"}
    if kind not in kinds:
        raise UsageError(f"--as {kind}: not known", remedy=f"Use one of {', '.join(kinds)}.")
    folder = find_search(search)
    with open_store(folder, create=False) as store:
        secrets = store.values_of(SECRET_FACTS)
        change = None if contacts else lambda text: masked(text, secrets, contacts=True)
        try:
            paths = store.export(target, kinds[kind], change)
        except OSError as error:
            raise UsageError(f"cannot be written ({error.strerror})", where=str(target)) from error
    if as_json:
        typer.echo(json.dumps([str(path) for path in paths]))
    else:
        say(f"Wrote {len(paths)} tables to {target}.")


@app.command()
def unlink(
    ref: RefArgument,
    advert: Annotated[str, typer.Argument(help="The advert's id, as 'viewworthy show' gives it.")],
    undo: Annotated[bool, typer.Option("--undo", help="Takes it back: it may be linked again.")] = False,
    search: SearchOption = None,
) -> None:
    """Says that an advert is not of this vehicle, though it looked so; it is ranked on its own from then on.

    Example: viewworthy unlink 7 byway-derby.html
    """
    from pipeline.search import find_search, open_search
    from pipeline.store import open_store
    from pipeline.unlinking import unlink as keep_apart

    folder = find_search(search)
    with open_store(folder, create=False) as store:
        others = keep_apart(store, ref, advert, open_search(folder).as_of, undo=undo)
    say(f"{advert} {'may be linked again with' if undo else 'is kept apart from'} {', '.join(others)}.")
    say("Run 'viewworthy rank' to see what follows.")


@app.command()
def forget(
    ref: Annotated[str, typer.Argument(help="The vehicle's number, an advert's id, or the name of a refused file.")],
    whole_file: Annotated[
        bool, typer.Option("--whole-file", help="Forgets the other adverts of the same file too.")
    ] = False,
    search: SearchOption = None,
) -> None:
    """Removes a vehicle's adverts for good: rows, raw files, copies in inbox/, and the pages made so far.

    The same file is not taken in again. Example: viewworthy forget 12
    """
    from pipeline.doctor import forget as forget_for_good
    from pipeline.search import find_search, open_search

    folder = find_search(search)
    done = forget_for_good(folder, ref, open_search(folder).as_of, whole_file=whole_file)
    say(f"Forgotten: {', '.join(done.adverts) or ref}; {done.raw_files} raw files removed.")
    for name in done.inbox_files:
        say(f"Removed {name}.")
    say("Run 'viewworthy rank' to write the pages anew.")


@app.command()
def doctor(
    rebuild: Annotated[
        bool, typer.Option("--rebuild", help="Builds the database anew from the files that were saved.")
    ] = False,
    search: SearchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Says whether the search folder is whole: hashes, counts, keys between tables, the last runs.

    Example: viewworthy doctor --search vans
    """
    from pipeline.doctor import examine
    from pipeline.doctor import rebuild as build_anew
    from pipeline.search import find_search

    folder = find_search(search)
    if rebuild:
        with progress_bar() as progress:
            built = build_anew(folder, progress)
        if built.unreadable:
            say(f"The old database could not be read: {built.unreadable}")
        added = built.added
        say(f"Built anew from {added.files} saved files: {added.adverts} adverts, {len(added.refusals)} refused.")
        say(f"Taken over from the old database: {', '.join(built.carried) or 'nothing'}.")
        if built.before:
            say(f"The old one is kept as {built.before.name}; delete it when all is well.")
    report = examine(folder)
    if as_json:
        shown = {"schema": report.schema, "counts": report.counts, "runs": report.runs, "troubles": report.troubles}
        typer.echo(json.dumps(shown, ensure_ascii=False, indent=1))
    else:
        typer.echo(f"schema {report.schema}; " + ", ".join(f"{n} {table}" for table, n in report.counts.items()))
        for line in (*report.runs, *report.troubles):
            typer.echo(line)
        typer.echo(f"{len(report.troubles)} troubles." if report.troubles else "All is well.")
    if report.troubles:
        raise typer.Exit(1)


# ---- what commands share --------------------------------------------------------


def _add(folder: Path, paths: list[Path], stdin: bytes | None = None) -> dict[str, Any]:
    import hashlib
    from itertools import chain

    from pipeline.ingest import gather
    from pipeline.intake import add as add_sources
    from pipeline.search import open_search
    from pipeline.store import open_store
    from pipeline.types import SourceFile

    missing = [path for path in paths if not path.exists()]
    if missing:
        raise UsageError("there is no such file", where=str(missing[0]), remedy="Check the name.")
    search = open_search(folder)
    sources = gather(paths)
    if stdin is not None:
        digest = hashlib.sha256(stdin).hexdigest()
        sources = chain(sources, [SourceFile(f"standard input {digest[:8]}", stdin, digest)])
    with open_store(folder) as store, progress_bar() as progress:
        added = add_sources(store, sources, search.as_of, progress)
    for refusal in added.refusals:
        place = f"{refusal.source}:{refusal.line}" if refusal.line else refusal.source
        say(f"not read: {place} {refusal.reason} It is kept.")
    say(
        f"{added.files} files, {added.seen} seen = {added.new} new + {added.changed} changed + {added.same} as before "
        f"+ {len(added.refusals)} refused."
    )
    return {
        "files": added.files,
        "seen": added.seen,
        "adverts": added.adverts,
        "new": added.new,
        "changed": added.changed,
        "same": added.same,
        "refused": [
            {"source": r.source, "line": r.line, "reason": r.reason} for r in added.refusals
        ],
    }  # fmt: skip


def _bring(folder: Path, *, remember: bool = True, command: str = "", asked: Sequence[str] = ()) -> Any:
    from pipeline.run import bring_up_to_date
    from pipeline.search import open_search
    from pipeline.store import open_store

    search = open_search(folder)
    with open_store(folder, create=False) as store, progress_bar() as progress:
        return bring_up_to_date(store, search, progress, remember=remember, command=command, asked=asked)


def _waiting(folder: Path) -> int:
    """Files in the inbox."""
    return sum(path.is_file() and not path.name.startswith(".") for path in (folder / "inbox").rglob("*"))


def _rank(folder: Path, as_json: bool, verbose: bool = False) -> None:
    from pipeline.output import as_json as to_json
    from pipeline.output import passed_over_json, write_files
    from pipeline.report import pages, table
    from pipeline.starting import nothing_yet
    from pipeline.store import DATABASE

    if not (folder / DATABASE).exists():
        raise UsageError("there is nothing to rank", where=str(folder), remedy=nothing_yet(folder, _waiting(folder)))
    result = _bring(folder, command="rank")
    view = result.view
    report = write_files(folder / "reports", pages(view))[0]
    if as_json:
        told: dict[str, Any] = {"as_of": view.as_of.isoformat(), "vehicles": [to_json(v) for v in view.vehicles]}
        if view.passed_over:
            told["passed_over"] = [passed_over_json(one) for one in view.passed_over]
        typer.echo(json.dumps(told, ensure_ascii=False, indent=1))
    elif not view.vehicles:
        say(nothing_yet(folder, _waiting(folder)))
    else:
        typer.echo(table(view, shutil.get_terminal_size((110, 40)).columns))
    say(f"The page: {report.resolve()}")
    if verbose:
        say("\n".join(result.record.lines()))


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
