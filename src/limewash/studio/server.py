"""Serving the studio from this computer, to this computer."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from limewash.errors import InputError
from limewash.studio.app import create_app
from limewash.studio.desk import Desk

HOST = "127.0.0.1"


def run_studio(
    project: Path | None, *, port: int = 8750, open_browser: bool = True, ready: Callable[[str], None] = lambda _: None
) -> None:
    """Serve until Ctrl+C.

    Parameters
    ----------
    project : Path, optional
        Opened at once; without it the start page offers a choice.
    port : int
        0, or a port that is taken by somebody else, gives a free one.
    open_browser : bool
        Whether to open the start page.
    ready : callable
        Called with the address when the studio answers.

    Raises
    ------
    InputError
        If the project cannot be opened.
    """
    desk = Desk()
    try:
        if project is not None:
            desk.open(project)
        listener = _listen(port)
        address = f"http://{HOST}:{listener.getsockname()[1]}/"
        server = Server(desk, listener, lambda: _opened(address, open_browser, ready))
        server.run()
    finally:
        desk.close()


class Server:
    """uvicorn around a desk, on a socket that already listens."""

    def __init__(self, desk: Desk, listener: socket.socket, ready: Callable[[], None]) -> None:
        self._listener = listener
        config = uvicorn.Config(
            create_app(desk), log_level="warning", lifespan="off", ws="websockets-sansio", timeout_graceful_shutdown=2
        )
        self._server = uvicorn.Server(config)
        self._ready = ready

    def run(self) -> None:
        """Serve in this thread until it is stopped."""
        threading.Timer(0.2, self._ready).start()
        self._server.run(sockets=[self._listener])

    def stop(self) -> None:
        """End soon; from any thread."""
        self._server.should_exit = True


def _opened(address: str, open_browser: bool, ready: Callable[[str], None]) -> None:
    ready(address)
    if open_browser:
        webbrowser.open(address)


def _listen(port: int) -> socket.socket:
    for wanted in (port, 0):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, wanted))
        except OSError:
            listener.close()
            continue
        listener.listen(64)
        return listener
    raise InputError(f"no port on {HOST} can be opened; is a firewall in the way?")
