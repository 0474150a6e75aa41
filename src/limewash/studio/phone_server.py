"""Serving phones: a second server on the local network, up only while the link is open."""

from __future__ import annotations

import socket
import threading

import uvicorn

from limewash.errors import InputError
from limewash.studio.desk import Desk
from limewash.studio.phone_app import create_phone_app
from limewash.studio.phone_link import PhoneLink, PhoneState, lan_address


class PhoneServer:
    """Opens and closes the phone link of a desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.link = PhoneLink(desk.notices)
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.RLock()
        desk.notices.listen(self._heard)

    def open(self, host: str | None = None) -> PhoneState:
        """Open the link on the local network; a link that is open gets a new code.

        Raises
        ------
        InputError
            If this computer is on no network, or no port can be opened there.
        """
        with self._lock:
            self.close()
            address = host or lan_address()
            try:
                listener = socket.create_server((address, 0))
            except OSError as error:
                raise InputError(f"cannot open a port on {address}: {error.strerror}") from None
            state = self.link.begin(address, listener.getsockname()[1])
            config = uvicorn.Config(
                create_phone_app(self._desk, self.link), log_level="warning", lifespan="off", ws="websockets-sansio",
                timeout_graceful_shutdown=1,
            )  # fmt: skip
            self._server = uvicorn.Server(config)
            arguments = {"sockets": [listener]}
            self._thread = threading.Thread(target=self._server.run, kwargs=arguments, name="phone", daemon=True)
            self._thread.start()
            return state

    def close(self) -> PhoneState:
        """Close the link; phones that were let in are out."""
        with self._lock:
            if self._server is not None:
                self._server.should_exit = True
            if self._thread is not None and self._thread is not threading.current_thread():
                self._thread.join(timeout=5.0)
            self._server = self._thread = None
            return self.link.end(self.link.trouble) if self.link.is_open else self.link.state()

    def _heard(self, message: dict[str, object]) -> None:
        """The link closed itself (too many wrong codes): its port goes too."""
        if message["type"] == "phone" and not message["open"] and self._server is not None:
            self._server.should_exit = True
