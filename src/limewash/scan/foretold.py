"""Kernels that foretell where a small block of pixels looks, by the pixels around it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel, summing_kernel

Floats = NDArray[np.float64]
Row = NDArray[np.float32]

BLOCK = 4  # side of the blocks that share a plane [camera px]
LEAST = 14  # pixels that make a plane
_REACH = 6  # how far around a block pixels are asked for the plane [camera px]
_OF_ONE_MIND = 0.7  # share of them that must agree with it
_TRIES = 2  # times that a plane is fitted again with less weight on what is off it
SIDE = BLOCK + 2 * _REACH


@kernel
def fit_plane(known: NDArray[np.float32], top: int, left: int, around: NDArray[np.float32], plane: Floats) -> int:
    """Planes of x and y around a block, robustly; of how many pixels they are, 0 where those disagree.

    Parameters
    ----------
    known : ndarray of float32, shape (4 or more, height, width)
        As `found` in `follow_faint`.
    top, left : int
        The block's corner.
    around : ndarray of float32, shape (6, SIDE * SIDE)
        Room to work in.
    plane : ndarray, shape (2, 3)
        Becomes place at the corner, change to the next column, change to the next row; of x, and of y.
    """
    count = gather(known, top, left, around)
    if count < LEAST:
        return 0
    x, y, across, down, certainty, weight = around[0], around[1], around[2], around[3], around[4], around[5]
    base_x, base_y = x[0], y[0]
    for p in range(count):  # to keep digits
        x[p] -= base_x
        y[p] -= base_y
    total = np.empty(12)
    weight[:count] = certainty[:count]
    agree = 0.0
    for attempt in range(_TRIES + 1):
        if attempt > 0:
            agree = weigh_again(x, y, across, down, certainty, count, plane, weight)
        add_up(x, y, across, down, weight, count, total)
        # The normal matrix is inverted by cofactors.
        m00, m01, m02, m11, m12, m22 = total[0], total[1], total[2], total[3], total[4], total[5]
        i00, i01, i02 = m11 * m22 - m12 * m12, m12 * m02 - m01 * m22, m01 * m12 - m02 * m11
        i11, i12, i22 = m00 * m22 - m02 * m02, m01 * m02 - m00 * m12, m00 * m11 - m01 * m01
        det = m00 * i00 + m01 * i01 + m02 * i02
        if not det > 1e-3 * m00**3:  # all on one line
            return 0
        for axis in range(2):
            h0, h1, h2 = total[6 + 3 * axis], total[7 + 3 * axis], total[8 + 3 * axis]
            plane[axis, 0] = (i00 * h0 + i01 * h1 + i02 * h2) / det
            plane[axis, 1] = (i01 * h0 + i11 * h1 + i12 * h2) / det
            plane[axis, 2] = (i02 * h0 + i12 * h1 + i22 * h2) / det
    plane[0, 0] += base_x
    plane[1, 0] += base_y
    return count if agree >= _OF_ONE_MIND * count else 0


@kernel
def gather(known: NDArray[np.float32], top: int, left: int, around: NDArray[np.float32]) -> int:
    """List the known pixels: x, y, columns and rows from the corner, certainty; their number."""
    _, height, width = known.shape
    count = 0
    for row in range(max(top - _REACH, 0), min(top + BLOCK + _REACH, height)):
        for col in range(max(left - _REACH, 0), min(left + BLOCK + _REACH, width)):
            x, y = known[0, row, col], known[1, row, col]
            if np.isfinite(x + y):
                around[0, count], around[1, count] = x, y
                around[2, count], around[3, count] = col - left, row - top
                around[4, count] = np.float32(1.0) / (
                    np.float32(0.1) + known[2, row, col] ** 2 + known[3, row, col] ** 2
                )
                count += 1
    return count


@summing_kernel
def weigh_again(
    x: Row, y: Row, across: Row, down: Row, certainty: Row, count: int, plane: Floats, weight: Row
) -> float:
    """Weigh pixels the less the farther they are off the plane; how many agree with it."""
    x0, xc, xr = np.float32(plane[0, 0]), np.float32(plane[0, 1]), np.float32(plane[0, 2])
    y0, yc, yr = np.float32(plane[1, 0]), np.float32(plane[1, 1]), np.float32(plane[1, 2])
    agree = np.float32(0.0)
    for p in range(count):
        off_x = x[p] - x0 - xc * across[p] - xr * down[p]
        off_y = y[p] - y0 - yc * across[p] - yr * down[p]
        off = (off_x * off_x + off_y * off_y) * certainty[p]
        agree += np.float32(1.0) if off < np.float32(9.0) else np.float32(0.0)
        less = np.float32(1.0) + off * np.float32(0.25)
        weight[p] = certainty[p] / (less * less)
    return float(agree)


@summing_kernel
def add_up(x: Row, y: Row, across: Row, down: Row, weight: Row, count: int, total: Floats) -> None:
    """Sums of the weights times 1, c, r, cc, cr, rr; x, xc, xr; y, yc, yr."""
    w = wc = wr = wcc = wcr = wrr = wx = wxc = wxr = wy = wyc = wyr = np.float32(0.0)
    for p in range(count):
        c, r = weight[p] * across[p], weight[p] * down[p]
        w += weight[p]
        wc += c
        wr += r
        wcc += c * across[p]
        wcr += c * down[p]
        wrr += r * down[p]
        wx += weight[p] * x[p]
        wxc += c * x[p]
        wxr += r * x[p]
        wy += weight[p] * y[p]
        wyc += c * y[p]
        wyr += r * y[p]
    total[0], total[1], total[2], total[3], total[4], total[5] = w, wc, wr, wcc, wcr, wrr
    total[6], total[7], total[8], total[9], total[10], total[11] = wx, wxc, wxr, wy, wyc, wyr
