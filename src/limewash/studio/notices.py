"""Telling everybody who watches: pages, the projector, the phone."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

Message = dict[str, Any]
Listener = Callable[[Message], None]


class Notices:
    """Hands each message to all listeners, from whichever thread it comes; listeners only take it in."""

    def __init__(self) -> None:
        self._listeners: dict[int, Listener] = {}
        self._next = 0
        self._lock = threading.Lock()

    def listen(self, listener: Listener) -> Callable[[], None]:
        """Begin to listen; the result ends it."""
        with self._lock:
            number, self._next = self._next, self._next + 1
            self._listeners[number] = listener

        def stop() -> None:
            with self._lock:
                self._listeners.pop(number, None)

        return stop

    def tell(self, message: Message) -> None:
        """Hand on a message; its `type` says what it is."""
        with self._lock:
            listeners = list(self._listeners.values())
        for listener in listeners:
            listener(message)
