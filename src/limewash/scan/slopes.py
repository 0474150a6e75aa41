"""How places change from pixel to pixel as the surfaces around have it: a first guess that noise hardly moves."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.tiles import Tile

Image = NDArray[np.float32]
Row = NDArray[np.float32]
Stack = NDArray[np.float32]

_BEND_SIGMAS = np.float32(8.6)  # 3.5 standard deviations of a second difference, which has sqrt(6) times that of one
_BEND_STEPS = np.float32(0.25)  # and what a surface may bend from pixel to pixel, in steps
_STEEPEST = 4.0  # times the usual step; steeper is a jump
_NEAR, _FAR = 7, 21  # sides of the squares in which slopes are averaged [camera px]
_FEW = np.float32(6.0)  # steps that make an average
_SAMPLED = 128  # rows that tell what is usual


@dataclass(frozen=True)
class UsualSteps:
    """What is usual in the whole picture, of steps to the next column and to the next row.

    Attributes
    ----------
    steepest : ndarray of float32, shape (2,)
        Length of the longest step that is no jump. [projector px]
    median : ndarray of float32, shape (4,)
        Change of x and of y to the next column, then of x and of y to the next row. [projector px]
    """

    steepest: NDArray[np.float32]
    median: NDArray[np.float32]

    @classmethod
    def of(cls, x: Image, y: Image) -> UsualSteps:
        """Told from rows here and there; steps of 0 where none can be told."""
        every = max(1, len(x) // _SAMPLED)
        rows, below = (np.stack([part[first::every] for part in (x, y)]) for first in (0, 1))
        steps = (np.diff(rows, axis=2), below - rows[:, : below.shape[1]])
        known = [part[:, np.isfinite(part).all(axis=0)] for part in steps]
        lengths = [float(np.median(np.hypot(*part))) if part.size else 1.0 for part in known]
        medians = [np.median(part, axis=1) if part.size else np.zeros(2) for part in known]
        return cls(np.float32(_STEEPEST) * np.array(lengths, np.float32), np.concatenate(medians).astype(np.float32))


def slopes_around(seen: Stack, tile: Tile, usual: UsualSteps) -> Stack:
    """Mean steps around each pixel of a tile, from the near ones if there are enough, else from farther ones.

    Parameters
    ----------
    seen : ndarray of float32, shape (3 or more, height, width)
        x, y and their standard deviation; NaN where unknown. [projector px]
    tile : Tile
        What to work on.
    usual : UsualSteps
        What holds where there are too few steps even far around.

    Returns
    -------
    ndarray of float32, shape (4, tile's height, tile's width)
        Change of x and of y to the next column, then of x and of y to the next row. [projector px]
    """
    first, last, start, stop = tile
    _, height, width = seen.shape
    top, left = max(first - _FAR // 2, 0), max(start - _FAR // 2, 0)
    shape = min(last + _FAR // 2, height) - top, min(stop + _FAR // 2, width) - left
    slopes = np.empty((4, last - first, stop - start), dtype=np.float32)
    slopes[:] = usual.median[:, None, None]
    steps = np.zeros((2, 3, *shape), dtype=np.float32)
    mark_steps(seen, top, left, usual.steepest, steps)
    for way in range(2):
        for side in (_FAR, _NEAR):
            count, *sums = (
                cv2.boxFilter(part, -1, (side, side), normalize=False, borderType=cv2.BORDER_CONSTANT)
                for part in steps[way]
            )
            for axis in range(2):
                put_means(count, sums[axis], first - top, start - left, slopes[2 * way + axis])
    return slopes


@kernel
def mark_steps(seen: Stack, top: int, left: int, steepest: Row, steps: NDArray[np.float32]) -> None:
    """Mark the steps to the next column and row where a surface goes straight on at both ends: 1, and the step itself.

    `steps` has shape (2, 3, rows, columns) and begins at `top` and `left`.
    """
    _, height, width = seen.shape
    rows, columns = steps.shape[2:]
    straight = np.empty(columns + 1, dtype=np.float32)
    two = np.zeros((2, columns), dtype=np.float32)
    stop = min(left + columns, width - 1)  # the last column has no next
    begin, end = max(left, 1), min(left + columns + 1, width - 1)
    for r in range(-1, rows):
        row = top + r
        if r >= 0:
            straight[:] = 0.0
            if begin < end:
                set_straight(seen, row, row, row, begin - 1, begin, begin + 1, straight[begin - left : end - left])
            if left < stop:
                count = stop - left
                good = straight[:count], straight[1 : count + 1]
                set_steps(
                    seen, row, row, left, left + 1, good, steepest[0], steps[0, 0, r], steps[0, 1, r], steps[0, 2, r]
                )
        # The same downwards: whether the row below is straight is kept for when its turn comes.
        below = two[(r + 1) % 2]
        below[:] = 0.0
        if 1 <= row + 1 < height - 1:
            set_straight(seen, row, row + 1, row + 2, left, left, left, below)
        if r >= 0 and row + 1 < height:
            good = two[r % 2], below
            set_steps(seen, row, row + 1, left, left, good, steepest[1], steps[1, 0, r], steps[1, 1, r], steps[1, 2, r])


@kernel
def set_straight(seen: Stack, row0: int, row1: int, row2: int, col0: int, col1: int, col2: int, straight: Row) -> None:
    """1 where places go straight on from pixel to pixel, as far as noise allows to tell, else 0.

    The pixels in question begin at `row1` and `col1`, those before and after them at the others.
    """
    n = straight.size
    x0, y0, s0 = seen[0, row0, col0 : col0 + n], seen[1, row0, col0 : col0 + n], seen[2, row0, col0 : col0 + n]
    x1, y1, s1 = seen[0, row1, col1 : col1 + n], seen[1, row1, col1 : col1 + n], seen[2, row1, col1 : col1 + n]
    x2, y2, s2 = seen[0, row2, col2 : col2 + n], seen[1, row2, col2 : col2 + n], seen[2, row2, col2 : col2 + n]
    for col in range(n):
        before_x, before_y = x1[col] - x0[col], y1[col] - y0[col]
        after_x, after_y = x2[col] - x1[col], y2[col] - y1[col]
        noise = max(s0[col], s1[col], s2[col])
        size = np.sqrt(min(before_x * before_x + before_y * before_y, after_x * after_x + after_y * after_y))
        bend_x, bend_y = after_x - before_x, after_y - before_y
        allowed = _BEND_SIGMAS * noise + _BEND_STEPS * size
        fits = bend_x * bend_x + bend_y * bend_y < allowed * allowed
        straight[col] = np.float32(1.0) if fits else np.float32(0.0)


@kernel
def set_steps(
    seen: Stack,
    row0: int,
    row1: int,
    col0: int,
    col1: int,
    straight: tuple[Row, Row],
    steepest: np.float32,
    count: Row,
    to_x: Row,
    to_y: Row,
) -> None:
    """The steps from the pixels that begin at `row0` and `col0` to others, where both are straight."""
    here, there = straight
    n = here.size
    x0, y0 = seen[0, row0, col0 : col0 + n], seen[1, row0, col0 : col0 + n]
    x1, y1 = seen[0, row1, col1 : col1 + n], seen[1, row1, col1 : col1 + n]
    for col in range(n):
        dx, dy = x1[col] - x0[col], y1[col] - y0[col]
        good = (here[col] * there[col] > np.float32(0.0)) & (dx * dx + dy * dy < steepest * steepest)
        count[col] = np.float32(1.0) if good else np.float32(0.0)
        to_x[col] = dx if good else np.float32(0.0)
        to_y[col] = dy if good else np.float32(0.0)


@kernel
def put_means(count: Image, total: Image, top: int, left: int, mean: Image) -> None:
    """Put the mean where there are enough; the sums begin `top` rows and `left` columns before the means."""
    for row in range(len(mean)):
        means = mean[row]
        counts, totals = count[top + row, left : left + means.size], total[top + row, left : left + means.size]
        for col in range(means.size):
            means[col] = totals[col] / counts[col] if counts[col] >= _FEW else means[col]
