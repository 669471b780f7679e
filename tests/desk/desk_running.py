"""A desk that listens in a thread of the test, on a search folder of two adverts, and one who speaks to it."""

import asyncio
import http.client
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode, urlsplit

from pipeline.desk.serve import server_of
from pipeline.search import start_search

ONE = "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles, MOT to June 2027. Clutch a bit high. £4,200. Hexham."
TWO = "1997 Marrick Dale camper, 2.4 diesel, manual, 131,000 miles. Cambelt due. £5,100 ono. Kendal."
FAR_AWAY = 120.0  # seconds that a busy machine may take for a piece of work


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    text: str

    @property
    def leads_to(self) -> str:
        return self.headers["location"]


@dataclass
class Running:
    """A desk under test, and one who speaks to it as a browser does, or as none would."""

    folder: Path
    address: str
    cookie: str = ""

    @property
    def port(self) -> int:
        return urlsplit(self.address).port or 0

    @property
    def here(self) -> str:
        return f"127.0.0.1:{self.port}"

    def ask(self, method: str, path: str, body: str = "", **headers: str) -> Answer:
        """A request with exactly these headers and no others; `_` in a name stands for `-`."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in headers.items():
                connection.putheader(name.replace("_", "-"), value)
            if body:
                connection.putheader("Content-Length", str(len(body.encode())))
            connection.endheaders(body.encode() or None)
            got = connection.getresponse()
            found = {name.lower(): value for name, value in got.getheaders()}
            return Answer(got.status, found, got.read().decode("utf-8", "replace"))
        finally:
            connection.close()

    def enter(self) -> None:
        """The token for the cookie, as the browser does at the printed address."""
        got = self.ask("GET", f"/?{urlsplit(self.address).query}", Host=self.here)
        assert (got.status, got.leads_to) == (303, "/")
        self.cookie = got.headers["set-cookie"].split(";")[0]

    def get(self, path: str, **headers: str) -> Answer:
        return self.ask("GET", path, **{"Host": self.here, "Cookie": self.cookie, **headers})

    def post(self, path: str, values: dict[str, str] | list[tuple[str, str]], **headers: str) -> Answer:
        own = {
            "Host": self.here,
            "Cookie": self.cookie,
            "Origin": f"http://{self.here}",
            "Sec-Fetch-Site": "same-origin",
            "Content-Type": "application/x-www-form-urlencoded",
        }
        return self.ask("POST", path, urlencode(values), **{**own, **headers})

    def finished(self, answer: Answer) -> Answer:
        """Follows to the end of a piece of work, as the page that looks again every second does."""
        ends = time.monotonic() + FAR_AWAY
        while time.monotonic() < ends:
            while answer.status == 303:
                answer = self.get(answer.leads_to.split("#")[0])
            if 'http-equiv="refresh"' not in answer.text:
                assert "<title>" in answer.text, answer
                return answer
            path = answer.text.split('class="busy" role="status"><a href="')[1].split('"')[0]
            time.sleep(0.1)
            answer = self.get(path)
        raise AssertionError("the work did not end")


def make_search(folder: Path) -> Path:
    start_search(folder, home="Skipton", budget=7000, guide_price=5500)
    with (folder / "buyer.toml").open("a", encoding="utf-8") as toml:
        toml.write('\n[as_of]\ndate = "2026-10-31"\n')
    for name, text in {"one": ONE, "two": TWO}.items():
        (folder / "inbox" / f"{name}.txt").write_text(text, encoding="utf-8")
    return folder


@contextmanager
def running(folder: Path) -> Iterator[Running]:
    told: list[str] = []
    server = server_of(folder, 0, told.append)
    thread = threading.Thread(target=lambda: asyncio.run(server.serve()), daemon=True)
    thread.start()
    ends = time.monotonic() + FAR_AWAY
    while not told and time.monotonic() < ends:
        time.sleep(0.02)
    try:
        yield Running(folder, told[0])
    finally:
        server.should_exit = True
        thread.join(timeout=FAR_AWAY)
