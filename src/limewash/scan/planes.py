"""Kernels that fit a small plane around every camera pixel, through those neighbours that go on as surfaces do there.

A row is worked on neighbour by neighbour, all its pixels at once, so that the compiler can use the processor's
vector units. Only the few pixels that find too little company among their like are looked at one by one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.rims import CODE_TO_LIGHT

Image = NDArray[np.float32]
Row = NDArray[np.float32]
Stack = NDArray[np.float32]
Steps = tuple[np.float32, np.float32, np.float32, np.float32]  # as `guess` of `fit_planes`, of one pixel

_REACH = 2  # neighbours as far as this are fitted [camera px]
_COMPANY = 7  # as many must agree
_LIKE, _UNLIKE = (
    np.float32(1.6),
    np.float32(0.62),
)  # ratios of brightness up to and from which pixels are of one surface
_FAINTEST = 0.1  # share of a surface's light; a pixel with less only sees it blurred
_USUAL = 0.5  # weight of the usual slopes around, against neighbours that spread so far [square px]
_TERMS = 15


@kernel
def fit_planes(
    seen: Stack,
    guess: Stack,
    first: int,
    last: int,
    left: int,
    right: int,
    fit_x: Image,
    fit_y: Image,
    fit_sigma: Image,
    slope: Stack,
    share: Image,
) -> None:
    """Fit x and y as planes over the neighbours that agree, in a tile from a row and a column to those after its last.

    `seen` holds x, y, sigma and amplitude, shape (4, height, width); `guess` and `slope` the changes of x and y to the
    next column, then of x and y to the next row, of the tile and of the whole.
    """
    total = np.empty((_TERMS, right - left), dtype=np.float32)
    # What is beyond the picture has no weight, and must be a number all the same.
    room = np.zeros((4, right - left), dtype=np.float32)
    size, weight, px, py = room[0], room[1], room[2], room[3]
    one = np.empty(_TERMS)
    for row in range(first, last):
        if not np.isfinite(seen[0, row, left:right]).any():
            continue
        usual_size(guess, row - first, size)
        total[:] = 0.0
        for r in range(max(row - _REACH, 0), min(row + _REACH + 1, seen.shape[1])):
            for step in range(-_REACH, _REACH + 1):
                weigh(seen, guess, row - first, row, r, step, left, right, size, total[14], weight, px, py)
                down, across = np.float32(r - row), np.float32(step)
                add_weights(weight, across, down, total)
                add_weighted(weight, px, across, down, total[6], total[7], total[8])
                add_weighted(weight, py, across, down, total[9], total[10], total[11])
                add_light(weight, seen[3, r], step, left, right, total[12], total[13])
        for col in range(left, right):
            if not (np.isfinite(seen[0, row, col]) and np.isfinite(seen[1, row, col])):
                continue
            for j in range(_TERMS):
                one[j] = total[j, col - left]
            at = row - first, col - left
            steps = guess[0][at], guess[1][at], guess[2][at], guess[3][at]
            # First among its like: dark paint beside bright trim has a place of its own. Failing that, among
            # all: a pixel at the rim, which sees half of its surface, goes by its brighter neighbours.
            if one[14] < _COMPANY:
                add_all(seen, steps, row, col, size[col - left], one)
                if one[14] < _COMPANY:
                    continue
            fit_one(seen, steps, one, row, col, size[col - left], fit_x, fit_y, fit_sigma, slope, share)


@kernel
def usual_size(guess: Stack, row: int, size: Row) -> None:
    """Length of a usual step."""
    for col in range(size.size):
        a, b, c, d = guess[0, row, col], guess[1, row, col], guess[2, row, col], guess[3, row, col]
        size[col] = np.sqrt(np.float32(0.5) * (a * a + b * b + c * c + d * d))


@kernel
def weigh(
    seen: Stack,
    guess: Stack,
    guess_row: int,
    row: int,
    other: int,
    step: int,
    left: int,
    right: int,
    size: Row,
    count: Row,
    weight: Row,
    px: Row,
    py: Row,
) -> None:
    """Weight of the neighbour `step` to the right in another row, and where it lies from each pixel of a row.

    The weight is the square of the light, about the fourth power of the code: bright pixels know best where the
    surface is. It is 0 where the neighbour does not lie about where the slopes lead to expect, or is of another
    brightness. `count` is of those that are not darker.
    """
    start, stop = max(left, -step), min(right, seen.shape[2] - step)
    weight[: start - left] = 0.0
    weight[stop - left :] = 0.0
    begin, end = start + step, stop + step
    x, y = seen[0, row, start:stop], seen[1, row, start:stop]
    sigma, light = seen[2, row, start:stop], seen[3, row, start:stop]
    other_x, other_y = seen[0, other, begin:end], seen[1, other, begin:end]
    other_sigma, other_light = seen[2, other, begin:end], seen[3, other, begin:end]
    down, across = np.float32(other - row), np.float32(step)
    inner = slice(start - left, stop - left)
    slope_x, slope_y = guess[0, guess_row, inner], guess[1, guess_row, inner]
    fall_x, fall_y = guess[2, guess_row, inner], guess[3, guess_row, inner]
    steps, counts, weights, to_x, to_y = size[inner], count[inner], weight[inner], px[inner], py[inner]
    bend = np.float32(0.45 + 0.3 * max(abs(other - row), abs(step)))
    for col in range(x.size):
        dx, dy = other_x[col] - x[col], other_y[col] - y[col]
        off_x = dx - slope_x[col] * across - fall_x[col] * down
        off_y = dy - slope_y[col] * across - fall_y[col] * down
        noise = np.sqrt(sigma[col] * sigma[col] + other_sigma[col] * other_sigma[col])
        allowed = np.float32(3.5) * noise + bend * steps[col]
        ratio = other_light[col] / (light[col] + np.float32(1e-3))
        agrees = (off_x * off_x + off_y * off_y < allowed * allowed) & (ratio < _LIKE)
        square = ratio * ratio
        fourth = square * square
        weights[col] = fourth * fourth + np.float32(1e-9) if agrees else np.float32(0.0)
        to_x[col] = dx if agrees else np.float32(0.0)
        to_y[col] = dy if agrees else np.float32(0.0)
        counts[col] += np.float32(1.0) if agrees & (ratio > _UNLIKE) else np.float32(0.0)


@kernel
def add_weights(weight: Row, across: np.float32, down: np.float32, total: Image) -> None:
    """Add to the sums w, wc, wr, wcc, wcr, wrr."""
    add_three(weight, np.float32(1.0), across, down, total[0], total[1], total[2])
    add_three(weight, across * across, across * down, down * down, total[3], total[4], total[5])


@kernel
def add_three(part: Row, a: np.float32, b: np.float32, c: np.float32, to_a: Row, to_b: Row, to_c: Row) -> None:
    """Add three multiples of a row to three others."""
    for col in range(part.size):
        to_a[col] += part[col] * a
        to_b[col] += part[col] * b
        to_c[col] += part[col] * c


@kernel
def add_weighted(
    weight: Row, place: Row, across: np.float32, down: np.float32, to_w: Row, to_wc: Row, to_wr: Row
) -> None:
    """Add to the sums of a coordinate."""
    for col in range(weight.size):
        part = weight[col] * place[col]
        to_w[col] += part
        to_wc[col] += part * across
        to_wr[col] += part * down


@kernel
def add_light(weight: Row, light: Row, step: int, left: int, right: int, to_ww: Row, to_wa: Row) -> None:
    """Add to the sums ww and wa."""
    start, stop = max(left, -step), min(right, light.size - step)
    inner = slice(start - left, stop - left)
    weights, lights, squares, weighted = weight[inner], light[start + step : stop + step], to_ww[inner], to_wa[inner]
    for col in range(weights.size):
        squares[col] += weights[col] * weights[col]
        weighted[col] += weights[col] * lights[col]


@kernel
def add_all(seen: Stack, steps: Steps, row: int, col: int, size: float, total: NDArray[np.float64]) -> None:
    """The sums of one pixel over the neighbours of any brightness.

    `total` becomes w, wc, wr, wcc, wcr, wrr, then wx, wxc, wxr, the same of y, ww, wa and the count, where w is the
    weight, c and r count columns and rows from the pixel, x and y are relative to it and a is amplitude.
    """
    _, height, width = seen.shape
    total[:] = 0.0
    x, y, sigma, light = seen[0, row, col], seen[1, row, col], seen[2, row, col], seen[3, row, col]
    for r in range(max(row - _REACH, 0), min(row + _REACH + 1, height)):
        for c in range(max(col - _REACH, 0), min(col + _REACH + 1, width)):
            dc, dr = c - col, r - row
            px, py = seen[0, r, c] - x, seen[1, r, c] - y
            off_x = px - steps[0] * dc - steps[2] * dr
            off_y = py - steps[1] * dc - steps[3] * dr
            noise = np.sqrt(sigma * sigma + seen[2, r, c] * seen[2, r, c])
            allowed = 3.5 * noise + (0.45 + 0.3 * max(abs(dc), abs(dr))) * size
            if not off_x * off_x + off_y * off_y < allowed * allowed:
                continue
            ratio = seen[3, r, c] / (light + 1e-3)
            w = ratio**8 + 1e-9
            total[0] += w
            total[1] += w * dc
            total[2] += w * dr
            total[3] += w * dc * dc
            total[4] += w * dc * dr
            total[5] += w * dr * dr
            total[6] += w * px
            total[7] += w * px * dc
            total[8] += w * px * dr
            total[9] += w * py
            total[10] += w * py * dc
            total[11] += w * py * dr
            total[12] += w * w
            total[13] += w * seen[3, r, c]
            total[14] += ratio > _UNLIKE


@kernel
def fit_one(
    seen: Stack,
    steps: Steps,
    total: NDArray[np.float64],
    row: int,
    col: int,
    size: float,
    fit_x: Image,
    fit_y: Image,
    fit_sigma: Image,
    slope: Stack,
    share: Image,
) -> None:
    """Solve for the plane of one pixel, from the sums of `add_all`; what does not agree with itself is left out."""
    w0 = total[0]
    if not w0 > 0.0:
        return
    cb, rb, xb, yb = total[1] / w0, total[2] / w0, total[6] / w0, total[9] / w0
    ccc, ccr, crr = total[3] / w0 - cb * cb, total[4] / w0 - cb * rb, total[5] / w0 - rb * rb
    if not ccc * crr - ccr * ccr > 1e-4:  # all on one line
        return
    # What is left of the covariances when the usual slopes are taken off: a narrow strip tells little of the
    # slope across it, and that little is flattened by blur.
    g0, g1, g2, g3 = steps
    hxc = total[7] / w0 - xb * cb - g0 * ccc - g2 * ccr
    hxr = total[8] / w0 - xb * rb - g0 * ccr - g2 * crr
    hyc = total[10] / w0 - yb * cb - g1 * ccc - g3 * ccr
    hyr = total[11] / w0 - yb * rb - g1 * ccr - g3 * crr
    a, b = ccc + _USUAL, crr + _USUAL
    det = a * b - ccr * ccr
    s0, s2 = g0 + (b * hxc - ccr * hxr) / det, g2 + (a * hxr - ccr * hxc) / det
    s1, s3 = g1 + (b * hyc - ccr * hyr) / det, g3 + (a * hyr - ccr * hyc) / det
    offset_x, offset_y = xb - s0 * cb - s2 * rb, yb - s1 * cb - s3 * rb
    if np.sqrt(offset_x * offset_x + offset_y * offset_y) > 3.5 * seen[2, row, col] + 1.2 * size:
        return
    light = (seen[3, row, col] * w0 / total[13]) ** CODE_TO_LIGHT
    if light < _FAINTEST:
        return
    share[row, col] = 1.0 if light > 1.0 else light
    fit_x[row, col], fit_y[row, col] = seen[0, row, col] + offset_x, seen[1, row, col] + offset_y
    lever = (b * cb * cb - 2.0 * ccr * cb * rb + a * rb * rb) / det
    fit_sigma[row, col] = seen[2, row, col] * np.sqrt(min((1.0 + lever) * total[12] / (w0 * w0), 1.0))
    slope[0, row, col], slope[1, row, col], slope[2, row, col], slope[3, row, col] = s0, s1, s2, s3
