"""The desk's pages: routes, what they show, and the work that they ask for."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from pipeline.desk import buyer_form, forms, views
from pipeline.desk.guard import Guard, Keys, TooLarge
from pipeline.desk.state import Desk, Seen
from pipeline.desk.work import Job
from pipeline.errors import UsageError, ViewworthyError
from pipeline.ingest import gather
from pipeline.intake import Added, Progress, add
from pipeline.notes.session import Told, store_note, take_back
from pipeline.output import write_files
from pipeline.report import pages, words
from pipeline.report.page import environment
from pipeline.search import Search
from pipeline.sheets import sheet_of
from pipeline.store import Store
from pipeline.types import Note, VehicleView

TEMPLATES = Path(__file__).resolve().parent / "templates"
REPORT_STYLE = Path(__file__).resolve().parent.parent / "report" / "templates" / "page.css"
_UNPRINTABLE = re.compile("[\x00\ud800-\udfff]")
# The report and the sheets bring a policy of their own in the file; this one adds what only a header can say.
FILE_POLICY = {"Content-Security-Policy": "frame-ancestors 'none'; form-action 'none'; connect-src 'none'"}


def create_app(folder: Path, keys: Keys) -> Starlette:
    """The desk of one search folder. `keys`: this start's token and cookie."""
    desk = Desk(folder)
    handlers = Pages(desk)

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        yield
        await run_in_threadpool(desk.worker.close)

    routes = [
        Route("/", handlers.ranking),
        Route("/desk.css", handlers.style),
        Route("/icon.svg", handlers.icon),
        Route("/add", handlers.add_form),
        Route("/add", handlers.add, methods=["POST"]),
        Route("/work/{number:int}", handlers.work),
        Route("/vehicle/{ref:str}", handlers.vehicle),
        Route("/vehicle/{ref:str}/sheet", handlers.sheet),
        Route("/vehicle/{ref:str}/note", handlers.note, methods=["POST"]),
        Route("/vehicle/{ref:str}/correct", handlers.correct, methods=["POST"]),
        Route("/vehicle/{ref:str}/undo", handlers.undo, methods=["POST"]),
        Route("/report/{name:str}", handlers.report),
        Route("/buyer", handlers.buyer),
        Route("/buyer", handlers.save_buyer, methods=["POST"]),
    ]
    app = Starlette(
        routes=routes,
        middleware=[Middleware(Guard, keys=keys)],
        exception_handlers={HTTPException: handlers.refused, TooLarge: handlers.too_large},
        lifespan=life,
    )
    app.state.desk = desk
    return app


