"""Decoding faint surfaces by what their surroundings foretell.

A dark roof at grazing light returns less of a fringe than a pixel has noise, and its fringes run askew in the
camera, so that no fixed neighbourhood can be averaged. But some of its pixels say where they are, and a surface
goes on. In small blocks a plane through those pixels foretells phase and code of every pixel around; all holds of
both axes are demodulated with what is foretold, which brings even a fringe far below the noise to light when 25
pixels of 46 holds are added up. What comes out is either nothing, and the pixel stays unknown, or a fringe, whose
phase then corrects the place foretold. What was found foretells the next block.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.threads import in_bands

Image = NDArray[np.float32]
Sums = NDArray[np.uint16]
Indices = NDArray[np.int64]
Floats = NDArray[np.float64]

BLOCK = 4  # side of the blocks that share a plane [camera px]
_REACH = 6  # how far around a block pixels are asked for the plane [camera px]
_WINDOW = 2  # and around a pixel for its fringe
_PATCH = BLOCK + 2 * _WINDOW
_UNSURE_PX = 0.3  # noise from which a pixel's own place is foretold anew [projector px]
_LEAST = 14  # pixels that make a plane
_OF_ONE_MIND = 0.7  # share of them that must agree with it
_TRIES = 2  # times that a plane is fitted again with less weight on what is off it
_STANDS_OUT = 5.0  # standard deviations by which a fringe must
_OFF_RAD = 1.0  # by how much the phase may be off what was foretold
_OBJECTION = 3.0  # standard deviations by which a pixel's own fringe may be off that of its window
_TEXTURE = 0.3  # and share of it
_BENEFIT = 0.7  # standard deviations by which a darker pixel is taken for as bright as its window
_PASSES = 200  # at most; each goes on by a few pixels, and only where the last one found something


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

    def parts(self) -> tuple[Indices, Floats, Floats, Indices, int, float, int]:
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
    known = found.copy()
    fresh = np.ones((rows, columns), dtype=np.bool_)
    unsure, unknown, sure = (np.zeros((rows, columns), dtype=np.float32) for _ in range(3))

    def look_at(blocks: Indices) -> None:
        counts = (unsure, unknown, sure)
        in_bands(len(blocks), lambda first, last: look_at_blocks(blocks, first, last, found, known, *counts))

    look_at(np.argwhere(fresh))
    a, b = axes
    for count in range(_PASSES):
        # Only what lies within reach of something new can come out otherwise than before.
        near = cv2.dilate(fresh.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        fresh = np.zeros_like(near)
        # What is known but unsure is looked at once.
        asked = unsure if count == 0 else unknown
        around = cv2.boxFilter(sure, -1, (5, 5), normalize=False, borderType=cv2.BORDER_CONSTANT)
        blocks = np.argwhere(near & (asked > 0) & (around >= _LEAST))
        in_bands(
            len(blocks),
            lambda first, last, blocks=blocks, fresh=fresh: follow_blocks(  # type: ignore[misc]
                sums,
                *a.parts(),
                *b.parts(),
                noise,
                blocks,
                first,
                last,
                known,
                found,
                fresh,
            ),
        )
        if not fresh.any():
            return
        look_at(blocks)


@kernel
def look_at_blocks(
    blocks: Indices,
    first: int,
    last: int,
    found: NDArray[np.float32],
    known: NDArray[np.float32],
    unsure: Image,
    unknown: Image,
    sure: Image,
) -> None:
    """Copy `found` to `known` in some blocks; count pixels whose place is not sure, not known, and known."""
    parts, height, width = found.shape
    for k in range(first, last):
        unsure_count = unknown_count = sure_count = 0
        for row in range(blocks[k, 0] * BLOCK, min((blocks[k, 0] + 1) * BLOCK, height)):
            for col in range(blocks[k, 1] * BLOCK, min((blocks[k, 1] + 1) * BLOCK, width)):
                for j in range(parts):
                    known[j, row, col] = found[j, row, col]
                noise = found[2, row, col] + found[3, row, col]
                unsure_count += not noise < 2.0 * _UNSURE_PX
                unknown_count += np.isnan(noise)
                sure_count += np.isfinite(found[0, row, col] + found[1, row, col])
        at = blocks[k, 0], blocks[k, 1]
        unsure[at], unknown[at], sure[at] = unsure_count, unknown_count, sure_count


@kernel
def follow_blocks(
    sums: Sums,
    picks_x: Indices,
    weights_x: Floats,
    waves_x: Floats,
    bits_x: Indices,
    steps_x: int,
    period_x: float,
    length_x: int,
    picks_y: Indices,
    weights_y: Floats,
    waves_y: Floats,
    bits_y: Indices,
    steps_y: int,
    period_y: float,
    length_y: int,
    noise: Image,
    blocks: Indices,
    first: int,
    last: int,
    known: NDArray[np.float32],
    found: NDArray[np.float32],
    fresh: NDArray[np.bool_],
) -> None:
    """Look at some blocks; `fresh` becomes true for those in which a pixel was found that was unknown."""
    height, width = noise.shape
    plane = np.empty((2, 3))
    zx, zy = np.zeros((_PATCH, _PATCH), dtype=np.complex128), np.zeros((_PATCH, _PATCH), dtype=np.complex128)
    inside = np.empty((_PATCH, _PATCH), dtype=np.bool_)
    for k in range(first, last):
        top, left = blocks[k, 0] * BLOCK, blocks[k, 1] * BLOCK
        if not fit_plane(known, top, left, plane):
            continue
        for r in range(_PATCH):
            for c in range(_PATCH):
                row, col = top + r - _WINDOW, left + c - _WINDOW
                inside[r, c] = 0 <= row < height and 0 <= col < width
                if inside[r, c]:
                    x = plane[0, 0] + plane[0, 1] * (col - left) + plane[0, 2] * (row - top)
                    y = plane[1, 0] + plane[1, 1] * (col - left) + plane[1, 2] * (row - top)
                    zx[r, c] = demodulate(sums, picks_x, weights_x, waves_x, bits_x, steps_x, period_x, row, col, x)
                    zy[r, c] = demodulate(sums, picks_y, weights_y, waves_y, bits_y, steps_y, period_y, row, col, y)
        for r in range(_WINDOW, BLOCK + _WINDOW):
            for c in range(_WINDOW, BLOCK + _WINDOW):
                row, col = top + r - _WINDOW, left + c - _WINDOW
                if not inside[r, c] or known[2, row, col] + known[3, row, col] < 2.0 * _UNSURE_PX:
                    continue
                own = noise[row, col]
                ax, dx, light_x = stands_out(zx, inside, r, c, own * np.sqrt(2.0 / picks_x.size))
                ay, dy, light_y = stands_out(zy, inside, r, c, own * np.sqrt(2.0 / picks_y.size))
                if ax == 0.0 or ay == 0.0:
                    continue
                x = plane[0, 0] + plane[0, 1] * (col - left) + plane[0, 2] * (row - top) + dx / (2.0 * np.pi) * period_x
                y = plane[1, 0] + plane[1, 1] * (col - left) + plane[1, 2] * (row - top) + dy / (2.0 * np.pi) * period_y
                if not (-0.5 <= x <= length_x - 0.5 and -0.5 <= y <= length_y - 0.5):
                    continue
                if not np.isfinite(known[0, row, col] + known[1, row, col]):
                    fresh[blocks[k, 0], blocks[k, 1]] = True
                found[0, row, col], found[1, row, col] = x, y
                # As if it stood alone: its neighbours share the noise of its window, and what fits surfaces takes the
                # noise of neighbours for independent.
                found[2, row, col] = period_x / (2.0 * np.pi) * own * np.sqrt(2.0 / picks_x.size) / ax
                found[3, row, col] = period_y / (2.0 * np.pi) * own * np.sqrt(2.0 / picks_y.size) / ay
                found[4, row, col] = np.sqrt(light_x * light_y)


@kernel
def fit_plane(known: NDArray[np.float32], top: int, left: int, plane: Floats) -> bool:
    """Planes of x and y over columns and rows from a block's corner, robustly; false where pixels disagree."""
    _, height, width = known.shape
    r0, r1 = max(top - _REACH, 0), min(top + BLOCK + _REACH, height)
    c0, c1 = max(left - _REACH, 0), min(left + BLOCK + _REACH, width)
    m = np.zeros((3, 3))
    h = np.zeros((3, 2))
    agree = count = 0
    for attempt in range(_TRIES + 1):
        m[:] = 0.0
        h[:] = 0.0
        agree = count = 0
        for row in range(r0, r1):
            for col in range(c0, c1):
                x, y = known[0, row, col], known[1, row, col]
                if not np.isfinite(x + y):
                    continue
                dc, dr = float(col - left), float(row - top)
                noise = 0.1 + known[2, row, col] ** 2 + known[3, row, col] ** 2
                weight = 1.0 / noise
                count += 1
                if attempt > 0:
                    off_x = x - plane[0, 0] - plane[0, 1] * dc - plane[0, 2] * dr
                    off_y = y - plane[1, 0] - plane[1, 1] * dc - plane[1, 2] * dr
                    off = (off_x * off_x + off_y * off_y) / noise
                    agree += off < 9.0
                    weight /= (1.0 + off / 4.0) ** 2
                m[0, 0] += weight
                m[0, 1] += weight * dc
                m[0, 2] += weight * dr
                m[1, 1] += weight * dc * dc
                m[1, 2] += weight * dc * dr
                m[2, 2] += weight * dr * dr
                h[0, 0] += weight * x
                h[1, 0] += weight * x * dc
                h[2, 0] += weight * x * dr
                h[0, 1] += weight * y
                h[1, 1] += weight * y * dc
                h[2, 1] += weight * y * dr
        if count < _LEAST:
            return False
        # The normal matrix is inverted by cofactors.
        i00, i01 = m[1, 1] * m[2, 2] - m[1, 2] * m[1, 2], m[1, 2] * m[0, 2] - m[0, 1] * m[2, 2]
        i02, i11 = m[0, 1] * m[1, 2] - m[1, 1] * m[0, 2], m[0, 0] * m[2, 2] - m[0, 2] * m[0, 2]
        i12, i22 = m[0, 1] * m[0, 2] - m[0, 0] * m[1, 2], m[0, 0] * m[1, 1] - m[0, 1] * m[0, 1]
        det = m[0, 0] * i00 + m[0, 1] * i01 + m[0, 2] * i02
        if not det > 1e-3 * m[0, 0] ** 3:  # all on one line
            return False
        for axis in range(2):
            plane[axis, 0] = (i00 * h[0, axis] + i01 * h[1, axis] + i02 * h[2, axis]) / det
            plane[axis, 1] = (i01 * h[0, axis] + i11 * h[1, axis] + i12 * h[2, axis]) / det
            plane[axis, 2] = (i02 * h[0, axis] + i12 * h[1, axis] + i22 * h[2, axis]) / det
    return agree >= _OF_ONE_MIND * count


