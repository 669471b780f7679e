"""What several folders of tests share."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command sets it

CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium, driven by Playwright; what asks for it is left out, with a word, where there is none."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"{CHROMIUM} is not installed")
    arguments = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    with api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=str(CHROMIUM), args=arguments)
        yield started
        started.close()


@pytest.fixture(scope="session")
def prefect_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Prefect's test harness, which takes some ten seconds to start: once for all tests."""
    os.environ.setdefault("DO_NOT_TRACK", "1")
    os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")
    os.environ.setdefault("PREFECT_HOME", str(tmp_path_factory.mktemp("prefect")))
    from prefect.testing.utilities import prefect_test_harness

    with prefect_test_harness(server_startup_timeout=240):
        yield
