"""A studio as the browser meets it, and one that is started anew where another has ended."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from limewash.studio.desk import Desk
from limewash.studio.server import Server


class RunningStudio:
    """A studio on a port of this computer; without one it takes a free port."""

    def __init__(self, desk: Desk, port: int = 0) -> None:
        self.desk = desk
        self.listener = socket.create_server(("127.0.0.1", port))
        self.port = self.listener.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self._server = Server(desk, self.listener, lambda: None)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._server.stop()
        self._thread.join(timeout=10)


@contextmanager
def started_anew(studio: RunningStudio, desk: Desk) -> Iterator[RunningStudio]:
    """Another studio on the same port; the pages that are open come back to it by themselves."""
    studio.stop()
    studio.listener.close()
    another = RunningStudio(desk, studio.port)
    try:
        yield another
    finally:
        another.stop()
