"""Decoding faint surfaces by what their surroundings foretell.

A dark roof at grazing light returns less of a fringe than a pixel has noise, and its fringes run askew in the
camera, so that no fixed neighbourhood can be averaged. But some of its pixels say where they are, and a surface
goes on. In small blocks a plane through those pixels foretells phase and code of every pixel around; all holds of
both axes are demodulated with what is foretold, which brings even a fringe far below the noise to light when 25
pixels of 46 holds are added up. What comes out is either nothing, and the pixel stays unknown, or a fringe, whose
phase then corrects the place foretold. What was found foretells the next block. Where 25 pixels are not enough, cells
of 2 x 2 and 4 x 4 pixels take their place.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.foretold import BLOCK, LEAST, SIDE, fit_plane
from limewash.scan.patch import WINDOW, demodulate, is_numbered_right, set_signs, set_turns, stands_out, take_patch
from limewash.scan.threads import in_bands

Image = NDArray[np.float32]
Sums = NDArray[np.uint16]
Indices = NDArray[np.int64]
Floats = NDArray[np.float64]
Row = NDArray[np.float32]
Parts = tuple[Indices, Floats, Floats, Indices, int, float, int]  # of `AxisCarriers`
Room = tuple[Row, Row, Row, Row, Row, Row]  # see `make_room`

_CELLS = (1, 2, 4)  # sides of the cells, wider where that is not enough [camera px]
_STEEP = 0.6  # share of a period by which the fringe may change from cell to cell
_FADING = 0.5  # of the light of the known pixels around, in a window: where there is less, the surface ends
_TRUST = 0.6  # weight of a window's fringe against its surface, which many more pixels made
_UNSURE_PX = 0.3  # noise from which a pixel's own place is foretold anew [projector px]
_GAIN = 4  # new pixels from which on a block is worth going on from
_MANY = 160  # of the pixels around a block


@dataclass(frozen=True)
class AxisCarriers:
    """All holds of one axis as further steps of one fringe.

    Attributes
    ----------
    picks : ndarray of int64, shape (holds,)
        Which of the pictures; the phase steps of the fringe first.
    weights : ndarray of shape (holds,)
        What to multiply their sums with.
    waves : ndarray of shape (holds, 2)
        Cosine and sine of each one's phase.
    bits : ndarray of int64, shape (holds,)
        Bit of the code that turns its sign, -1 for the phase steps.
    steps : int
        Number of the phase steps.
    period_px : float
        Period of the fringe. [projector px]
    length_px : int
        Length of the axis. [projector px]
    """

    picks: Indices
    weights: Floats
    waves: Floats
    bits: Indices
    steps: int
    period_px: float
    length_px: int

    def parts(self) -> Parts:
        """All of it, in the order of the attributes, as kernels take it."""
        return self.picks, self.weights, self.waves, self.bits, self.steps, self.period_px, self.length_px


def follow_faint(sums: Sums, axes: tuple[AxisCarriers, AxisCarriers], noise: Image, found: NDArray[np.float32]) -> None:
    """Go on from what was decoded into what was too faint for it.

    Parameters
    ----------
    sums : ndarray of uint16, shape (holds, height, width)
        Pictures.
    axes : (AxisCarriers, AxisCarriers)
        Holds along x and y.
    noise : ndarray of float32, shape (height, width)
        Standard deviation of one picture. [codes]
    found : ndarray of float32, shape (5, height, width)
        x, y, their standard deviations, and amplitude; changed in place where more is found.
    """
    height, width = noise.shape
    rows, columns = -(-height // BLOCK), -(-width // BLOCK)
    fresh = np.ones((rows, columns), dtype=np.bool_)
    unsure, unknown, sure = (np.zeros((rows, columns), dtype=np.float32) for _ in range(3))

    def look_at(blocks: Indices) -> None:
        counts = (unsure, unknown, sure)
        in_bands(len(blocks), lambda first, last: look_at_blocks(blocks, first, last, found, *counts))

    look_at(_numbers(fresh))
    for cell in _CELLS:
        # What is known but unsure is looked at once.
        asked = unsure if cell == 1 else unknown
        fresh[:] = True
        while fresh.any():
            # Only what lies within reach of something new can come out otherwise than before.
            near = cv2.dilate(fresh.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
            fresh = np.zeros_like(near)
            wanted = near & (asked > 0) & (_around(sure) >= LEAST)
            if cell > 1:  # beside what is sure it is dark for another cause
                wanted &= _around(unsure - unknown) > 0.5 * _around(sure)
            blocks = _numbers(wanted)
            # None of them goes by what another one finds in the same pass, whichever comes first.
            news = np.empty((len(blocks), *found.shape[:1], BLOCK, BLOCK), dtype=np.float32)
            work = partial(
                follow_blocks, sums, axes[0].parts(), axes[1].parts(), noise, found, news, fresh, cell, blocks
            )
            in_bands(len(blocks), work)
            in_bands(len(blocks), partial(put_news, news, found, blocks))
            look_at(blocks)
            asked = unknown


def _numbers(blocks: NDArray[np.bool_]) -> Indices:
    """Row and column of each marked block; NumPy's `argwhere` takes longer than many a pass."""
    return np.column_stack(np.divmod(np.flatnonzero(blocks), blocks.shape[1]))


