"""Prefect's settings for the nights. They stand in the environment, which Prefect reads when it is imported."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

PORT = 4210
STARTUP_SECONDS = 120  # a temporary server takes 12 to 24 seconds at its first start


def prepare(folder: Path, *, served: bool = False, port: int = PORT) -> None:
    """Prefect's own files under `folder/.prefect`, no telemetry, a server for this machine and this user alone.

    By default the server's API takes requests under any host name, from any page and from anybody: here it listens on
    the loopback address, takes pages of its own address, and asks for a password that only this user can read. What
    the environment says already stands, so that a server of your own can be named with PREFECT_API_URL. `served`: a
    schedule needs a standing server, not one that is started for each run.
    """
    home = folder.resolve() / ".prefect"
    home.mkdir(mode=0o700, parents=True, exist_ok=True)
    settings = {
        "DO_NOT_TRACK": "1",
        "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
        "PREFECT_HOME": str(home),
        "PREFECT_SERVER_EPHEMERAL_ENABLED": "true",
        "PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS": str(STARTUP_SECONDS),
        "PREFECT_SERVER_API_HOST": "127.0.0.1",
        "PREFECT_SERVER_API_PORT": str(port),
        "PREFECT_SERVER_CORS_ALLOWED_ORIGINS": f"http://127.0.0.1:{port}",
        "PREFECT_LOGGING_LEVEL": "WARNING",
        "PREFECT_LOGGING_HANDLERS_CONSOLE_LEVEL": "CRITICAL",  # the summary tells what failed, without tracebacks
    }
    if "PREFECT_API_URL" not in os.environ:
        key = f"nightly:{_password(home / 'password')}"
        settings |= {"PREFECT_SERVER_API_AUTH_STRING": key, "PREFECT_API_AUTH_STRING": key}
        if served:
            settings["PREFECT_API_URL"] = f"http://127.0.0.1:{port}/api"
    for name, setting in settings.items():
        os.environ.setdefault(name, setting)


def _password(path: Path) -> str:
    """The password of this folder's server, made at the first use."""
    if not path.exists():
        handle = os.open(path, os.O_CREAT | os.O_WRONLY | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(24))
    return path.read_text(encoding="ascii").strip()
