"""What several folders of tests share."""

import os
from collections.abc import Iterator

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command sets it


@pytest.fixture(scope="session")
def prefect_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Prefect's test harness, which takes some ten seconds to start: once for all tests."""
    os.environ.setdefault("DO_NOT_TRACK", "1")
    os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")
    os.environ.setdefault("PREFECT_HOME", str(tmp_path_factory.mktemp("prefect")))
    from prefect.testing.utilities import prefect_test_harness

    with prefect_test_harness(server_startup_timeout=240):
        yield
