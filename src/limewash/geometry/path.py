"""Vector paths in a plane: straight lines, elliptical arcs and cubic curves, as in SVG."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """Straight segment."""

    start: Point
    end: Point


@dataclass(frozen=True)
class Arc:
    """Elliptical arc in SVG's endpoint form."""

    start: Point
    end: Point
    radius: Point
    rotation_deg: float = 0.0
    large: bool = False
    sweep: bool = True


@dataclass(frozen=True)
class Cubic:
    """Cubic Bezier segment."""

    start: Point
    control1: Point
    control2: Point
    end: Point


Segment = Line | Arc | Cubic


@dataclass(frozen=True)
class Path2:
    """A chain of segments, each starting where the last ended; closed when it returns to its start."""

    segments: tuple[Segment, ...]
    closed: bool

    @property
    def start(self) -> Point:
        return self.segments[0].start

    @property
    def end(self) -> Point:
        return self.segments[-1].end


def polyline(points: NDArray[np.float64] | list[Point], *, closed: bool) -> Path2:
    """A path of straight lines through points (N, 2); a closed one returns to the first by a last line."""
    chain = [(float(x), float(y)) for x, y in points]
    if closed and chain[0] != chain[-1]:
        chain.append(chain[0])
    return Path2(tuple(Line(a, b) for a, b in pairwise(chain)), closed)
