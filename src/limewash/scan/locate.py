"""Kernels that fit fringes and number their periods, row by row.

All of a row is worked on at once, hold by hold: memory is read as it lies, and the compiler can use the
processor's vector units. Rows are kept in rings, so that each hold is fitted once although pixels ask their
neighbours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Image = NDArray[np.float32]
Row = NDArray[np.float32]
Mask = NDArray[np.bool_]
Sums = NDArray[np.uint16]
Indices = NDArray[np.int64]

_MIXED = 8.0  # times its noise, by which the code's holds of a pixel may miss what its fringe foretells
_UNEVEN = 0.25  # and the share of its amplitude
_FAINTEST = 0.8  # amplitude in units of noise; the code tells such a pixel all the same, by its neighbours
_NEIGHBOURS = 2  # how far a pixel asks around when its own bits are not clear [camera px]
_RING = 2 * _NEIGHBOURS + 1
_MOST_BITS = 30
_TURN = np.float32(2.0 * np.pi)


@kernel
def fit_row(sums: Sums, row: int, picks: Indices, weights: Row, basis: Image, fit: Image) -> None:
    """Fit the basis, whose columns are orthogonal, to the phase steps of a row; `fit` has shape (terms, width)."""
    steps, terms = basis.shape
    fit[:] = 0.0
    for k in range(steps):
        codes = sums[picks[k], row]
        for j in range(terms):
            # A constant has the length of all steps, a sinusoid that of half of them.
            add_scaled(codes, weights[k] * basis[k, j] / np.float32(steps if j == 0 else 0.5 * steps), fit[j])


@kernel
def add_scaled(codes: NDArray[np.uint16], factor: np.float32, total: Row) -> None:
    """Add a row of codes times a factor."""
    for col in range(total.size):
        total[col] += np.float32(codes[col]) * factor


@kernel
def noise_rows(sums: Sums, picks: Indices, weights: Row, basis: Image, variance: Image) -> None:
    """What the fit leaves over of the phase steps, as a variance of one."""
    steps, terms = basis.shape
    width = sums.shape[2]
    fit = np.empty((terms, width), dtype=np.float32)
    rest = np.empty(width, dtype=np.float32)
    share = np.float32(1.0 / (steps - terms))
    for row in range(len(variance)):
        fit_row(sums, row, picks, weights, basis, fit)
        total = variance[row]
        total[:] = 0.0
        for k in range(steps):
            set_scaled(sums[picks[k], row], weights[k], rest)
            for j in range(terms):
                take_off(fit[j], basis[k, j], rest)
            add_square(rest, share, total)


@kernel
def set_scaled(codes: NDArray[np.uint16], factor: np.float32, out: Row) -> None:
    """A row of codes times a factor."""
    for col in range(out.size):
        out[col] = np.float32(codes[col]) * factor


@kernel
def take_off(part: Row, factor: np.float32, rest: Row) -> None:
    """Take a multiple of one row off another."""
    for col in range(rest.size):
        rest[col] -= part[col] * factor


@kernel
def add_square(rest: Row, factor: np.float32, total: Row) -> None:
    """Add the squares of a row."""
    for col in range(total.size):
        total[col] += rest[col] * rest[col] * factor


@kernel
def locate_rows(
    sums: Sums,
    fringes: Indices,
    fringe_weights: Row,
    basis: Image,
    codes: Indices,
    code_weights: Row,
    bits: Indices,
    waves: Image,
    variance: Image,
    wanted: Mask,
    period_px: float,
    bit_count: int,
    length_px: int,
    position: Image,
    sigma: Image,
    amplitude: Image,
) -> None:
    """Number the period of every pixel by the signs of its code holds, and give position and uncertainty.

    A bit is the sign of the fringe in its holds. Where that sign does not stand out of the pixel's own noise, the
    pixel asks its neighbours, whose scores point the same way because each is taken relative to its own phase.
    The boundary of the code next to the position found may say what it likes: phase knows better there.
    `amplitude` becomes the fringe's by the phase steps alone.
    """
    rows, width = variance.shape
    steps, terms = basis.shape
    half = np.float32(0.5 * period_px)
    fit = np.empty((_RING, terms, width), dtype=np.float32)
    score = np.empty((_RING, bit_count, width), dtype=np.float32)
    power = np.empty((_RING, width), dtype=np.float32)
    around = np.empty((bit_count + 1, width), dtype=np.float32)
    turns, sd, own_x, x = np.empty((4, width), dtype=np.float32)
    own_free, free, gray = np.empty((3, width), dtype=np.int32)
    refined = np.empty((3, width), dtype=np.float32)
    weight = period_px / (2.0 * np.pi) * np.sqrt(2.0 / (steps + codes.size - 2))
    ahead = 0
    for row in range(rows):
        while ahead < min(row + _NEIGHBOURS + 1, rows):
            slot = ahead % _RING
            fit_row(sums, ahead, fringes, fringe_weights, basis, fit[slot])
            score_row(sums, ahead, codes, code_weights, bits, waves, fit[slot], score[slot], power[slot])
            ahead += 1
        slot = row % _RING
        amplitude[row] = np.sqrt(power[slot])
        if not wanted[row].any():
            continue
        for col in range(width):
            sd[col] = np.sqrt(variance[row, col])
            lit = wanted[row, col] and power[slot, col] >= variance[row, col]
            turns[col] = np.arctan2(fit[slot, 2, col], fit[slot, 1, col]) / _TURN if lit else np.float32(np.nan)
        number_row(score[slot], power[slot], sd, turns, np.float32(4.0), half, own_x, own_free)
        add_around(score, power, max(row - _NEIGHBOURS, 0), min(row + _NEIGHBOURS + 1, rows), around)
        keep_clear(score[slot], power[slot], sd, np.float32(4.0), around)
        number_row(around[:bit_count], around[bit_count], sd, turns, np.float32(3.0), half, x, free)
        choose(own_x, own_free, half, x, free, gray)
        if not free.any():
            continue
        refine_row(sums, row, codes, code_weights, bits, waves, fit[slot], gray, free, steps, refined)
        for col in range(width):
            if free[col] == 0:
                continue
            c, s, rest = refined[0, col], refined[1, col], refined[2, col]
            light = np.sqrt(c * c + s * s)
            if rest > _MIXED * variance[row, col] + (_UNEVEN * light) ** 2 or light < _FAINTEST * sd[col]:
                continue
            turn = np.arctan2(s, c) / (2.0 * np.pi)
            exact = period_px * (np.floor(x[col] / period_px - turn + 0.5) + turn)
            if -0.5 <= exact <= length_px - 0.5:
                position[row, col] = exact
                # Phase of a sinusoid from N steps: sigma = sqrt(2/N) noise/amplitude.
                sigma[row, col] = weight * sd[col] / light


@kernel
def choose(
    own_x: Row, own_free: NDArray[np.int32], half: np.float32, x: Row, free: NDArray[np.int32], gray: NDArray[np.int32]
) -> None:
    """Put each pixel's own place, where that is clear, for the one by its neighbours; `gray` becomes the code there."""
    for col in range(x.size):
        x[col] = own_x[col] if own_free[col] != 0 else x[col]
        free[col] = own_free[col] if own_free[col] != 0 else free[col]
        cell = np.int32(np.floor(x[col] / half))
        gray[col] = cell ^ (cell >> np.int32(1))


