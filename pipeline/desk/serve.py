"""Starts the desk on 127.0.0.1 and prints its address."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path

import uvicorn

from pipeline.desk.app import create_app
from pipeline.desk.guard import Keys
from pipeline.errors import UsageError

HOST = "127.0.0.1"


class _Server(uvicorn.Server):
    """Tells the address once it listens, for the port may have been left to the computer."""

    ready: Callable[[int], None]

    async def startup(self, sockets: list[object] | None = None) -> None:  # type: ignore[override]
        await super().startup()
        if self.started:
            self.ready(self.servers[0].sockets[0].getsockname()[1])


def server_of(folder: Path, port: int, ready: Callable[[str], None]) -> uvicorn.Server:
    """A server for one search folder, not started; `ready` is given the address with this start's token."""
    keys = Keys()
    config = uvicorn.Config(
        create_app(folder, keys),
        host=HOST,
        port=port,
        log_level="warning",
        access_log=False,  # it would write the token down
        server_header=False,
        proxy_headers=False,
        ws="none",
        timeout_graceful_shutdown=5,
    )
    server = _Server(config)
    server.ready = lambda bound: ready(f"http://{HOST}:{bound}/?token={keys.token}")
    return server


def serve(folder: Path, port: int, ready: Callable[[str], None]) -> None:
    """Serves until it is interrupted. Raises UsageError when the port is taken."""
    if not 0 <= port <= 65535:
        raise UsageError(f"--port {port}: there is no such port", remedy="Give 1024 to 65535, or none.")
    server = server_of(folder, port, ready)
    try:
        asyncio.run(server.serve())
    except KeyboardInterrupt:
        return
    except SystemExit as error:
        raise UsageError(f"port {port} cannot be used", remedy="Give another with --port, or none.") from error
