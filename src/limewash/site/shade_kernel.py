"""Which points lenses see: the search's shadows, reckoned once for all projectors.

A flat thing stands between lens and point where they lie on its two sides and the way between meets its
outline. The points' side and place in each thing's plane are worked out once; a lens adds only its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Array = NDArray[np.float64]

_NEARLY = 0.999
"""What is nearer to the point than this share of the way belongs to the point's own surface."""


@kernel
def free_ways(
    lenses: Array,
    points: Array,
    facets: Array,
    corners: Array,
    starts: NDArray[np.int64],
    boxes: Array,
    out: NDArray[np.uint8],
) -> None:
    """Fill `out`, shape (S, M), with 1 where nothing stands between lens and point, else 0.

    Parameters
    ----------
    lenses, points : (S, 3), (M, 3)
        In the world. [m]
    facets : (F, 12), corners : (C, 2), starts : (F + 1,)
        Flat things: origin, u, v, normal, and their outlines in (u, v). [m]
    boxes : (B, 6)
        Low x, y, z, high x, y, z. [m]
    """
    # Rows are read number by number: a row as an array of its own costs more than what is done with it.
    things = len(facets)
    there = _in_planes(points, facets)
    here = _in_planes(lenses, facets)
    for s in range(len(lenses)):
        x, y, z = lenses[s, 0], lenses[s, 1], lenses[s, 2]
        for m in range(len(points)):
            free = not _boxed(x, y, z, points[m, 0] - x, points[m, 1] - y, points[m, 2] - z, boxes)
            f = 0
            while free and f < things:
                up, down = here[s, f, 2], there[m, f, 2]
                if up * down < 0.0 and abs(up) < _NEARLY * abs(up - down) and abs(up) > 1e-6 * abs(up - down):
                    share = up / (up - down)
                    u = here[s, f, 0] + share * (there[m, f, 0] - here[s, f, 0])
                    v = here[s, f, 1] + share * (there[m, f, 1] - here[s, f, 1])
                    free = not _inside(u, v, corners, starts[f], starts[f + 1])
                f += 1
            out[s, m] = 1 if free else 0


@kernel
def _in_planes(points: Array, facets: Array) -> Array:
    """Each point's (u, v) and its height above each facet's plane, shape (N, F, 3). [m]"""
    out = np.empty((len(points), len(facets), 3))
    for n in range(len(points)):
        for f in range(len(facets)):
            x, y, z = points[n, 0] - facets[f, 0], points[n, 1] - facets[f, 1], points[n, 2] - facets[f, 2]
            for axis in range(3):
                a = 3 + 3 * axis
                out[n, f, axis] = x * facets[f, a] + y * facets[f, a + 1] + z * facets[f, a + 2]
    return out


@kernel
def _inside(u: float, v: float, corners: Array, start: int, stop: int) -> bool:
    inside = False
    previous = stop - 1
    for here in range(start, stop):
        v0, v1 = corners[here, 1], corners[previous, 1]
        if (v0 > v) != (v1 > v):
            cross = corners[here, 0] + (v - v0) * (corners[previous, 0] - corners[here, 0]) / (v1 - v0)
            if u < cross:
                inside = not inside
        previous = here
    return inside


@kernel
def _boxed(x: float, y: float, z: float, dx: float, dy: float, dz: float, boxes: Array) -> bool:
    """Whether a box stands in the way of length (dx, dy, dz) from (x, y, z)."""
    for b in range(len(boxes)):
        # Most boxes lie on one side of the whole way.
        left, right = boxes[b, 0] - x, boxes[b, 3] - x
        if max(dx, 0.0) < left or min(dx, 0.0) > right:
            continue
        low, high = boxes[b, 1] - y, boxes[b, 4] - y
        if max(dy, 0.0) < low or min(dy, 0.0) > high:
            continue
        near, far = boxes[b, 2] - z, boxes[b, 5] - z
        if max(dz, 0.0) < near or min(dz, 0.0) > far:
            continue
        enter, leave = 0.0, _NEARLY
        if abs(dx) > 1e-12:
            enter, leave = max(enter, min(left / dx, right / dx)), min(leave, max(left / dx, right / dx))
        if abs(dy) > 1e-12:
            enter, leave = max(enter, min(low / dy, high / dy)), min(leave, max(low / dy, high / dy))
        if abs(dz) > 1e-12:
            enter, leave = max(enter, min(near / dz, far / dz)), min(leave, max(near / dz, far / dz))
        if enter < leave:
            return True
    return False