@kernel
def score_row(
    sums: Sums,
    row: int,
    codes: Indices,
    weights: Row,
    bits: Indices,
    waves: Image,
    fit: Image,
    score: Image,
    power: Row,
) -> None:
    """Score of each bit in a row, shape (bits, width), as a multiple of the amplitude, and its square."""
    for col in range(power.size):
        power[col] = fit[1, col] * fit[1, col] + fit[2, col] * fit[2, col]
    score[:] = 0.0
    for k in range(codes.size):
        add_score(sums[codes[k], row], weights[k], waves[k, 0], waves[k, 1], fit[0], fit[1], fit[2], score[bits[k]])


@kernel
def add_score(
    codes: NDArray[np.uint16],
    weight: np.float32,
    wave_c: np.float32,
    wave_s: np.float32,
    mean: Row,
    c: Row,
    s: Row,
    score: Row,
) -> None:
    """Add what a hold of the code says, taken relative to each pixel's own phase."""
    for col in range(score.size):
        score[col] += (np.float32(codes[col]) * weight - mean[col]) * (c[col] * wave_c + s[col] * wave_s)


@kernel
def number_row(
    score: Image, power: Row, sd: Row, turns: Row, sure: np.float32, half: np.float32, x: Row, free: NDArray[np.int32]
) -> None:
    """Position of each pixel of a row by the signs of its scores: that of its phase nearest to the coded cell.

    `free` becomes the one bit (1, 2, 4 ...) that changes at the boundary of cells next to x, which phase knows better
    than the code; 0 where another bit does not stand out of the noise, and where `turns`, the phase, is NaN.
    """
    code, unclear = np.zeros((2, x.size), dtype=np.int32)
    limit = np.empty(x.size, dtype=np.float32)
    for col in range(x.size):
        limit[col] = sure * sd[col] * np.sqrt(power[col])
    for b in range(len(score)):
        add_bit(score[b], limit, np.int32(1 << b), code, unclear)
    for col in range(x.size):
        cell = code[col]
        for shift in (1, 2, 4, 8, 16):  # from Gray code to number
            cell ^= cell >> np.int32(shift)
        period = np.floor(np.float32(0.5) * np.float32(cell) + np.float32(0.75) - turns[col])
        x[col] = np.float32(2.0) * half * (period + turns[col])
        boundary = np.int32(np.floor(x[col] / half + np.float32(0.5)))
        lowest = boundary & -boundary if boundary > 0 else np.int32(1)
        free[col] = lowest if (unclear[col] & ~lowest) == 0 and turns[col] == turns[col] else np.int32(0)


