"""The whole job without a network: every attempt to open a connection or look up a name ends the program."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.paths import data_folder

# Raised by the interpreter itself (audit events), so that no library can go round it.
REFUSING = """
import os, sys
ASKED = ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto", "socket.bind")
def refuse(event, arguments):
    if event in ASKED:
        os.write(2, f"NETWORK {event} {arguments!r}\\n".encode())
        os._exit(77)
sys.addaudithook(refuse)
sys.argv = ["viewworthy", *sys.argv[1:]]
from pipeline.cli import main
main()
"""


def viewworthy(*words: str) -> subprocess.CompletedProcess[str]:
    """In a network namespace without interfaces where the system allows one, with sockets refused everywhere."""
    apart = ["unshare", "--user", "--map-root-user", "--net"]
    try:
        may = subprocess.run([*apart, "true"], capture_output=True, check=False).returncode == 0
    except OSError:
        may = False
    command = [*(apart if may else []), sys.executable, "-c", REFUSING, *words]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_refusal_works() -> None:
    code = REFUSING.split("sys.argv =")[0] + "import socket\nsocket.create_connection(('192.0.2.1', 80), 1)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 77 and "NETWORK socket" in done.stderr


def test_a_search_from_start_to_page(tmp_path: Path) -> None:
    folder = str(tmp_path / "s")
    assert viewworthy("start", folder, "--home", "Skipton").returncode == 0
    demo = data_folder("data_demo") / "inbox"
    for name in ("hedgerow-curlew-hexham.html", "chester-1997-reply.eml", "york-flood-1995.pdf"):
        shutil.copy(demo / name, tmp_path / "s" / "inbox" / name)
    for words in (["add"], ["rank"]):
        done = viewworthy(*words, "--search", folder)
        assert done.returncode == 0, (words, done.stderr)
        assert "NETWORK" not in done.stderr
    assert (tmp_path / "s" / "reports" / "ranking.html").exists()


@pytest.mark.slow
def test_the_whole_demonstration(tmp_path: Path) -> None:
    done = viewworthy("demo", "--into", str(tmp_path / "demo"), "--json")
    assert done.returncode in (0, 1), done.stderr
    assert len(json.loads(done.stdout)["vehicles"]) > 40
