"""Drawing on the house itself: a cross-hair in the projector's light, moved by mouse, keys or a phone.

All places are projector pixels. What is finished goes into the tracing through the scan, so that it is a path like
any other from then on.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from limewash.errors import InputError
from limewash.facade.tracing import Kind
from limewash.studio.hand_shapes import Mark, lines_of, segments_of, straightened
from limewash.studio.notices import Notices
from limewash.studio.wire import LineSegment, TracedPath, Wire

Place = tuple[float, float]
Points = NDArray[np.float64]

SLOW = 0.15
"""Share of the usual pointer speed while the slow key is held."""
NEAR_PX = 40.0
"""How near a corner must be to the cross-hair to be taken hold of."""
LINES = (Kind.ROOF_LINE, Kind.TRIM, Kind.STEP)
"""Kinds that are mostly lines: with two points of them, closing means to end."""


class Move(Wire):
    """Move the cross-hair, or what it holds."""

    do: Literal["move"]
    dx: Annotated[float, Field(ge=-4000, le=4000, allow_inf_nan=False)]
    dy: Annotated[float, Field(ge=-4000, le=4000, allow_inf_nan=False)]
    slow: bool = False
    straight: bool = False
    """While drawing: keep to the direction of the nearest axis or of a line drawn before."""


class Nudge(Wire):
    """By exactly so many pixels: 1 or 0.25."""

    do: Literal["nudge"]
    dx: Annotated[float, Field(ge=-100, le=100, allow_inf_nan=False)]
    dy: Annotated[float, Field(ge=-100, le=100, allow_inf_nan=False)]


class Put(Wire):
    """Put a point where the cross-hair is; `bend` makes it the middle of an arc."""

    do: Literal["put"]
    bend: bool = False


class Finish(Wire):
    """End the path, open or closed, and put it into the tracing."""

    do: Literal["finish"]
    closed: bool = True
    kind: Kind = Kind.OTHER
    title: Annotated[str, Field(max_length=200)] = ""


class Plain(Wire):
    """Take hold of the nearest corner; the next or previous one; let go; take back the last point; stop drawing."""

    do: Literal["hold", "next", "previous", "let-go", "back", "stop"]


class Tool(Wire):
    """How the hand looks and moves."""

    do: Literal["tool"]
    loupe: bool | None = None
    reach_px: Annotated[float, Field(ge=4, le=4000)] | None = None
    speed: Annotated[float, Field(ge=0.05, le=5)] | None = None


Act = Annotated[Move | Nudge | Put | Finish | Plain | Tool, Field(discriminator="do")]


class HandState(Wire):
    """The hand, ready to travel."""

    at: Place
    points: list[Place]
    lines: list[list[Place]]
    held: Place | None
    holding: str | None
    loupe: bool
    reach_px: float
    speed: float


@dataclass
class Corner:
    """A corner of a traced path that the hand holds: `index` counts the starts of its segments, then its end."""

    path_id: str
    index: int
    at: Place


@dataclass
class Hand:
    """The cross-hair and what it draws or holds.

    Attributes
    ----------
    size : (int, int)
        The projector's native width and height. [px]
    finish : callable
        Takes a finished path in projector pixels into the tracing.
    corners : callable
        All corners of the tracing in projector pixels.
    move_corner : callable
        Moves a corner of the tracing to a place in projector pixels, as a drag.
    let_go : callable
        Makes a step of what was dragged.
    """

    notices: Notices
    size: tuple[int, int]
    finish: Callable[[TracedPath], None]
    corners: Callable[[], list[Corner]]
    move_corner: Callable[[Corner, Place], None]
    let_go: Callable[[], None]
    at: Place = (0.0, 0.0)
    marks: list[Mark] = field(default_factory=list)
    held: Corner | None = None
    loupe: bool = False
    reach_px: float = 60.0
    speed: float = 1.0
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def __post_init__(self) -> None:
        self.at = ((self.size[0] - 1) / 2, (self.size[1] - 1) / 2)

    def act(self, act: Move | Nudge | Put | Finish | Plain | Tool) -> HandState:
        """Do one thing and tell everybody.

        Raises
        ------
        InputError
            If a path is finished that has no length, or nothing is there to take hold of.
        """
        with self._lock:
            match act:
                case Move():
                    speed = self.speed * (SLOW if act.slow else 1.0)
                    self._go((self.at[0] + act.dx * speed, self.at[1] + act.dy * speed), straight=act.straight)
                case Nudge():
                    self._go((self.at[0] + act.dx, self.at[1] + act.dy))
                case Put():
                    if self.marks and self.marks[-1].at == self.at:  # pressed twice: still one point
                        self.marks.pop()
                    self.marks.append(Mark(self.at, bend=act.bend))
                case Finish():
                    self._finish(act)
                case Plain():
                    self._plain(act.do)
                case Tool():
                    self.loupe = self.loupe if act.loupe is None else act.loupe
                    self.reach_px = self.reach_px if act.reach_px is None else act.reach_px
                    self.speed = self.speed if act.speed is None else act.speed
            state = self.state()
        self.notices.tell({"type": "hand", "hand": state.model_dump(mode="json")})
        return state

    def state(self) -> HandState:
        """As it is now."""
        with self._lock:
            open_end = [*self.marks, Mark(self.at)] if self.marks else []
            return HandState(
                at=self.at,
                points=[mark.at for mark in self.marks],
                lines=lines_of(open_end),
                held=self.held.at if self.held else None,
                holding=self.held.path_id if self.held else None,
                loupe=self.loupe,
                reach_px=self.reach_px,
                speed=self.speed,
            )

    def _go(self, to: Place, *, straight: bool = False) -> None:
        x = min(max(to[0], 0.0), self.size[0] - 1.0)
        y = min(max(to[1], 0.0), self.size[1] - 1.0)
        if straight and self.marks:
            x, y = straightened(self.marks, (x, y))
        self.at = (x, y)
        if self.held is not None:
            self.move_corner(self.held, self.at)
            self.held.at = self.at

    def _finish(self, act: Finish) -> None:
        segments = segments_of(self.marks)
        closed = act.closed and not (act.kind in LINES and len(self.marks) == 2)
        if closed and segments and math.dist(segments[-1].end, segments[0].start) > 0:
            segments.append(LineSegment(start=segments[-1].end, end=segments[0].start))
        if len(segments) < (2 if closed else 1):
            raise InputError("put at least two points for a line, three for an area, then finish")
        path = TracedPath(id=act.kind.value, kind=act.kind, title=act.title, closed=closed, segments=list(segments))
        self.finish(path)
        self.marks.clear()

    def _plain(self, do: str) -> None:
        if do == "back":
            del self.marks[-1:]
            return
        self.let_go()
        if do == "stop":
            self.marks.clear()
        if do in ("stop", "let-go"):
            self.held = None
        else:
            self._hold(do)

    def _hold(self, do: str) -> None:
        corners = self.corners()
        if not corners:
            raise InputError("there is no corner to take hold of yet; draw a path first")
        if do == "hold" or self.held is None:
            nearest = min(corners, key=lambda corner: math.dist(corner.at, self.at))
            if do == "hold" and math.dist(nearest.at, self.at) > NEAR_PX:
                raise InputError(f"no corner is within {NEAR_PX:.0f} px of the cross-hair")
            self.held = nearest
        else:
            order = [(corner.path_id, corner.index) for corner in corners]
            here = (self.held.path_id, self.held.index)
            place = order.index(here) if here in order else 0
            self.held = corners[(place + (1 if do == "next" else -1)) % len(corners)]
        self.at = self.held.at
