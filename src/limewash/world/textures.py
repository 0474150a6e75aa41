"""Surface patterns as functions of u, v in metres: colour and the slope of the relief."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Array = NDArray[np.float64]

KINDS = ("loose", "courses", "leaf", "glass", "room")
"""Index of a material's kind in a scene = its place here."""

LOOSE, COURSES, LEAF, GLASS, ROOM = range(5)

PAINT_NUMBERS = 22
"""Numbers that describe one material: see `limewash.world.scene.paint_of`."""


@kernel
def scatter(i: int, j: int) -> float:
    """A number in [0, 1) that looks random, for a cell of an integer grid."""
    h = i * 374761393 + j * 668265263 + 974711
    h = (h ^ (h >> 13)) * 1274126177
    h = (h ^ (h >> 16)) * 2654435761
    return ((h ^ (h >> 15)) & 0xFFFFFF) / 16777216.0


@kernel
def noise(x: float, y: float) -> float:
    """Smooth noise in [0, 1] with features of about one unit."""
    i, j = int(np.floor(x)), int(np.floor(y))
    fx, fy = x - i, y - j
    fx, fy = fx * fx * (3.0 - 2.0 * fx), fy * fy * (3.0 - 2.0 * fy)
    low = scatter(i, j) * (1.0 - fx) + scatter(i + 1, j) * fx
    high = scatter(i, j + 1) * (1.0 - fx) + scatter(i + 1, j + 1) * fx
    return low * (1.0 - fy) + high * fy


@kernel
def ramp(x: float, low: float, high: float) -> float:
    """0 below `low`, 1 above `high`, smooth between."""
    t = min(max((x - low) / (high - low), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@kernel
def surface(kind: int, paint: Array, u: float, v: float, out: Array) -> None:
    """Reflectance R, G, B and the relief's slopes along u and v of one point of a material, into `out` (5,).

    Courses are laid units (boards, bricks, shingles, flags): each has a tint of its own, a joint around it,
    may lean back from its lower edge, and lies in the shade of the next one along its upper edge. Loose is
    everything without units: two colours mixed by smooth noise. Leaves carry a number of their own in u.
    """
    tint, share, body, shade = 0.5, 0.0, 1.0, 1.0
    slope_u, slope_v = 0.0, 0.0
    size_u, size_v = paint[9], paint[10]
    if kind == LEAF:
        own = int(u)
        tint, share = scatter(own, own), scatter(own + 5, own) * scatter(own + 11, own)
        shade = 0.85 + 0.3 * v
    elif kind == COURSES:
        row = int(np.floor(v / size_v))
        along = u / size_u + paint[13] * (row & 1) + paint[14] * scatter(row + 3, row)
        column = int(np.floor(along))
        fu, fv = (along - column) * size_u, v - row * size_v
        tint, share = scatter(column, row), ramp(scatter(column + 71, row), 0.3, 1.0)
        joint_u, joint_v = 0.5 * paint[11], 0.5 * paint[12]
        edge_u, edge_v = min(fu, size_u - fu), min(fv, size_v - fv)
        body = ramp(edge_u, 0.6 * joint_u, joint_u + 1e-6) * ramp(edge_v, 0.6 * joint_v, joint_v + 1e-6)
        slope_v = -paint[15]
        shade = 1.0 - paint[16] * ramp(fv / size_v, 0.82, 0.98)
    else:
        share = noise(u / size_u, v / size_v)
        share = ramp(0.65 * share + 0.35 * noise(u * 4.7 / size_u + 9.0, v * 4.7 / size_v), 0.25, 0.75)
    grain = noise(u / paint[19], v / paint[20])
    if paint[21] > 0.0:
        slope_u += paint[21] * (grain - 0.5)
        slope_v += paint[21] * (noise(u / paint[19] + 31.0, v / paint[20]) - 0.5)
    tone = shade * (1.0 + paint[17] * (tint - 0.5) + paint[18] * (grain - 0.5))
    for k in range(3):
        unit = paint[k] + (paint[3 + k] - paint[k]) * share
        out[k] = tone * (unit * body + paint[6 + k] * (1.0 - body))
    out[3], out[4] = slope_u, slope_v