class Pages:
    """One method a route. Those that only show are plain functions, which the framework runs in its threads."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.templates = environment(TEMPLATES)

    def show(self, template: str, status: int = 200, *, here: str = "", **values: Any) -> HTMLResponse:
        """A page. `here`: which of the head's links it is."""
        busy, seen = self.desk.worker.busy, self.desk.seen
        name = self.desk.folder.resolve().name
        html = self.templates.get_template(template).render(
            **values, here=here, busy=busy, seen=seen, search_name=name, trouble=self.desk.worker.trouble
        )
        return HTMLResponse(_UNPRINTABLE.sub("\ufffd", html), status)

    # ---- what there is ----------------------------------------------------------

    def ranking(self, request: Request) -> Response:
        """The ranking; while there is none yet, the work that makes it."""
        seen = self.desk.seen
        if self.desk.stale:
            job = self.desk.refresh()
            if seen is None:
                return _to(f"/work/{job.number}")
        assert seen is not None
        told = self._job(request.query_params.get("told"))
        return self.show(
            "ranking.html",
            rows=views.rows(seen.view),
            apart=views.apart(seen.view),
            view=seen.view,
            day=words.day(seen.view.as_of),
            here="/",
            added=told.result if told and isinstance(told.result, Added) else None,
        )

    def vehicle(self, request: Request) -> Response:
        seen, vehicle = self._vehicle(request)
        if seen is None:
            return _to(f"/work/{self.desk.refresh().number}")
        if vehicle is None:
            return self.problem(404, "There is no vehicle of that number.", "Go back to the ranking.")
        again = self._job(request.query_params.get("again"))
        told = self._job(request.query_params.get("told"))
        result = told.result if told else None
        return self.show(
            "vehicle.html",
            v=views.vehicle_page(seen, vehicle),
            told=result if isinstance(result, Told) and result.ref == vehicle.ref else None,
            added=result if isinstance(result, Added) else None,
            error=again.error if again else "",
            given=again.given if again else {},
        )

    def sheet(self, request: Request) -> Response:
        """Call sheet and viewing sheet, to print."""
        seen, vehicle = self._vehicle(request)
        if seen is None or vehicle is None:
            return _to("/")
        return HTMLResponse(sheet_of(seen.search, seen.view, vehicle), headers=FILE_POLICY)

    def report(self, request: Request) -> Response:
        """The report page as `rank` writes it."""
        seen = self.desk.seen
        if seen is None:
            return _to("/")
        found = pages(seen.view)
        name = request.path_params["name"]
        if name not in found:
            return self.problem(404, "There is no such page.", "Go back to the ranking.")
        return HTMLResponse(found[name], headers=FILE_POLICY)

    def work(self, request: Request) -> Response:
        """How far a piece of work is; where it leads when it is done."""
        job = self.desk.worker.jobs.get(request.path_params["number"])
        if job is None:
            return _to("/")
        if job.state == "done":
            return _to(job.leads_to)
        if job.state == "failed" and job.given:
            return _to(f"{job.back}?again={job.number}#again")
        return self.show("work.html", job=job)

    def style(self, request: Request) -> Response:
        own = (TEMPLATES / "desk.css").read_text(encoding="utf-8")
        return Response(REPORT_STYLE.read_text(encoding="utf-8") + own, media_type="text/css")

    def icon(self, request: Request) -> Response:
        return Response((TEMPLATES / "icon.svg").read_bytes(), media_type="image/svg+xml")

    # ---- adding -------------------------------------------------------------------

    def add_form(self, request: Request) -> Response:
        again = self._job(request.query_params.get("again"))
        return self.show(
            "add.html", here="/add", error=again.error if again else "", given=again.given if again else {}
        )

    async def add(self, request: Request) -> Response:
        """Keeps what was pasted and dropped in inbox/ at once, then reads it."""
        values, files = await forms.fields(request)
        text = forms.one(values, "text")
        if not text and not files:
            return self.show("add.html", 400, here="/add", error="Paste an advert, or choose files.", given=values)
        try:
            kept = await run_in_threadpool(self._keep, text, values, files)
        except OSError as error:
            return self.show(
                "add.html", 500, here="/add", error=f"inbox/ cannot be written ({error.strerror}).", given=values
            )
        job = self.desk.worker.add(f"Reading {_counted(len(kept), 'file')}", partial(self._read, kept))
        return _to(f"/work/{job.number}")

    def _keep(self, text: str, values: dict[str, list[str]], files: list[forms.Dropped]) -> list[Path]:
        inbox = self.desk.folder / "inbox"
        inbox.mkdir(exist_ok=True)
        dropped = list(files)
        if text:
            stem = f"pasted-{datetime.now():%Y-%m-%d-%H%M%S}"
            beside = {key: forms.one(values, key) for key in ("title", "price", "place", "url", "seller")}
            row = {key: value for key, value in beside.items() if value}
            if row:
                row = {"id": stem, "text": text, **row}
                dropped.append(forms.Dropped(f"{stem}.jsonl", json.dumps(row).encode()))
            else:
                dropped.append(forms.Dropped(f"{stem}.txt", text.encode("utf-8", "replace")))
        return [_put(inbox, one) for one in dropped]

    def _read(self, paths: list[Path], job: Job, progress: Progress) -> None:
        with self.desk.open() as (store, search):
            before = {vehicle.ref for vehicle in self.desk.seen.view.vehicles} if self.desk.seen else set()
            added = add(store, gather(paths), search.as_of, progress)
        self.desk.look(job, progress)
        assert self.desk.seen is not None
        names = {path.name for path in paths}
        of_these = [
            v.ref for v in self.desk.seen.view.vehicles if any(t.source.split("#")[0] in names for t in v.texts)
        ]
        new = [ref for ref in of_these if ref not in before] or of_these
        job.result = added
        told = f"?told={job.number}"
        job.leads_to = f"/vehicle/{new[0]}{told}" if len(new) == 1 and not added.refusals else f"/{told}"

    # ---- recording --------------------------------------------------------------

    async def note(self, request: Request) -> Response:
        values, _ = await forms.fields(request)

        def make(vehicle: VehicleView, key: str, search: Search) -> Note:
            given = forms.given_of(values)
            if given.empty:
                raise UsageError("nothing was filled in", remedy="Write what you heard or saw, and save again.")
            return self.desk.recorder(search).note(given, vehicle, key, search.as_of)

        return self._record(request, values, "Recording", make)

    async def correct(self, request: Request) -> Response:
        values, _ = await forms.fields(request)

        def make(vehicle: VehicleView, key: str, search: Search) -> Note:
            empty = Note(0, key, search.as_of, "reading")
            return forms.corrected(values, vehicle, self.desk.recorder(search), empty)

        return self._record(request, values, "Correcting", make)

    def _record(
        self,
        request: Request,
        values: dict[str, list[str]],
        title: str,
        make: Callable[[VehicleView, str, Search], Note],
    ) -> Response:
        ref = request.path_params["ref"]

        def run(store: Store, search: Search, progress: Progress) -> Told:
            def checked(vehicle: VehicleView, key: str) -> Note:
                forms.check_version(vehicle, values)
                return make(vehicle, key, search)

            return store_note(store, search, ref, checked, progress)

        return self._told(ref, values, title, run)

    async def undo(self, request: Request) -> Response:
        values, _ = await forms.fields(request)
        ref = request.path_params["ref"]

        def run(store: Store, search: Search, progress: Progress) -> Told:
            return take_back(store, search, ref, progress, lambda vehicle: forms.check_version(vehicle, values))

        return self._told(ref, values, "Taking back", run)

    def _told(
        self, ref: str, values: dict[str, list[str]], title: str, run: Callable[[Store, Search, Progress], Told]
    ) -> Response:
        """Work that records or takes back, and leads to the vehicle with what it changed."""

        def task(job: Job, progress: Progress) -> None:
            try:
                with self.desk.open() as (store, search):
                    told = run(store, search, progress)
                    readings = store.note_readings()
            except forms.Conflict:
                self.desk.look(job, progress)  # so that the form comes back with what the other tab recorded
                raise
            self.desk.looked(search, told, readings)
            job.result, job.leads_to = told, f"/vehicle/{ref}?told={job.number}"

        job = self.desk.worker.add(title, task, given=values, back=f"/vehicle/{ref}")
        return _to(f"/work/{job.number}")

    # ---- buyer.toml ---------------------------------------------------------------

    def buyer(self, request: Request) -> Response:
        try:
            return self.show("buyer.html", here="/buyer", form=buyer_form.form(self.desk.folder), error="", saved=False)
        except ViewworthyError as error:
            return self.problem(500, f"buyer.toml {error}", "Mend it in a text editor, then open this page again.")

    async def save_buyer(self, request: Request) -> Response:
        values, _ = await forms.fields(request)
        return await run_in_threadpool(self._save_buyer, values)

    def _save_buyer(self, values: dict[str, list[str]]) -> Response:
        folder, path = self.desk.folder, self.desk.folder / buyer_form.NAME
        with self.desk.buyer_lock:
            now = buyer_form.version_of(path.read_bytes())
            if forms.one(values, "version") != now:
                mine = buyer_form.given_form(folder, values, now)
                return self.show(
                    "buyer.html", 409, here="/buyer", form=mine, theirs=buyer_form.form(folder), saved=False,
                    error="buyer.toml was changed since you opened this page, in another tab or by an editor. What you "
                    "entered is still here; what stands in the file now is beside it. Nothing was saved yet.",
                )  # fmt: skip
            try:
                text = buyer_form.changed(folder, values)
                write_files(folder, {buyer_form.NAME: text})
            except ViewworthyError as error:
                mine = buyer_form.given_form(folder, values, now)
                return self.show("buyer.html", 400, here="/buyer", form=mine, error=f"Not saved. {error}", saved=False)
        job = self.desk.worker.add("Ranking by your new terms", self.desk.look)
        return _to(f"/work/{job.number}")

    # ---- what goes wrong --------------------------------------------------------------

    def problem(self, status: int, what: str, remedy: str) -> Response:
        return self.show("problem.html", status, what=what, remedy=remedy)

    def refused(self, request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 400
        known = {404: "There is no such page.", 405: "That cannot be done here."}
        detail = known.get(status) or f"The form could not be read ({getattr(error, 'detail', error)})."
        return self.problem(status, detail, "Go back and try again.")

    def too_large(self, request: Request, error: Exception) -> Response:
        return self.problem(413, "That is too much at once.", "Go back and drop fewer files.")

    # ---- helpers ------------------------------------------------------------------------

    def _vehicle(self, request: Request) -> tuple[Seen | None, VehicleView | None]:
        seen = self.desk.seen
        return seen, seen.vehicle(request.path_params["ref"]) if seen else None

    def _job(self, number: str | None) -> Job | None:
        return self.desk.worker.jobs.get(int(number)) if number and number.isdecimal() and len(number) < 10 else None


def _put(inbox: Path, dropped: forms.Dropped) -> Path:
    """Writes a file whole, under a name that nothing else has there; the same bytes under their own name are there."""
    target, n = inbox / dropped.name, 1
    while target.exists():
        if target.is_file() and _digest(target.read_bytes()) == _digest(dropped.data):
            return target
        n += 1
        target = inbox / f"{Path(dropped.name).stem}-{n}{Path(dropped.name).suffix}"
    part = target.with_name(f".{target.name}.part")
    part.write_bytes(dropped.data)
    return part.replace(target)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")


def _to(where: str) -> Response:
    return RedirectResponse(where, 303)