@kernel
def add_bit(score: Row, limit: Row, bit: np.int32, code: NDArray[np.int32], unclear: NDArray[np.int32]) -> None:
    """Take a bit by the sign of its score, and note whether it is clear."""
    for col in range(score.size):
        code[col] |= bit if score[col] < np.float32(0.0) else np.int32(0)
        unclear[col] |= bit if abs(score[col]) < limit[col] else np.int32(0)


@kernel
def add_around(score: NDArray[np.float32], power: Image, first: int, last: int, around: Image) -> None:
    """Sum the scores, and after them their squared amplitudes, over the neighbours of each pixel of a row."""
    width = power.shape[1]
    high = np.empty(width + 2 * _NEIGHBOURS, dtype=np.float32)
    for b in range(len(around)):
        high[:] = 0.0
        inner = high[_NEIGHBOURS : width + _NEIGHBOURS]
        for row in range(first, last):
            slot = row % _RING
            add_row(power[slot] if b == score.shape[1] else score[slot, b], inner)
        around[b] = 0.0
        for shift in range(_RING):
            add_row(high[shift : shift + width], around[b])


@kernel
def add_row(part: Row, total: Row) -> None:
    """Add one row to another."""
    for col in range(total.size):
        total[col] += part[col]


@kernel
def keep_clear(score: Image, power: Row, sd: Row, sure: np.float32, around: Image) -> None:
    """Put back the pixels' own scores for the bits that are clear without the neighbours, on the scale of all."""
    for b in range(len(score)):
        for col in range(power.size):
            clear = abs(score[b, col]) >= sure * sd[col] * np.sqrt(power[col])
            own = score[b, col] * np.sqrt(around[len(score), col] / power[col])
            around[b, col] = own if clear else around[b, col]