def _around(counts: Image) -> Image:
    """Sums over the blocks around each."""
    return np.asarray(cv2.boxFilter(counts, -1, (5, 5), normalize=False, borderType=cv2.BORDER_CONSTANT))


@kernel
def put_news(news: NDArray[np.float32], found: NDArray[np.float32], blocks: Indices, first: int, last: int) -> None:
    """Put into `found` what was found in some blocks."""
    parts, height, width = found.shape
    for k in range(first, last):
        top, left = blocks[k, 0] * BLOCK, blocks[k, 1] * BLOCK
        for row in range(top, min(top + BLOCK, height)):
            for col in range(left, min(left + BLOCK, width)):
                if not np.isnan(news[k, 0, row - top, col - left]):
                    for j in range(parts):
                        found[j, row, col] = news[k, j, row - top, col - left]


@kernel
def look_at_blocks(
    blocks: Indices, first: int, last: int, found: NDArray[np.float32], unsure: Image, unknown: Image, sure: Image
) -> None:
    """Count the pixels of some blocks that are not sure, not known, and known."""
    _, height, width = found.shape
    for k in range(first, last):
        unsure_count = unknown_count = sure_count = 0
        for row in range(blocks[k, 0] * BLOCK, min((blocks[k, 0] + 1) * BLOCK, height)):
            for col in range(blocks[k, 1] * BLOCK, min((blocks[k, 1] + 1) * BLOCK, width)):
                noise = found[2, row, col] + found[3, row, col]
                unsure_count += not noise < 2.0 * _UNSURE_PX
                unknown_count += np.isnan(noise)
                sure_count += np.isfinite(found[0, row, col] + found[1, row, col])
        at = blocks[k, 0], blocks[k, 1]
        unsure[at], unknown[at], sure[at] = unsure_count, unknown_count, sure_count


@kernel
def follow_blocks(
    sums: Sums,
    axis_x: Parts,
    axis_y: Parts,
    noise: Image,
    found: NDArray[np.float32],
    news: NDArray[np.float32],
    fresh: NDArray[np.bool_],
    cell: int,
    blocks: Indices,
    first: int,
    last: int,
) -> None:
    """Look at some blocks; `fresh` becomes true for those in which enough was found that was unknown.

    `news` of shape (blocks, 5, BLOCK, BLOCK) becomes what is to go into `found`; NaN where nothing is.
    """
    side = BLOCK // cell + 2 * WINDOW
    plane, coarse = np.empty((2, 3)), np.empty((2, 3))
    around = np.empty((6, SIDE * SIDE), dtype=np.float32)
    inside = np.empty(side * side, dtype=np.float32)
    room_x, room_y = make_room(axis_x, side), make_room(axis_y, side)
    for k in range(first, last):
        top, left = blocks[k, 0] * BLOCK, blocks[k, 1] * BLOCK
        news[k, 0] = np.nan
        count = fit_plane(found, top, left, around, plane)
        if count == 0:
            continue
        for axis in range(2):
            # The middle of the first cell, and from cell to cell.
            coarse[axis, 0] = plane[axis, 0] + 0.5 * (cell - 1) * (plane[axis, 1] + plane[axis, 2])
            coarse[axis, 1:] = plane[axis, 1:] * cell
        if is_steep(axis_x, coarse[0]) or is_steep(axis_y, coarse[1]):
            continue
        ask_patch(sums, axis_x, coarse[0], top, left, cell, side, inside, room_x)
        ask_patch(sums, axis_y, coarse[1], top, left, cell, side, inside, room_y)
        gained = keep_found(
            axis_x, axis_y, room_x, room_y, plane, top, left, cell, side, inside, noise, found, False, news[k]
        )
        # A pinhole among many that agree needs no asking.
        if gained > 0 and (
            count > _MANY
            or (is_right(axis_x, coarse[0], side, inside, room_x) and is_right(axis_y, coarse[1], side, inside, room_y))
        ):
            keep_found(
                axis_x, axis_y, room_x, room_y, plane, top, left, cell, side, inside, noise, found, True, news[k]
            )
            fresh[blocks[k, 0], blocks[k, 1]] = gained >= _GAIN


@kernel
def make_room(axis: Parts, side: int) -> Room:
    """Room for what holds show, cosine and sine of the phase, signs of the code, and the two parts of the fringe."""
    picks, _, _, bits, _, _, _ = axis
    size = side * side
    seen, signs = np.empty((picks.size, size), dtype=np.float32), np.empty((bits.max() + 2, size), dtype=np.float32)
    rows = np.empty((4, size), dtype=np.float32)
    return seen, rows[0], rows[1], signs, rows[2], rows[3]


