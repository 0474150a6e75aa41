"""Points put by hand as lines and curves, in projector pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from limewash.studio.wire import CubicSegment, LineSegment

Place = tuple[float, float]

_STRAIGHT = 1e-3
_LARGEST_PIECE_RAD = math.radians(45.0)
"""An arc is drawn as cubics of at most so much: off the circle by five millionths of its radius."""


@dataclass(frozen=True)
class Mark:
    """A point that was put; a bend is a point that an arc from its neighbour to its neighbour passes through."""

    at: Place
    bend: bool = False


def segments_of(marks: list[Mark]) -> list[LineSegment | CubicSegment]:
    """Lines between points, arcs where a bend lies between two; a bend at either end is a plain point."""
    found: list[LineSegment | CubicSegment] = []
    n = 0
    while n + 1 < len(marks):
        if 0 < n + 1 < len(marks) - 1 and marks[n + 1].bend:
            found.extend(_arc(marks[n].at, marks[n + 1].at, marks[n + 2].at))
            n += 2
        else:
            if marks[n].at != marks[n + 1].at:
                found.append(LineSegment(start=marks[n].at, end=marks[n + 1].at))
            n += 1
    return found


def lines_of(marks: list[Mark]) -> list[list[Place]]:
    """The same as one chain of points, for drawing."""
    chain: list[Place] = []
    for segment in segments_of(marks):
        steps = 1 if isinstance(segment, LineSegment) else 15
        chain.extend(_on(segment, t / steps) for t in range(steps))
        last = segment.end
    return [[*chain, last]] if chain else []


def straightened(marks: list[Mark], to: Place) -> Place:
    """The nearest place to `to` on a line through the last point that is level, upright or parallel to one before."""
    start = marks[-1].at
    directions = [(1.0, 0.0), (0.0, 1.0)]
    for a, b in pairwise(mark.at for mark in marks):
        length = math.dist(a, b)
        if length > 1.0:
            directions.append(((b[0] - a[0]) / length, (b[1] - a[1]) / length))
    reach = (to[0] - start[0], to[1] - start[1])
    along = [(d, reach[0] * d[0] + reach[1] * d[1]) for d in directions]
    (dx, dy), length = max(along, key=lambda one: abs(one[1]))
    return start[0] + length * dx, start[1] + length * dy


def _arc(a: Place, through: Place, b: Place) -> list[LineSegment | CubicSegment]:
    """The circle through three points, from the first to the last, as cubics; a line when they are on one."""
    (ax, ay), (tx, ty), (bx, by) = a, through, b
    d = 2.0 * (ax * (ty - by) + tx * (by - ay) + bx * (ay - ty))
    if abs(d) < _STRAIGHT * max(math.dist(a, b), 1.0):
        return [LineSegment(start=a, end=through), LineSegment(start=through, end=b)]
    a2, t2, b2 = ax * ax + ay * ay, tx * tx + ty * ty, bx * bx + by * by
    x = (a2 * (ty - by) + t2 * (by - ay) + b2 * (ay - ty)) / d
    y = (a2 * (bx - tx) + t2 * (ax - bx) + b2 * (tx - ax)) / d
    radius = math.dist((x, y), a)
    start, middle, end = (math.atan2(p[1] - y, p[0] - x) for p in (a, through, b))
    turn = (end - start) % (2.0 * math.pi)
    if (middle - start) % (2.0 * math.pi) > turn:
        turn -= 2.0 * math.pi
    pieces = max(1, math.ceil(abs(turn) / _LARGEST_PIECE_RAD))
    step = turn / pieces
    handle = 4.0 / 3.0 * math.tan(step / 4.0) * radius
    found: list[LineSegment | CubicSegment] = []
    for n in range(pieces):
        u, v = start + n * step, start + (n + 1) * step
        p = a if n == 0 else found[-1].end
        q = b if n == pieces - 1 else (x + radius * math.cos(v), y + radius * math.sin(v))
        found.append(
            CubicSegment(
                start=p,
                control1=(p[0] - handle * math.sin(u), p[1] + handle * math.cos(u)),
                control2=(q[0] + handle * math.sin(v), q[1] - handle * math.cos(v)),
                end=q,
            )
        )
    return found


def _on(s: LineSegment | CubicSegment, t: float) -> Place:
    if isinstance(s, LineSegment):
        return (s.start[0] + t * (s.end[0] - s.start[0]), s.start[1] + t * (s.end[1] - s.start[1]))
    u = 1.0 - t
    w = (u * u * u, 3 * u * u * t, 3 * u * t * t, t * t * t)
    points = (s.start, s.control1, s.control2, s.end)
    return (
        sum(k * p[0] for k, p in zip(w, points, strict=True)),
        sum(k * p[1] for k, p in zip(w, points, strict=True)),
    )
