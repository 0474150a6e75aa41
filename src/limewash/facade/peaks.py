"""Where in each profile the edge is, to sub-pixels: compiled, because settling asks it thousands of times."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Array = NDArray[np.float64]

_GRAVITY_REACH_PX = 1.25
_GRAVITY_ROUNDS = 3


@kernel
def peaks(
    slope: NDArray[np.float32], direction: Array, offsets: Array, near: Array, window_px: float
) -> tuple[Array, Array]:
    """Sub-pixel place of the edge in each profile, and its strength.

    Parameters
    ----------
    slope : ndarray of float32 and shape (N, D, 3)
        Change of R, G, B across the line. [1/px]
    direction : ndarray of shape (3,)
        Of length 1: the colour that the edge gets lighter in; a change the other way is none.
    offsets : ndarray of shape (D,)
        Evenly spaced. [px]
    near : ndarray of shape (N,)
        Where to look. [px]
    window_px : float
        How far around. [px]

    Returns
    -------
    place : ndarray of shape (N,)
        NaN where the window has no peak inside it. [px]
    height : ndarray of shape (N,)
        0 there. [1/px]
    """
    count, width = slope.shape[:2]
    step = offsets[1] - offsets[0]
    place, height = np.full(count, np.nan), np.zeros(count)
    signed = np.empty(width)
    for n in range(count):
        for d in range(width):
            along = slope[n, d, 0] * direction[0] + slope[n, d, 1] * direction[1] + slope[n, d, 2] * direction[2]
            signed[d] = max(along, 0.0)
        k, most = -1, -1.0
        for d in range(width):
            if abs(offsets[d] - near[n]) <= window_px and signed[d] > most:
                k, most = d, signed[d]
        if k < 1 or k > width - 2 or not (most > 0.0 and most >= signed[k - 1] and most >= signed[k + 1]):
            continue
        bend = signed[k - 1] - 2.0 * most + signed[k + 1]
        shift = 0.5 * (signed[k - 1] - signed[k + 1]) / bend if bend < 0.0 else 0.0
        # The middle of gravity of the peak's upper half is steadier than its tip against noise.
        place[n] = _gravity(signed, offsets, offsets[k] + shift * step, 0.5 * most, step)
        height[n] = most
    return place, height


@kernel
def _gravity(signed: Array, offsets: Array, tip: float, floor: float, step: float) -> float:
    """Middle of gravity of what lies above a floor, around the tip."""
    place = tip
    for _ in range(_GRAVITY_ROUNDS):
        total, moment = 0.0, 0.0
        for d in range(len(offsets)):
            if signed[d] > floor:
                share = 1.0 + (_GRAVITY_REACH_PX - abs(offsets[d] - place)) / step
                weight = (signed[d] - floor) * min(max(share, 0.0), 1.0)
                total += weight
                moment += weight * offsets[d]
        if total > 0.0:
            place = moment / total
    return place
