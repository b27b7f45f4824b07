"""The real service on a free port of this machine, in a thread beside the browser."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

import uvicorn
from starlette.types import ASGIApp

from service.app import create_app
from service.installation import Installation

START_S = 30.0


class Clock:
    """A clock that runs on from a given moment, and that a test may put forward."""

    def __init__(self, starts: datetime) -> None:
        self._starts = starts
        self._since = time.monotonic()

    def __call__(self) -> datetime:
        return self._starts + timedelta(seconds=time.monotonic() - self._since)

    def forward(self, **by: float) -> None:
        """Let time pass."""
        self._starts += timedelta(**by)


@contextmanager
def served(
    here: Installation,
    behind: Callable[[ASGIApp], ASGIApp] = lambda app: app,
    port: int = 0,
) -> Iterator[str]:
    """Serve ``here``, behind what stands between it and the browser, and give its address.

    ``port`` 0 takes one that is free.

    ``RuntimeError`` when the service does not start.
    """
    server = uvicorn.Server(
        uvicorn.Config(
            behind(create_app(here)),
            host="127.0.0.1",
            port=port,
            log_config=None,
            access_log=False,
        )
    )
    thread = threading.Thread(target=server.run, name="service", daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + START_S
        while not server.started:
            if not thread.is_alive() or time.monotonic() > deadline:
                raise RuntimeError("the service did not start")
            time.sleep(0.02)
        taken = server.servers[0].sockets[0].getsockname()[1]
        yield f"http://127.0.0.1:{taken}"
    finally:
        server.should_exit = True
        thread.join()
