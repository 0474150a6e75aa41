"""The tracing as it travels between the server and the pages: plain JSON, checked on the way in."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from limewash.errors import InputError
from limewash.facade.tracing import Kind, Surface, Traced, Tracing
from limewash.geometry.path import Arc, Cubic, Line, Path2
from limewash.geometry.path_arc import tidy_arc
from limewash.geometry.path_measure import bounding_box

Coordinate = Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
Point = tuple[Coordinate, Coordinate]
Radius = Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=1e6)]

JOIN_PX = 1e-3
"""Ends nearer than this are one point; a line shorter than this is none. As when `tracing.svg` is read."""
MARGIN_PX = 1.0
"""How far a path may reach beyond the photo's edge. As when `tracing.svg` is read."""

_NOT_XML = re.compile("[^\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Wire(BaseModel):
    """Base of all messages: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid")


class LineSegment(Wire):
    """Straight; points are [x, y] in photo pixels, pixel centres are integers."""

    type: Literal["line"] = "line"
    start: Point
    end: Point


class ArcSegment(Wire):
    """Elliptical, in SVG's endpoint form."""

    type: Literal["arc"] = "arc"
    start: Point
    end: Point
    radius: tuple[Radius, Radius]
    rotation_deg: Coordinate = 0.0
    large: bool = False
    sweep: bool = True


class CubicSegment(Wire):
    """Cubic Bezier."""

    type: Literal["cubic"] = "cubic"
    start: Point
    control1: Point
    control2: Point
    end: Point


Segment = Annotated[LineSegment | ArcSegment | CubicSegment, Field(discriminator="type")]
PathId = Annotated[str, Field(min_length=1, max_length=120)]


class TracedPath(Wire):
    """One path of the tracing."""

    id: PathId
    kind: Kind = Kind.OTHER
    title: Annotated[str, Field(max_length=200)] = ""
    surface: Surface | None = None
    group: Annotated[str, Field(max_length=200)] = ""
    locked: bool = False
    closed: bool
    segments: Annotated[list[Segment], Field(min_length=1, max_length=4000)]

    @model_validator(mode="after")
    def _is_a_chain(self) -> Self:
        for before, after in zip(self.segments, self.segments[1:], strict=False):
            if math.dist(before.end, after.start) > JOIN_PX:
                raise ValueError(f"segments must join: one ends at {before.end}, the next starts at {after.start}")
        if self.closed and math.dist(self.segments[-1].end, self.segments[0].start) > JOIN_PX:
            raise ValueError("a closed path must end where it starts")
        if not self.closed and self.surface in (Surface.INSIDE, Surface.OUTSIDE):
            raise ValueError("surface 'inside' and 'outside' are for closed paths")
        if _NOT_XML.search(self.id + self.title + self.group):
            raise ValueError("id, title and group must not hold control characters")
        return self


class TracingState(Wire):
    """The whole tracing at one revision."""

    revision: int
    size: tuple[int, int]
    paths: list[TracedPath]
    can_undo: str | None = None
    """What undo would take back, in words; null when there is nothing."""
    can_redo: str | None = None


class Change(Wire):
    """Paths put in and taken out together: one step for undo. `revision` is the newest that the page has seen."""

    revision: int
    put: Annotated[list[TracedPath], Field(max_length=2000)] = []
    remove: Annotated[list[PathId], Field(max_length=2000)] = []
    what: Annotated[str, Field(max_length=80)] = ""
    """What was done, in a few words, for the undo button: "move window"."""


class OnePath(Wire):
    """One path to put in."""

    revision: int
    path: TracedPath
    what: Annotated[str, Field(max_length=80)] = ""


class Seen(Wire):
    """The newest revision that the page has seen."""

    revision: int


class Made(Wire):
    """A new path, under the id that it was given."""

    id: PathId
    tracing: TracingState


class Drag(Wire):
    """A path as it is being dragged: shown at once, saved within a second, not a step for undo."""

    path: TracedPath
    client: Annotated[str, Field(max_length=40)] = ""
    """Of the page that drags, from `hello` on the live channel; when it goes away, the drag is kept."""
    revision: int | None = None
    """The newest that the page has seen: a drag that comes in after its path was changed is late, and left out."""


def to_traced(path: TracedPath, size: tuple[int, int]) -> Traced:
    """The library's form of a path, as it will also be read back from `tracing.svg`.

    A path that ends where it starts is an area, whether it was said to be closed or not.

    Raises
    ------
    InputError
        If it has no length, or reaches beyond the photo.
    """
    tidy = [tidy_arc(s) if isinstance(s, Arc) else s for s in map(_segment, path.segments)]
    kept = [s for s in tidy if s is not None and not (isinstance(s, Line) and math.dist(s.start, s.end) < JOIN_PX)]
    if not kept:
        raise InputError(f"{path.title or path.id} has no length: draw it again")
    for i in range(1, len(kept)):
        kept[i] = _starting(kept[i], kept[i - 1].end)
    closed = path.closed or (len(kept) > 1 and math.dist(kept[-1].end, kept[0].start) < JOIN_PX)
    if closed:
        if len(kept) == 1 or (len(kept) == 2 and all(isinstance(s, Line) for s in kept)):
            raise InputError(f"{path.title or path.id} encloses nothing: an area needs three lines or a curve")
        kept[-1] = _ending(kept[-1], kept[0].start)
    traced = Traced(path.id, path.kind, Path2(tuple(kept), closed), path.title, path.surface, path.group, path.locked)
    _check_inside(traced, size)
    return traced


def from_traced(item: Traced) -> TracedPath:
    """The form that travels."""
    segments = [_wire_segment(s) for s in item.path.segments]
    return TracedPath.model_construct(
        id=item.id,
        kind=item.kind,
        title=item.title,
        surface=item.surface,
        group=item.group,
        locked=item.locked,
        closed=item.path.closed,
        segments=segments,
    )


def _segment(s: LineSegment | ArcSegment | CubicSegment) -> Line | Arc | Cubic:
    match s:
        case LineSegment():
            return Line(s.start, s.end)
        case ArcSegment():
            return Arc(s.start, s.end, s.radius, s.rotation_deg, s.large, s.sweep)
        case CubicSegment():
            return Cubic(s.start, s.control1, s.control2, s.end)


def _wire_segment(s: Line | Arc | Cubic) -> LineSegment | ArcSegment | CubicSegment:
    match s:
        case Line():
            return LineSegment.model_construct(start=s.start, end=s.end)
        case Arc():
            return ArcSegment.model_construct(
                start=s.start, end=s.end, radius=s.radius, rotation_deg=s.rotation_deg, large=s.large, sweep=s.sweep
            )
        case Cubic():
            return CubicSegment.model_construct(start=s.start, control1=s.control1, control2=s.control2, end=s.end)


def _starting(s: Line | Arc | Cubic, start: tuple[float, float]) -> Line | Arc | Cubic:
    return s if s.start == start else replace(s, start=start)


def _ending(s: Line | Arc | Cubic, end: tuple[float, float]) -> Line | Arc | Cubic:
    return s if s.end == end else replace(s, end=end)


def _check_inside(item: Traced, size: tuple[int, int]) -> None:
    box = bounding_box(item.path)
    beyond = max(-0.5 - box.left, -0.5 - box.top, box.right - size[0] + 0.5, box.bottom - size[1] + 0.5)
    if not beyond <= MARGIN_PX:
        raise InputError(
            f"{item.title or item.id} reaches {beyond:.1f} px beyond the edge of the photo ({size[0]} x {size[1]}); "
            "move or trim it"
        )


def state_of(tracing: Tracing, revision: int, *, can_undo: str | None, can_redo: str | None) -> TracingState:
    """The whole tracing, ready to travel."""
    return TracingState.model_construct(
        revision=revision,
        size=tracing.size,
        paths=[from_traced(item) for item in tracing.items],
        can_undo=can_undo,
        can_redo=can_redo,
    )


class CarriedPath(Wire):
    """A traced path in projector pixels; the first point of a closed one is not repeated."""

    id: str
    kind: Kind
    title: str
    closed: bool
    points: list[tuple[float, float]]


class MapPreview(Wire):
    """The whole tracing in projector pixels; pixel centres are integers."""

    revision: int
    size: tuple[int, int]
    paths: list[CarriedPath]


class TileLevel(Wire):
    """One size of a photo."""

    width: int
    height: int
    columns: int
    rows: int


class PhotoInfo(Wire):
    """A photo in tiles: level 0 is the full size, each further level half of it."""

    name: str
    width: int
    height: int
    tile_px: int
    version: str
    """Changes with the file: put it behind a tile's address as `?v=`, and tiles are kept for good."""
    levels: list[TileLevel]


class Photos(Wire):
    """All pictures that can be traced on, of the same size; the first is the scan's own."""

    scan: str
    photos: list[PhotoInfo]


class TracingConflict(Wire):
    """Why nothing was changed, and the present state."""

    where: str
    message: str
    tracing: TracingState | None


class FieldClash(Wire):
    """A field that two windows changed, each to something else; null is "not given"."""

    where: str
    mine: Any
    theirs: Any


class FormConflict(Wire):
    """Why nothing was changed. With `clashes` the person decides each, for this `revision`."""

    where: str
    message: str
    clashes: list[FieldClash] = Field(default_factory=list)
    revision: int | None = None


class Fault(Wire):
    """What the person can put right: where (a field, or nothing) and what to do."""

    where: str
    message: str
    faults: list[dict[str, str]] = Field(default_factory=list)
    """All of them, when a form has several."""
