"""Affine maps of paths: arcs stay arcs, cubics stay cubics."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.geometry.path import Arc, Cubic, Line, Path2, Point, Segment
from limewash.geometry.path_arc import transform_arc

Array = NDArray[np.float64]


def transform_path(path: Path2, matrix: Array) -> Path2:
    """Map a path by an affine 3x3 matrix acting on (x, y, 1).

    Raises
    ------
    InputError
        If the path has an arc and the matrix flattens the plane to a line.
    """
    return Path2(tuple(_moved(segment, matrix) for segment in path.segments), path.closed)


def _moved(segment: Segment, m: Array) -> Segment:
    def move(p: Point) -> Point:
        x, y = p
        return float(m[0, 0] * x + m[0, 1] * y + m[0, 2]), float(m[1, 0] * x + m[1, 1] * y + m[1, 2])

    start, end = move(segment.start), move(segment.end)
    if isinstance(segment, Arc):
        return transform_arc(segment, m[:2, :2], start, end)
    if isinstance(segment, Cubic):
        return Cubic(start, move(segment.control1), move(segment.control2), end)
    return Line(start, end)
