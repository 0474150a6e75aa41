"""Thin dark or light lines between two surfaces: where their rims truly are.

Where boards meet there is a joint or a shadow, often thinner than what the camera blurs. Its two flanks push each
other apart: however thin it is, they are never nearer to each other than twice the spread of the blur.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from limewash.facade.edge_fit import EdgeFit, alike, blended, distance_px
from limewash.facade.profiles import Profiles, beside, slope_along

Array = NDArray[np.float64]

EDGE_SPREAD_PX = 0.95
"""Spread of a sharp edge in a sharp photo, with the profiles' own blur. A softer photo's rims are moved less. [px]"""
ONE_PX = 1.4
"""The rims of a thinner line are taken for one edge. [px]"""
_APART_PX = 3.0
"""Flanks further apart do not sway each other. [px]"""


def parted(fits: list[EdgeFit], profiles: Profiles) -> list[EdgeFit]:
    """The same edges, with both rims of each thin line where they truly are, or one edge in its middle."""
    left, found = list(fits), []
    while left:
        fit = left.pop(0)
        near = [other for other in left if _are_flanks(fit, other, profiles)]
        if not near:
            found.append(fit)
            continue
        other = min(near, key=lambda o: distance_px(fit, o))
        left.remove(other)
        pair = [replace(one, line_step=_step(fit, other, profiles)) for one in (fit, other)]
        width_px = width_between_px(distance_px(fit, other))
        if width_px < ONE_PX:
            found.append(blended(pair, np.array([0.5, 0.5])))
        else:
            inward = 0.5 * (1.0 - width_px / distance_px(fit, other))
            found += [blended(two, np.array([1.0 - inward, inward])) for two in (pair, pair[::-1])]
    return found


def _are_flanks(a: EdgeFit, b: EdgeFit, profiles: Profiles) -> bool:
    """Near each other all along; at one it gets darker, at the other lighter."""
    if not alike(a, b) or float(np.abs(a.offset_px - b.offset_px).max()) > _APART_PX:
        return False
    return float(np.dot(slope_along(profiles, a.offset_px), slope_along(profiles, b.offset_px))) < 0.0


def _step(a: EdgeFit, b: EdgeFit, profiles: Profiles) -> float:
    middle, half = 0.5 * (a.offset_px + b.offset_px), 0.5 * distance_px(a, b)
    inside = beside(profiles, middle, -0.3, 0.3)
    outside = [beside(profiles, middle, sign * (half + 0.5), sign * (half + 3.5)) for sign in (-1.0, 1.0)]
    return float(np.linalg.norm(inside - 0.5 * (outside[0] + outside[1])))


def width_between_px(flanks_px: float) -> float:
    """True width of a line from the distance of the places of its two flanks, as `peaks` finds them. [px]

    Notes
    -----
    The line is taken as two steps of equal height, blurred by a normal spread of `EDGE_SPREAD_PX`: the slope is the
    difference of two normal curves. The place of a flank is the middle of gravity of the upper half of its hump.
    """
    widths, distances = _distances()
    return float(np.interp(flanks_px, distances, widths))


@cache
def _distances() -> tuple[Array, Array]:
    """Widths of lines, and how far their flanks then seem to be apart; the latter begin at the least there is. [px]"""
    x = np.linspace(0.0, 8.0, 1601) * EDGE_SPREAD_PX
    widths = np.linspace(0.02, 8.0, 400) * EDGE_SPREAD_PX
    humps = [_normal(x - width / 2.0) - _normal(x + width / 2.0) for width in widths]
    places = [float(np.average(x, weights=np.maximum(hump - 0.5 * hump.max(), 0.0))) for hump in humps]
    distances = np.maximum.accumulate(2.0 * np.array(places))
    return np.concatenate([[0.0], widths]), np.concatenate([[distances[0] - 1e-6], distances])


def _normal(x: Array) -> Array:
    return np.asarray(np.exp(-0.5 * (x / EDGE_SPREAD_PX) ** 2))
