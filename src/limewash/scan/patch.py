"""Kernels that ask a small patch, whose place is foretold by a plane, for its fringe.

A patch is a square of cells, row after row; a cell is a pixel, or the mean of a few. All of its cells are worked on at
once, hold by hold, so that the compiler can use the processor's vector units.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel, summing_kernel

Sums = NDArray[np.uint16]
Indices = NDArray[np.int64]
Floats = NDArray[np.float64]
Row = NDArray[np.float32]
Rows = NDArray[np.float32]

WINDOW = 2  # how far a cell asks around for its fringe [cells]
STANDS_OUT = 5.0  # standard deviations by which a fringe must
_OFF = np.cos(1.0)  # cosine of the phase by which it may be off what was foretold [rad]
_OBJECTION = 3.0  # standard deviations by which a cell's own fringe may be off that of its window
_TEXTURE = 0.3  # and share of it
_BENEFIT = 0.7  # standard deviations by which a darker cell is taken for as bright as its window
_CLEAR = 2.5  # standard deviations by which holds must show a fringe alike


@kernel
def take_patch(
    sums: Sums,
    picks: Indices,
    weights: Floats,
    steps: int,
    top: int,
    left: int,
    cell: int,
    side: int,
    inside: Row,
    seen: Rows,
) -> None:
    """Copy what all holds of an axis show of a patch, less the mean of the phase steps; 0 outside the picture."""
    height, width = sums.shape[1:]
    # By their numbers in memory, which the compiler does not ask for their sign, pixels are fetched several times
    # faster than by rows of a handful.
    flat = sums.reshape(sums.size)
    first = np.empty(side * side, dtype=np.uint64)
    for r in range(side):
        for c in range(side):
            row, col, p = top + r * cell, left + c * cell, r * side + c
            there = 0 <= row <= height - cell and 0 <= col <= width - cell
            inside[p] = np.float32(1.0) if there else np.float32(0.0)
            first[p] = np.uint64(row * width + col) if there else np.uint64(0)
    size = side * side
    mean = np.zeros(size, dtype=np.float32)
    for k in range(picks.size):
        # Written out, here and below: calls for so few cells would take longer than what they do.
        scale, hold = np.float32(weights[k] / (cell * cell)), seen[k]
        hold[:] = 0.0
        for row in range(cell):
            for col in range(cell):
                start = np.uint64((picks[k] * height + row) * width + col)
                for p in range(size):
                    hold[p] += np.float32(flat[start + first[p]]) * scale * inside[p]
        if k < steps:
            for p in range(size):
                mean[p] += hold[p] * np.float32(1.0 / steps)
    for k in range(picks.size):
        hold = seen[k]
        for p in range(size):
            hold[p] -= mean[p]


@kernel
def set_turns(plane: Floats, period: float, side: int, cosine: Row, sine: Row) -> None:
    """Cosine and sine of the phase of each cell.

    `plane` holds the place of the cell `WINDOW` rows and columns into the patch, and its change to the next column and
    row.
    """
    turn = 2.0 * np.pi / period
    step = complex(np.cos(turn * plane[1]), np.sin(turn * plane[1]))
    for r in range(side):
        first = turn * (plane[0] - WINDOW * plane[1] + (r - WINDOW) * plane[2])
        z = complex(np.cos(first), np.sin(first))
        for c in range(side):
            cosine[r * side + c], sine[r * side + c] = z.real, z.imag
            z *= step


@kernel
def set_signs(plane: Floats, period: float, shift: int, side: int, inside: Row, signs: Rows) -> None:
    """Sign of the fringe in the holds of each bit of the code, `shift` periods from the plane, and in the phase steps.

    0 outside the picture, and for the bit that changes at the boundary next to a cell: there phase knows better than
    the code. The row after those of the bits is of the phase steps.
    """
    gray, free = np.empty(side * side, dtype=np.int32), np.empty(side * side, dtype=np.int32)
    for r in range(side):
        for c in range(side):
            x = plane[0] + plane[1] * (c - WINDOW) + plane[2] * (r - WINDOW)
            halves = 2.0 * x / period + 2.0 * shift
            cell, boundary = np.int32(np.floor(halves)), np.int32(np.floor(halves + 0.5))
            gray[r * side + c] = cell ^ (cell >> np.int32(1))
            free[r * side + c] = boundary & -boundary if boundary > 0 else np.int32(1)
    for b in range(len(signs) - 1):
        set_sign(gray, free, np.int32(1 << b), inside, signs[b])
    signs[-1] = inside


@kernel
def set_sign(gray: NDArray[np.int32], free: NDArray[np.int32], bit: np.int32, inside: Row, sign: Row) -> None:
    """The signs of one bit."""
    for p in range(sign.size):
        turned = -inside[p] if gray[p] & bit else inside[p]
        sign[p] = turned if free[p] != bit else np.float32(0.0)


@kernel
def demodulate(
    seen: Rows, waves: Floats, bits: Indices, signs: Rows, cosine: Row, sine: Row, real: Row, imaginary: Row
) -> None:
    """Amplitude of each cell's fringe if it lies where the plane foretells.

    Its angle says by how much it is farther on. `bits` tells which row of `signs` each hold goes by, -1 for the last.
    """
    size = cosine.size
    sums = np.zeros((3, size), dtype=np.float32)
    a, b, count = sums[0], sums[1], sums[2]
    for k in range(bits.size):
        hold, sign = seen[k], signs[bits[k]]
        wave_c, wave_s = np.float32(waves[k, 0]), np.float32(waves[k, 1])
        for p in range(size):
            off = hold[p] * sign[p]
            a[p] += off * wave_c
            b[p] += off * wave_s
    for row in range(len(signs)):
        sign = signs[row]
        holds = np.float32((bits == row).sum() if row < len(signs) - 1 else (bits < 0).sum())
        for p in range(size):
            count[p] += abs(sign[p]) * holds
    for p in range(size):
        scale = np.float32(2.0) / max(count[p], np.float32(1.0))
        real[p] = (cosine[p] * a[p] + sine[p] * b[p]) * scale
        imaginary[p] = (cosine[p] * b[p] - sine[p] * a[p]) * scale


@kernel
def stands_out(
    real: Row, imaginary: Row, inside: Row, side: int, r: int, c: int, sigma: float, least: float
) -> tuple[float, float, float]:
    """Amplitude and phase of the fringe in a cell's window, and its own amplitude as far as noise lets it tell.

    All 0 where there is no fringe, or less than `least` of it, or the cell's own objects.
    """
    a = b = count = 0.0
    for row in range(r - WINDOW, r + WINDOW + 1):
        for p in range(row * side + c - WINDOW, row * side + c + WINDOW + 1):
            a += real[p]
            b += imaginary[p]
            count += inside[p]
    a, b = a / count, b / count
    size = np.sqrt(a * a + b * b)
    if size < max(STANDS_OUT * sigma / np.sqrt(count), least) or a < _OFF * size:
        return 0.0, 0.0, 0.0
    own_a, own_b = real[r * side + c], imaginary[r * side + c]
    own, across = (own_a * a + own_b * b) / size, abs(own_b * a - own_a * b) / size
    # A cell of the same phase may well be brighter.
    if across > _OBJECTION * sigma + _TEXTURE * max(own, size) or own < (1.0 - _TEXTURE) * size - _OBJECTION * sigma:
        return 0.0, 0.0, 0.0
    return size, np.arctan2(b, a), max(min(size, own + _BENEFIT * sigma), 0.1 * size)


@kernel
def is_numbered_right(
    seen: Rows,
    waves: Floats,
    bits: Indices,
    plane: Floats,
    period: float,
    side: int,
    inside: Row,
    cosine: Row,
    sine: Row,
    signs: Rows,
) -> bool:
    """Whether all holds together show a fringe in a patch, and in the period foretold rather than the one beside it.

    A fringe a period off still shows in the phase steps and in those bits of the code that are the same there: nearly
    two thirds of its amplitude. `signs` is overwritten.
    """
    pooled = np.empty((3, bits.size))
    pool(seen, bits, signs, cosine, sine, False, pooled)
    rest, clear = fit_patch(pooled, waves, inside, cosine, sine)
    if clear < _CLEAR:
        return False
    for shift in (-1, 1):
        set_signs(plane, period, shift, side, inside, signs)
        pool(seen, bits, signs, cosine, sine, True, pooled)
        if fit_patch(pooled, waves, inside, cosine, sine)[0] <= rest:
            return False
    return True


@kernel
def fit_patch(pooled: Floats, waves: Floats, inside: Row, cosine: Row, sine: Row) -> tuple[float, float]:
    """Fit one fringe to the holds of a patch; what is left over, and amplitude by its standard deviation.

    Each hold is taken relative to where the cells look and added up, see `pool`. With Y its sum by the number of cells,
    p the phase of the hold and q the mean of exp(-2i times a cell's phase), a fringe A shows as Y = (A exp(-ip) +
    conj(A) exp(ip) q) / 2, to which A is fitted by least squares. Noise is what the holds leave over, each added up
    over the patch: a video's compression spoils neighbours alike, and what single pixels say of noise is too little
    then.
    """
    q_a, q_b, cells = doubled(inside, cosine, sine)
    q = complex(q_a / cells, q_b / cells)
    # Two unknowns, the parts of A, and two equations for each hold: those of real and imaginary part.
    aa = ab = bb = ya = yb = yy = weight = 0.0
    for k in range(len(waves)):
        re, im, count = pooled[0, k], pooled[1, k], pooled[2, k]
        if count < 0.5 * cells:
            continue
        y, w = complex(re / count, im / count), count / cells
        e = complex(waves[k, 0], -waves[k, 1])
        da, db = 0.5 * (e + np.conj(e) * q), 0.5j * (e - np.conj(e) * q)
        aa += w * (da.real * da.real + da.imag * da.imag)
        ab += w * (da.real * db.real + da.imag * db.imag)
        bb += w * (db.real * db.real + db.imag * db.imag)
        ya += w * (y.real * da.real + y.imag * da.imag)
        yb += w * (y.real * db.real + y.imag * db.imag)
        yy += w * (y.real * y.real + y.imag * y.imag)
        weight += w
    det = aa * bb - ab * ab
    a, b = (bb * ya - ab * yb) / det, (aa * yb - ab * ya) / det
    rest = max(yy - a * ya - b * yb, 1e-12)
    # In a patch much smaller than a period real and imaginary part know the same.
    variance = rest / (2.0 * weight - 2.0) * (1.0 + q.real * q.real + q.imag * q.imag)
    return rest / weight, np.sqrt((a * ya + b * yb) / (2.0 * variance))


@summing_kernel
def pool(seen: Rows, bits: Indices, signs: Rows, cosine: Row, sine: Row, only_code: bool, pooled: Floats) -> None:
    """Sum of each hold's cells times exp(-i times their phase), real and imaginary part, and their number.

    Leaves the phase steps as they are if only the code is wanted.
    """
    for k in range(bits.size):
        if only_code and bits[k] < 0:
            continue
        hold, sign = seen[k], signs[bits[k]]
        real = imaginary = count = np.float32(0.0)
        for p in range(cosine.size):
            off = hold[p] * sign[p]
            real += off * cosine[p]
            imaginary -= off * sine[p]
            count += abs(sign[p])
        pooled[0, k], pooled[1, k], pooled[2, k] = real, imaginary, count


@summing_kernel
def doubled(inside: Row, cosine: Row, sine: Row) -> tuple[float, float, float]:
    """Sum of exp(-2i times the cells' phase), real and imaginary part, and their number."""
    real = imaginary = count = np.float32(0.0)
    for p in range(inside.size):
        real += inside[p] * (cosine[p] * cosine[p] - sine[p] * sine[p])
        imaginary -= inside[p] * np.float32(2.0) * cosine[p] * sine[p]
        count += inside[p]
    return float(real), float(imaginary), float(count)
