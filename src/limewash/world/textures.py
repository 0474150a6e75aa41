"""Surface patterns as functions of u, v in metres: colour and the slope of the relief."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Array = NDArray[np.float64]

PATTERNS = ("plain", "boards", "brick", "shingle", "lawn", "speckle", "leaf", "flags", "glass", "render", "glow")
"""Index of a pattern in a scene = its place here."""

PLAIN, BOARDS, BRICK, SHINGLE, LAWN, SPECKLE, LEAF, FLAGS, GLASS, RENDER, GLOW = range(11)


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
def _ramp(x: float, low: float, high: float) -> float:
    """0 below `low`, 1 above `high`, smooth between."""
    t = min(max((x - low) / (high - low), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@kernel
def surface(pattern: int, paint: Array, u: float, v: float) -> tuple[float, float, float, float, float]:
    """Reflectance R, G, B and the relief's slopes along u and v of one point of a material.

    `paint` holds colour (3), second colour (3), repeat along u and v [m], relief, variation.
    """
    size_u, size_v, relief, variation = paint[6], paint[7], paint[8], paint[9]
    share, tone, slope_u, slope_v = 0.0, 1.0, 0.0, 0.0
    if pattern == BOARDS:
        row = int(np.floor(v / size_v))
        f = v / size_v - row
        along = u / size_u + scatter(row, 3)
        tone = 1.0 + variation * (scatter(row, int(np.floor(along))) - 0.5)
        tone *= 1.0 + 0.5 * variation * (noise(u * 2.3, v * 60.0) - 0.5)
        # Each board leans back from its lower edge; the next one above throws a soft shadow on its top.
        slope_v = -relief
        tone *= 1.0 - (0.55 * _ramp(f, 0.84, 0.97) if relief > 0.05 else 0.35 * _ramp(f, 0.94, 0.98))
        joint = (along - np.floor(along)) * size_u
        if joint < 0.004:
            tone *= 0.7
    elif pattern == BRICK:
        row = int(np.floor(v / size_v))
        along = u / size_u + 0.5 * (row & 1)
        column = int(np.floor(along))
        fu, fv = (along - column) * size_u, v - row * size_v
        joint = 0.13 * size_v
        tone = 1.0 + variation * (scatter(column, row) - 0.5)
        tone *= 1.0 + 0.35 * variation * (noise(u * 55.0, v * 70.0) - 0.5)
        share = _ramp(scatter(column + 71, row), 0.45, 0.95)
        edge = min(min(fu, size_u - fu), min(fv, size_v - fv))
        bed = 1.0 - _ramp(edge, 0.35 * joint, 0.62 * joint)
        if bed > 0.0:
            mortar = 0.34 * (1.0 + 0.3 * (noise(u * 90.0, v * 90.0) - 0.5))
            body = 1.0 - bed
            slope_v = relief * (1.0 if fv < 0.5 * size_v else -1.0) * bed * body * 4.0
            slope_u = relief * (1.0 if fu < 0.5 * size_u else -1.0) * bed * body * 4.0
            shade = 0.72 if fv > size_v - joint else 1.0
            r = tone * (paint[0] + (paint[3] - paint[0]) * share) * body + mortar * shade * bed
            g = tone * (paint[1] + (paint[4] - paint[1]) * share) * body + 0.94 * mortar * shade * bed
            b = tone * (paint[2] + (paint[5] - paint[2]) * share) * body + 0.86 * mortar * shade * bed
            return r, g, b, slope_u, slope_v
    elif pattern == SHINGLE:
        row = int(np.floor(v / size_v))
        f = v / size_v - row
        along = u / size_u + 0.5 * (row & 1) + 0.25 * scatter(row, 17)
        column = int(np.floor(along))
        g = (along - column) * size_u
        cut = 0.012 + 0.05 * size_v * scatter(column, row + 9)
        tone = 1.0 + variation * (scatter(column, row) - 0.5)
        tone *= 1.0 + 0.4 * variation * (noise(u * 40.0, v * 40.0) - 0.5)
        share = scatter(column + 13, row)
        slope_v = -relief
        tone *= 1.0 - 0.5 * _ramp(f, 0.86, 0.98)
        if g < cut * 0.6:
            tone *= 0.62
    elif pattern == LAWN:
        large = noise(u * 0.35, v * 0.35)
        fine = noise(u * 21.0, v * 9.0)
        share = min(max(0.55 * large + 0.6 * (fine - 0.4), 0.0), 1.0)
        tone = 1.0 + variation * (noise(u * 60.0, v * 26.0) - 0.5) * 1.6
        slope_u = 0.35 * (noise(u * 45.0, v * 20.0) - 0.5)
        slope_v = 0.35 * (noise(u * 45.0 + 7.0, v * 20.0) - 0.5)
    elif pattern in (SPECKLE, RENDER):
        large = noise(u * 0.7, v * 0.7)
        tone = 1.0 + variation * (0.9 * (large - 0.5) + 0.8 * (noise(u * 37.0, v * 37.0) - 0.5))
        share = noise(u * 3.1 + 5.0, v * 3.1)
        if pattern == SPECKLE:
            ju, jv = u / size_u - np.floor(u / size_u), v / size_v - np.floor(v / size_v)
            if min(ju * size_u, jv * size_v) < 0.012:
                tone *= 0.6
        else:
            slope_u = relief * (noise(u * 90.0, v * 90.0) - 0.5)
            slope_v = relief * (noise(u * 90.0 + 31.0, v * 90.0) - 0.5)
    elif pattern == LEAF:
        own = int(u)
        share = scatter(own, 5) * _ramp(scatter(own, 11), 0.2, 1.0)
        tone = 1.0 + variation * (scatter(own, 23) - 0.5) * 1.6
        tone *= 0.85 + 0.3 * v
    elif pattern == FLAGS:
        row = int(np.floor(v / size_v))
        along = u / size_u + scatter(row, 29)
        column = int(np.floor(along))
        fu, fv = (along - column) * size_u, v - row * size_v
        tone = 1.0 + variation * (scatter(column, row) - 0.5) + 0.5 * variation * (noise(u * 14.0, v * 14.0) - 0.5)
        share = scatter(column, row + 41)
        edge = min(min(fu, size_u - fu), min(fv, size_v - fv))
        tone *= 0.45 + 0.55 * _ramp(edge, 0.004, 0.02)
    else:
        tone = 1.0 + variation * (noise(u * 1.7, v * 1.7) - 0.5) + 0.5 * variation * (noise(u * 23.0, v * 23.0) - 0.5)
    r = tone * (paint[0] + (paint[3] - paint[0]) * share)
    g = tone * (paint[1] + (paint[4] - paint[1]) * share)
    b = tone * (paint[2] + (paint[5] - paint[2]) * share)
    return r, g, b, slope_u, slope_v