@kernel
def refine_row(
    sums: Sums,
    row: int,
    codes: Indices,
    weights: Row,
    bits: Indices,
    waves: Image,
    fit: Image,
    gray: NDArray[np.int32],
    free: NDArray[np.int32],
    steps: int,
    refined: Image,
) -> None:
    """Take the code's holds as further phase steps; `refined` becomes cosine part, sine part and mean square left over.

    Where a bit is set the fringe is half a turn off. What the harmonics found so far foretell is compared with
    what is seen; the difference corrects the first harmonic. A pixel that sees two surfaces at once finds
    the code of neither, and leaves much over.
    """
    width, harmonics = gray.size, waves.shape[1] // 2
    odd, even = np.empty(width, dtype=np.float32), np.empty(width, dtype=np.float32)
    missed = np.zeros((3, width), dtype=np.float32)
    # The matrix of all holds; those of the bit that is free come off again.
    whole = np.zeros(4, dtype=np.float32)
    apart = np.zeros((_MOST_BITS, 4), dtype=np.float32)
    for k in range(codes.size):
        terms = (waves[k, 0] * waves[k, 0], waves[k, 0] * waves[k, 1], waves[k, 1] * waves[k, 1], np.float32(1.0))
        for j in range(4):
            whole[j] += terms[j]
            apart[bits[k], j] += terms[j]
        odd[:] = 0.0
        even[:] = fit[0]
        for h in range(harmonics):
            # Half a turn turns the sign of the odd harmonics.
            part = odd if h % 2 == 0 else even
            add_wave(fit[2 * h + 1], fit[2 * h + 2], waves[k, 2 * h], waves[k, 2 * h + 1], part)
        add_miss(
            sums[codes[k], row],
            weights[k],
            waves[k, 0],
            waves[k, 1],
            np.int32(1 << bits[k]),
            gray,
            free,
            odd,
            even,
            missed[0],
            missed[1],
            missed[2],
        )
    # The phase steps before count as well: they agree with the fit, so they only add to the matrix.
    whole[0] += 0.5 * steps
    whole[2] += 0.5 * steps
    matrix = np.empty((4, width), dtype=np.float32)
    for j in range(4):
        matrix[j] = whole[j]
        for bit in range(_MOST_BITS):
            if apart[bit, j] != 0.0:
                take_bit(free, np.int32(1 << bit), apart[bit, j], matrix[j])
    solve(matrix, missed, fit[1], fit[2], refined)


@kernel
def take_bit(free: NDArray[np.int32], bit: np.int32, part: np.float32, total: Row) -> None:
    """Take the part of a bit's holds off where that bit is free."""
    for col in range(total.size):
        total[col] -= part if free[col] == bit else np.float32(0.0)


@kernel
def solve(matrix: Image, missed: Image, fit_c: Row, fit_s: Row, refined: Image) -> None:
    """Correct the fit by what was missed: two equations for each pixel of a row."""
    for col in range(fit_c.size):
        cc, cs, ss = matrix[0, col], matrix[1, col], matrix[2, col]
        det = cc * ss - cs * cs
        refined[0, col] = fit_c[col] + (ss * missed[0, col] - cs * missed[1, col]) / det
        refined[1, col] = fit_s[col] + (cc * missed[1, col] - cs * missed[0, col]) / det
        refined[2, col] = missed[2, col] / max(matrix[3, col], np.float32(1.0))


@kernel
def add_wave(c: Row, s: Row, wave_c: np.float32, wave_s: np.float32, total: Row) -> None:
    """Add a harmonic at the phase of a hold."""
    for col in range(total.size):
        total[col] += c[col] * wave_c + s[col] * wave_s


@kernel
def add_miss(
    codes: NDArray[np.uint16],
    weight: np.float32,
    wave_c: np.float32,
    wave_s: np.float32,
    bit: np.int32,
    gray: NDArray[np.int32],
    free: NDArray[np.int32],
    odd: Row,
    even: Row,
    side_c: Row,
    side_s: Row,
    rest: Row,
) -> None:
    """Add how far a hold of the code is from what the fit foretells."""
    for col in range(rest.size):
        sign = np.float32(-1.0) if gray[col] & bit else np.float32(1.0)
        off = np.float32(codes[col]) * weight - even[col] - sign * odd[col]
        off = off if free[col] != bit else np.float32(0.0)
        side_c[col] += sign * off * wave_c
        side_s[col] += sign * off * wave_s
        rest[col] += off * off
