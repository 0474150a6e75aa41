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
    # Thing by thing and point after point in memory: most points need no more than one comparison.
    there = _in_planes(points, facets)
    here = _in_planes(lenses, facets)
    for s in range(len(lenses)):
        for m in range(len(points)):
            out[s, m] = 1
        for b in range(len(boxes)):
            _shade_by_box(s, lenses, points, boxes, b, out)
        for f in range(len(facets)):
            up = here[f, 2, s]
            for m in range(len(points)):
                down = there[f, 2, m]
                if up * down >= 0.0 or out[s, m] == 0:
                    continue
                share = up / (up - down)
                if 1e-6 < share < _NEARLY:
                    u = here[f, 0, s] + share * (there[f, 0, m] - here[f, 0, s])
                    v = here[f, 1, s] + share * (there[f, 1, m] - here[f, 1, s])
                    if _inside(u, v, corners, starts[f], starts[f + 1]):
                        out[s, m] = 0


@kernel
def _in_planes(points: Array, facets: Array) -> Array:
    """Each point's (u, v) and its height above each facet's plane, shape (F, 3, N). [m]"""
    out = np.empty((len(facets), 3, len(points)))
    for f in range(len(facets)):
        for axis in range(3):
            a, b, c = facets[f, 3 + 3 * axis], facets[f, 4 + 3 * axis], facets[f, 5 + 3 * axis]
            base = a * facets[f, 0] + b * facets[f, 1] + c * facets[f, 2]
            for n in range(len(points)):
                out[f, axis, n] = a * points[n, 0] + b * points[n, 1] + c * points[n, 2] - base
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
def _shade_by_box(s: int, lenses: Array, points: Array, boxes: Array, b: int, out: NDArray[np.uint8]) -> None:
    """Take away the ways from one lens on which a box stands."""
    x, y, z = lenses[s, 0], lenses[s, 1], lenses[s, 2]
    left, right = boxes[b, 0] - x, boxes[b, 3] - x
    low, high = boxes[b, 1] - y, boxes[b, 4] - y
    near, far = boxes[b, 2] - z, boxes[b, 5] - z
    for m in range(len(points)):
        dx, dy, dz = points[m, 0] - x, points[m, 1] - y, points[m, 2] - z
        # Most boxes lie on one side of the whole way.
        if max(dx, 0.0) < left or min(dx, 0.0) > right or max(dy, 0.0) < low or min(dy, 0.0) > high:
            continue
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
            out[s, m] = 0
