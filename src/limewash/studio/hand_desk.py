"""Between the hand on the house and the tracing: projector pixels on one side, photo pixels on the other."""

from __future__ import annotations

import numpy as np

from limewash.studio.ground import Ground
from limewash.studio.hand import Corner, Hand
from limewash.studio.notices import Notices
from limewash.studio.tracing_desk import TracingDesk
from limewash.studio.wire import CubicSegment, Drag, TracedPath, from_traced

CLIENT = "hand"
"""Under this name the hand drags corners."""

Place = tuple[float, float]


def make_hand(ground: Ground, tracing: TracingDesk, notices: Notices) -> Hand:
    """A hand that draws into a tracing."""

    def finish(path: TracedPath) -> None:
        tracing.add(in_photo(path, ground))

    def corners() -> list[Corner]:
        found = [(item.id, index, at) for item in tracing.shown.items for index, at in _corners(from_traced(item))]
        places = ground.carrier.carry([at for _, _, at in found]).tolist() if found else []
        return [Corner(path_id, index, (x, y)) for (path_id, index, _), (x, y) in zip(found, places, strict=True)]

    def move_corner(corner: Corner, to: Place) -> None:
        for item in tracing.shown.items:
            if item.id == corner.path_id:
                moved = with_corner(from_traced(item), corner.index, _photo(ground, to))
                tracing.drag(Drag(path=moved, client=CLIENT))

    return Hand(
        notices, ground.projector_size, finish, corners, move_corner, let_go=lambda: tracing.keep_drags_of(CLIENT)
    )


def in_photo(path: TracedPath, ground: Ground) -> TracedPath:
    """A path drawn in projector pixels, in photo pixels; its curves are short enough for a plane's perspective."""
    segments = []
    for segment in path.segments:
        names = [name for name in ("start", "control1", "control2", "end") if hasattr(segment, name)]
        places = ground.photo_of(np.array([getattr(segment, name) for name in names], dtype=np.float64)).tolist()
        segments.append(segment.model_copy(update={n: (x, y) for n, (x, y) in zip(names, places, strict=True)}))
    return path.model_copy(update={"segments": segments})


def with_corner(path: TracedPath, index: int, to: Place) -> TracedPath:
    """The same path with one corner elsewhere; the handles of curves there go with it."""
    segments = list(path.segments)
    count = len(segments)
    if index < count:
        old = segments[index].start
        changes: dict[str, Place] = {"start": to}
        segment = segments[index]
        if isinstance(segment, CubicSegment):
            changes["control1"] = _shifted(segment.control1, old, to)
        segments[index] = segment.model_copy(update=changes)
    before = index - 1 if index > 0 else (count - 1 if path.closed else None)
    if before is not None:
        segment = segments[before]
        old = segment.end
        changes = {"end": to}
        if isinstance(segment, CubicSegment):
            changes["control2"] = _shifted(segment.control2, old, to)
        segments[before] = segment.model_copy(update=changes)
    return path.model_copy(update={"segments": segments})


def _corners(path: TracedPath) -> list[tuple[int, Place]]:
    found = [(n, segment.start) for n, segment in enumerate(path.segments)]
    return found if path.closed else [*found, (len(path.segments), path.segments[-1].end)]


def _photo(ground: Ground, at: Place) -> Place:
    x, y = ground.photo_of(np.array([at], dtype=np.float64))[0].tolist()
    return x, y


def _shifted(point: Place, old: Place, new: Place) -> Place:
    return (point[0] + new[0] - old[0], point[1] + new[1] - old[1])