@kernel
def demodulate(
    sums: Sums,
    picks: Indices,
    weights: Floats,
    waves: Floats,
    bits: Indices,
    steps: int,
    period: float,
    row: int,
    col: int,
    x: float,
) -> complex:
    """Amplitude of a pixel's fringe if it is at x; its angle says by how much it is farther on [codes]."""
    mean = 0.0
    for k in range(steps):
        mean += sums[picks[k], row, col] * weights[k] / steps
    cell = int(np.floor(2.0 * x / period))
    gray = cell ^ (cell >> 1)
    boundary, free = int(np.floor(2.0 * x / period + 0.5)), 0
    while boundary > 0 and (boundary >> free) & 1 == 0:
        free += 1
    turn_c, turn_s = np.cos(2.0 * np.pi * x / period), np.sin(2.0 * np.pi * x / period)
    real = imaginary = 0.0
    count = 0
    for k in range(picks.size):
        if bits[k] == free:  # phase knows better than the code what lies next to its boundary
            continue
        off = sums[picks[k], row, col] * weights[k] - mean
        if bits[k] >= 0 and (gray >> bits[k]) & 1:
            off = -off
        real += off * (turn_c * waves[k, 0] + turn_s * waves[k, 1])
        imaginary += off * (turn_c * waves[k, 1] - turn_s * waves[k, 0])
        count += 1
    return complex(2.0 * real / count, 2.0 * imaginary / count)


@kernel
def stands_out(
    z: NDArray[np.complex128], inside: NDArray[np.bool_], r: int, c: int, sigma: float
) -> tuple[float, float, float]:
    """Amplitude and phase of the fringe in a pixel's window, and its own amplitude as far as noise lets it tell.

    All 0 where there is no fringe, or the pixel's own objects.
    """
    total = 0.0j
    count = 0
    for dr in range(-_WINDOW, _WINDOW + 1):
        for dc in range(-_WINDOW, _WINDOW + 1):
            if inside[r + dr, c + dc]:
                total += z[r + dr, c + dc]
                count += 1
    total /= count
    size = np.abs(total)
    phase = np.arctan2(total.imag, total.real)
    if size < _STANDS_OUT * sigma / np.sqrt(count) or abs(phase) > _OFF_RAD:
        return 0.0, 0.0, 0.0
    if np.abs(z[r, c] - total) > _OBJECTION * sigma + _TEXTURE * size:
        return 0.0, 0.0, 0.0
    own = (z[r, c] * np.conj(total)).real / size
    return size, phase, max(min(size, own + _BENEFIT * sigma), 0.1 * size)
