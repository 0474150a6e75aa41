"""Settling paths on the edges of the photo for a page: how far it is, and stopping it."""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import replace
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from limewash.errors import InputError
from limewash.facade.snap import SettledPath, settle_tracing
from limewash.facade.tracing import Traced, Tracing
from limewash.studio.notices import Notices
from limewash.studio.wire import TracedPath, Wire, from_traced, to_traced

TELL_EVERY_S = 0.1

PhotoName = Literal["photo", "daylight"]
Ticket = Annotated[str, Field(min_length=1, max_length=40)]


class ToSettle(Wire):
    """Paths to be moved onto the edges of a photo, heeding what like things among them have in common."""

    paths: Annotated[list[TracedPath], Field(min_length=1, max_length=2000)]
    reach_px: Annotated[float, Field(ge=1.0, le=60.0)] = 6.0
    photo: PhotoName = "photo"
    ticket: Ticket | None = None
    """Names this settling for its progress and for stopping it."""


class SettledOne(Wire):
    """A path on its edges; for each segment the share of it that has an edge."""

    path: TracedPath
    support: list[float]
    moved: list[bool]
    shift_px: float


class Settled(Wire):
    """The paths in the order in which they were asked for."""

    paths: list[SettledOne]


class Stops:
    """Which settlings shall be left off; the last few are remembered."""

    def __init__(self) -> None:
        self._wanted: deque[str] = deque(maxlen=50)
        self._lock = threading.Lock()

    def stop(self, ticket: str) -> None:
        """Ask for it; one that has ended already does not mind."""
        with self._lock:
            self._wanted.append(ticket)

    def check(self, ticket: str | None) -> None:
        """Raises InputError if it was asked for."""
        with self._lock:
            if ticket in self._wanted:
                raise InputError("settling was stopped; nothing was moved")


STOPS = Stops()


def settled_on(photo: NDArray[np.uint8], wanted: ToSettle, size: tuple[int, int], notices: Notices) -> Settled:
    """Settle the paths; raises InputError if it was stopped meanwhile."""
    told_at = time.monotonic()

    def progress(share: float, doing: str) -> None:
        nonlocal told_at
        STOPS.check(wanted.ticket)
        if wanted.ticket and time.monotonic() - told_at > TELL_EVERY_S:
            told_at = time.monotonic()
            notices.tell({"type": "settling", "ticket": wanted.ticket, "share": share, "doing": doing})

    tracing = Tracing(size, tuple(to_traced(path, size) for path in wanted.paths))
    done = settle_tracing(photo, tracing, reach_px=wanted.reach_px, progress=progress)
    return Settled(paths=[_settled(old, new) for old, new in zip(tracing.items, done, strict=True)])


def _settled(old: Traced, new: SettledPath) -> SettledOne:
    return SettledOne(
        path=from_traced(replace(old, path=new.path)),
        support=[s.support for s in new.segments],
        moved=[s.moved for s in new.segments],
        shift_px=max(s.shift_px for s in new.segments),
    )
