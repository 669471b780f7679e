"""Nights on a cron time, as a user starts and ends them: a night runs, Ctrl-C ends all, nothing is left behind."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline.search import start_search

pytestmark = pytest.mark.slow


def test_nights_run_until_ctrl_c(tmp_path: Path) -> None:
    pytest.importorskip("prefect", reason="prefect is not installed")
    folder = tmp_path / "vans"
    start_search(folder, home="Skipton", budget=7000)
    (folder / "inbox" / "one.txt").write_text("1994 Marrick Dale camper, 98,000 miles. £4,200.", encoding="utf-8")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    said = tmp_path / "said.txt"
    settings = {"PREFECT_API_URL": f"http://127.0.0.1:{port}/api", "PREFECT_SERVER_API_PORT": str(port)}
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")}
    with said.open("w", encoding="utf-8") as out:
        nights = subprocess.Popen(
            [sys.executable, "-m", "pipeline.entry", "nightly", "--cron", "* * * * *", str(folder)],
            cwd=Path(__file__).parents[2],
            env={**clean, **settings},
            stdout=out,
            stderr=out,
            start_new_session=True,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # a shell's background job ignores it
        )
    try:
        deadline = time.monotonic() + 400
        while "1 search, 0 failed." not in said.read_text(encoding="utf-8") and time.monotonic() < deadline:
            assert nights.poll() is None, said.read_text(encoding="utf-8")
            time.sleep(1)
        os.killpg(nights.pid, signal.SIGINT)
        assert nights.wait(60) == 0
    finally:
        nights.kill()
    words = said.read_text(encoding="utf-8")
    assert words.startswith("Nights at * * * * *") and "vans: 1 new" in words
    assert "Traceback" not in words and "ERROR" not in words
    assert (folder / "reports" / "digest.txt").exists()
    with socket.socket() as server:
        assert server.connect_ex(("127.0.0.1", port)) != 0, "the server still listens"
