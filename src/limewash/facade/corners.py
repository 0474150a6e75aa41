"""Where neighbours of a path meet after each has been moved."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.geometry.path import Arc, Cubic, Line, Path2, Point, Segment
from limewash.geometry.path_arc import CentreArc, to_centre
from limewash.geometry.path_measure import tangents_at

Array = NDArray[np.float64]


def join_corners(path: Path2, moved: list[Segment], reach_px: float) -> Path2:
    """Let neighbours meet: where their ends' tangents cross, else halfway.

    Parameters
    ----------
    path : Path2
        As it was drawn. [px]
    moved : list of Segment
        Its segments, moved each by itself. [px]
    reach_px : float
        A crossing further than three times this from the drawn corner is none. [px]
    """
    segments = list(moved)
    count = len(segments)
    for i in range(count if path.closed else count - 1):
        j = (i + 1) % count
        if count > 1:
            corner = _corner(segments[i], segments[j], path.segments[i].end, reach_px)
            segments[i] = _with_ends(segments[i], segments[i].start, corner)
            segments[j] = _with_ends(segments[j], corner, segments[j].end)
    return Path2(tuple(segments), path.closed)


def _corner(before: Segment, after: Segment, drawn: Point, reach_px: float) -> Point:
    a, b = np.asarray(before.end), np.asarray(after.start)
    u, v = tangents_at(before, 1.0)[0], tangents_at(after, 0.0)[0]
    turn = float(u[0] * v[1] - u[1] * v[0])
    corner = 0.5 * (a + b)
    if abs(turn) > 0.15 * float(np.hypot(*u) * np.hypot(*v)):
        along = float((b - a)[0] * v[1] - (b - a)[1] * v[0]) / turn
        if np.hypot(*(a + along * u - drawn)) <= 3.0 * reach_px:
            corner = a + along * u
    for arc, other in ((before, after), (after, before)):
        if isinstance(arc, Arc):
            corner = _on_ellipse(to_centre(arc), corner, v if other is after else u)
    return _point(corner)


def _on_ellipse(arc: CentreArc, spot: Array, along: Array) -> Array:
    """Where the line through a spot meets the ellipse next to it; the nearest of the ellipse if it misses.

    The end of an arc must lie on its own ellipse: moved off it, an arc of about half a turn changes its shape.
    """
    back = np.linalg.inv(arc.axes)
    p, d = back @ (spot - arc.centre), back @ along
    d = d / max(float(np.hypot(*d)), 1e-12)
    middle = float(p @ d)
    room = middle**2 - float(p @ p) + 1.0
    if room > 0.0:
        step = min((-middle - np.sqrt(room), -middle + np.sqrt(room)), key=abs)
        if abs(step) < 0.25:
            return np.asarray(arc.centre + arc.axes @ (p + step * d))
    return np.asarray(arc.centre + arc.axes @ (p / max(float(np.hypot(*p)), 1e-12)))


def _with_ends(segment: Segment, start: Point, end: Point) -> Segment:
    if isinstance(segment, Line):
        return Line(start, end)
    if isinstance(segment, Arc):
        return _arc_between(segment, start, end)
    first = np.asarray(start) - np.asarray(segment.start)
    last = np.asarray(end) - np.asarray(segment.end)
    # A change of the ends runs out towards the middle, so that the edge is kept.
    control1 = np.asarray(segment.control1) + first * 2.0 / 3.0 + last / 3.0
    control2 = np.asarray(segment.control2) + first / 3.0 + last * 2.0 / 3.0
    return Cubic(start, _point(control1), _point(control2), end)


def _arc_between(arc: Arc, start: Point, end: Point) -> Arc:
    """The part of an arc's ellipse between two of its points, turning as before."""
    form = to_centre(arc)
    back = np.linalg.inv(form.axes)
    first, last = (np.arctan2(*(back @ (np.asarray(p) - form.centre))[::-1]) for p in (start, end))
    turn = float(last - first) % (2.0 * np.pi)
    large = turn > np.pi if arc.sweep else turn < np.pi
    return Arc(start, end, arc.radius, arc.rotation_deg, bool(large), arc.sweep)


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