@kernel
def is_steep(axis: Parts, plane: Floats) -> bool:
    """Whether a fringe changes too much within a cell."""
    return bool(abs(plane[1]) + abs(plane[2]) > _STEEP * axis[5])


@kernel
def ask_patch(
    sums: Sums, axis: Parts, plane: Floats, top: int, left: int, cell: int, side: int, inside: Row, room: Room
) -> None:
    """Ask the patch around a block for its fringe along an axis."""
    picks, weights, waves, bits, steps, period, _ = axis
    seen, cosine, sine, signs, real, imaginary = room
    take_patch(sums, picks, weights, steps, top - WINDOW * cell, left - WINDOW * cell, cell, side, inside, seen)
    set_turns(plane, period, side, cosine, sine)
    set_signs(plane, period, 0, side, inside, signs)
    demodulate(seen, waves, bits, signs, cosine, sine, real, imaginary)


@kernel
def is_right(axis: Parts, plane: Floats, side: int, inside: Row, room: Room) -> bool:
    """Whether a patch that was asked is in the period foretold, see `is_numbered_right`."""
    _, _, waves, bits, _, period, _ = axis
    seen, cosine, sine, signs, _, _ = room
    return is_numbered_right(seen, waves, bits, plane, period, side, inside, cosine, sine, signs)


@kernel
def keep_found(
    axis_x: Parts,
    axis_y: Parts,
    room_x: Room,
    room_y: Room,
    plane: Floats,
    top: int,
    left: int,
    cell: int,
    side: int,
    inside: Row,
    noise: Image,
    known: NDArray[np.float32],
    new: bool,
    news: NDArray[np.float32],
) -> int:
    """Keep what stands out of a block's `new` pixels, or else of those known before; how many new there are."""
    _, height, width = known.shape
    count_x, count_y, period_x, period_y = len(axis_x[0]), len(axis_y[0]), axis_x[5], axis_y[5]
    least_x = _FADING * usual_amplitude(known, room_x, top, left, cell, side)
    least_y = _FADING * usual_amplitude(known, room_y, top, left, cell, side)
    gained = 0
    for row in range(top, min(top + BLOCK, height)):
        for col in range(left, min(left + BLOCK, width)):
            r, c = (row - top) // cell + WINDOW, (col - left) // cell + WINDOW
            unknown = not np.isfinite(known[0, row, col] + known[1, row, col])
            sure = known[2, row, col] + known[3, row, col] < 2.0 * _UNSURE_PX
            if sure or ((new or cell > 1) and not unknown) or inside[r * side + c] == 0.0:
                continue
            noise_x = noise[row, col] / cell * np.sqrt(2.0 / count_x)
            noise_y = noise[row, col] / cell * np.sqrt(2.0 / count_y)
            ax, dx, light_x = stands_out(room_x[4], room_x[5], inside, side, r, c, noise_x, least_x)
            if ax == 0.0:
                continue
            ay, dy, light_y = stands_out(room_y[4], room_y[5], inside, side, r, c, noise_y, least_y)
            if ay == 0.0:
                continue
            x = plane[0, 0] + plane[0, 1] * (col - left) + plane[0, 2] * (row - top)
            y = plane[1, 0] + plane[1, 1] * (col - left) + plane[1, 2] * (row - top)
            x += _TRUST * dx / (2.0 * np.pi) * period_x
            y += _TRUST * dy / (2.0 * np.pi) * period_y
            if not (-0.5 <= x <= axis_x[6] - 0.5 and -0.5 <= y <= axis_y[6] - 0.5):
                continue
            gained += unknown
            if unknown != new:
                continue
            at = row - top, col - left
            news[0][at], news[1][at] = x, y
            # As if it stood alone: its neighbours share the noise of its window, and what fits surfaces takes the
            # noise of neighbours for independent.
            news[2][at] = period_x / (2.0 * np.pi) * noise_x * cell / ax
            news[3][at] = period_y / (2.0 * np.pi) * noise_y * cell / ay
            news[4][at] = np.sqrt(light_x * light_y)
    return gained


@kernel
def usual_amplitude(known: NDArray[np.float32], room: Room, top: int, left: int, cell: int, side: int) -> float:
    """Amplitude of the fringe in those cells of a patch that are known; 0 where none is."""
    _, height, width = known.shape
    a = b = 0.0
    count = 0
    for r in range(side):
        row = top + (r - WINDOW) * cell
        for c in range(side):
            col = left + (c - WINDOW) * cell
            if 0 <= row < height and 0 <= col < width and np.isfinite(known[0, row, col] + known[1, row, col]):
                a += room[4][r * side + c]
                b += room[5][r * side + c]
                count += 1
    return float(np.sqrt(a * a + b * b) / count) if count > 0 else 0.0
