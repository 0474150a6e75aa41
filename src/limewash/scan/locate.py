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
_SURE_ALONE, _SURE_TOGETHER = 4.0, 3.0  # standard deviations by which a bit must be clear, without and with neighbours
_LEAST = np.float32(1e-30)
# Of t, t^3, t^5 ... in the arc tangent of t from 0 to 1, in turns: fitted so that the greatest error is the least.
_ATAN = (
    np.float32(0.1591543242046724),
    np.float32(-0.053026237550910627),
    np.float32(0.03152511251029627),
    np.float32(-0.02106150026768207),
    np.float32(0.012672470825437357),
    np.float32(-0.005348253290020315),
    np.float32(0.0010841229394717028),
)


@kernel
def fit_row(sums: Sums, row: int, left: int, picks: Indices, weights: Row, basis: Image, fit: Image) -> None:
    """Fit the basis, whose columns are orthogonal, to the phase steps of a row from a column on.

    `fit` has shape (terms, width).
    """
    steps, terms = basis.shape
    right = left + fit.shape[1]
    fit[:] = 0.0
    for k in range(steps):
        codes = sums[picks[k], row, left:right]
        for j in range(terms):
            # A constant has the length of all steps, a sinusoid that of half of them.
            add_scaled(codes, weights[k] * basis[k, j] / np.float32(steps if j == 0 else 0.5 * steps), fit[j])


@kernel
def add_scaled(codes: NDArray[np.uint16], factor: np.float32, total: Row) -> None:
    """Add a row of codes times a factor."""
    for col in range(total.size):
        total[col] += np.float32(codes[col]) * factor


@kernel
def noise_rows(sums: Sums, top: int, left: int, picks: Indices, weights: Row, basis: Image, variance: Image) -> None:
    """What the fit leaves over of the phase steps, as a variance of one, in a tile from `top` and `left` on."""
    steps, terms = basis.shape
    width = variance.shape[1]
    fit = np.empty((terms, width), dtype=np.float32)
    rest = np.empty(width, dtype=np.float32)
    share = np.float32(1.0 / (steps - terms))
    for row in range(len(variance)):
        fit_row(sums, top + row, left, picks, weights, basis, fit)
        total = variance[row]
        total[:] = 0.0
        for k in range(steps):
            set_scaled(sums[picks[k], top + row, left : left + width], weights[k], rest)
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
    top: int,
    left: int,
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

    What is given has the shape of a tile of the pictures that begins at `top` and `left`.
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
    power, size = np.empty((_RING, width), dtype=np.float32), np.empty((_RING, width), dtype=np.float32)
    around = np.empty((bit_count + 1, width), dtype=np.float32)
    room, whole_room = np.empty((5, width), dtype=np.float32), np.empty((3, width), dtype=np.int32)
    turns, sd, limit, own_x, x = room[0], room[1], room[2], room[3], room[4]
    own_free, free, gray = whole_room[0], whole_room[1], whole_room[2]
    refined = np.empty((3, width), dtype=np.float32)
    weight = np.float32(period_px / (2.0 * np.pi) * np.sqrt(2.0 / (steps + codes.size - 2)))
    ahead = 0
    for row in range(rows):
        while ahead < min(row + _NEIGHBOURS + 1, rows):
            slot = ahead % _RING
            fit_row(sums, top + ahead, left, fringes, fringe_weights, basis, fit[slot])
            score_row(sums, top + ahead, left, codes, code_weights, bits, waves, fit[slot], score[slot], power[slot])
            set_root(power[slot], size[slot])
            ahead += 1
        slot = row % _RING
        amplitude[row] = size[slot]
        if not wanted[row].any():
            continue
        set_root(variance[row], sd)
        set_turns(fit[slot, 1], fit[slot, 2], turns)
        leave_dark_out(wanted[row], size[slot], sd, turns)
        set_product(sd, size[slot], limit)
        number_row(score[slot], limit, np.float32(_SURE_ALONE), turns, half, own_x, own_free)
        add_around(score, power, max(row - _NEIGHBOURS, 0), min(row + _NEIGHBOURS + 1, rows), around)
        keep_clear(score[slot], size[slot], limit, np.float32(_SURE_ALONE), around)
        set_product(sd, around[bit_count], limit)
        number_row(around[:bit_count], limit, np.float32(_SURE_TOGETHER), turns, half, x, free)
        choose(own_x, own_free, half, x, free, gray)
        if not free.any():
            continue
        refine_row(sums, top + row, left, codes, code_weights, bits, waves, fit[slot], gray, free, steps, refined)
        set_turns(refined[0], refined[1], turns)
        place_row(refined, variance[row], sd, free, x, turns, period_px, length_px, weight, position[row], sigma[row])


@kernel
def set_root(part: Row, root: Row) -> None:
    """Square roots of a row."""
    for col in range(part.size):
        root[col] = np.sqrt(part[col])


@kernel
def set_product(a: Row, b: Row, product: Row) -> None:
    """Products of two rows."""
    for col in range(a.size):
        product[col] = a[col] * b[col]


@kernel
def set_turns(c: Row, s: Row, turns: Row) -> None:
    """Angles of a row by their cosine and sine parts, in turns from -0.5 to 0.5, to within 1e-7.

    A polynomial, the best of its degree, instead of the library's function: the processor works on many at once.
    """
    for col in range(c.size):
        across, up = abs(c[col]), abs(s[col])
        low, high = min(across, up), max(across, up)
        t = low / max(high, _LEAST)
        u = t * t
        turn = _ATAN[6]
        turn = turn * u + _ATAN[5]
        turn = turn * u + _ATAN[4]
        turn = turn * u + _ATAN[3]
        turn = turn * u + _ATAN[2]
        turn = turn * u + _ATAN[1]
        turn = (turn * u + _ATAN[0]) * t
        turn = np.float32(0.25) - turn if up > across else turn
        turn = np.float32(0.5) - turn if c[col] < np.float32(0.0) else turn
        turns[col] = -turn if s[col] < np.float32(0.0) else turn


@kernel
def leave_dark_out(wanted: NDArray[np.bool_], size: Row, sd: Row, turns: Row) -> None:
    """Put NaN for the phase of pixels whose fringe is less than their noise."""
    for col in range(size.size):
        turns[col] = turns[col] if wanted[col] & (size[col] >= sd[col]) else np.float32(np.nan)


@kernel
def place_row(
    refined: Image,
    variance: Row,
    sd: Row,
    free: NDArray[np.int32],
    x: Row,
    turns: Row,
    period_px: float,
    length_px: int,
    weight: np.float32,
    position: Row,
    sigma: Row,
) -> None:
    """Position by the refined phase in the period found, and its standard deviation; NaN where holds disagree."""
    uneven, last = np.float32(_UNEVEN * _UNEVEN), length_px - 0.5
    for col in range(x.size):
        c, s, rest = refined[0, col], refined[1, col], refined[2, col]
        power = c * c + s * s
        light = np.sqrt(power)
        exact = period_px * (np.floor(x[col] / period_px - turns[col] + 0.5) + turns[col])
        good = (free[col] != 0) & (rest <= np.float32(_MIXED) * variance[col] + uneven * power)
        good &= (light >= np.float32(_FAINTEST) * sd[col]) & (exact >= -0.5) & (exact <= last)
        position[col] = np.float32(exact) if good else np.float32(np.nan)
        # Phase of a sinusoid from N steps: sigma = sqrt(2/N) noise/amplitude.
        sigma[col] = weight * sd[col] / light if good else np.float32(np.nan)


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
    left: int,
    codes: Indices,
    weights: Row,
    bits: Indices,
    waves: Image,
    fit: Image,
    score: Image,
    power: Row,
) -> None:
    """Score of each bit in a row, shape (bits, width), as a multiple of the amplitude, and its square."""
    right = left + power.size
    for col in range(power.size):
        power[col] = fit[1, col] * fit[1, col] + fit[2, col] * fit[2, col]
    score[:] = 0.0
    for k in range(codes.size):
        seen = sums[codes[k], row, left:right]
        add_score(seen, weights[k], waves[k, 0], waves[k, 1], fit[0], fit[1], fit[2], score[bits[k]])


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
    score: Image, limit: Row, sure: np.float32, turns: Row, half: np.float32, x: Row, free: NDArray[np.int32]
) -> None:
    """Position of each pixel of a row by the signs of its scores: that of its phase nearest to the coded cell.

    `free` becomes the one bit (1, 2, 4 ...) that changes at the boundary of cells next to x, which phase knows better
    than the code; 0 where another bit does not stand out of the noise, `sure` times the `limit` of each pixel, and
    where `turns`, the phase, is NaN.
    """
    code, unclear = np.zeros(x.size, dtype=np.int32), np.zeros(x.size, dtype=np.int32)
    for b in range(len(score)):
        add_bit(score[b], limit, sure, np.int32(1 << b), code, unclear)
    for col in range(x.size):
        cell = code[col]
        cell ^= cell >> np.int32(1)  # from Gray code to number
        cell ^= cell >> np.int32(2)
        cell ^= cell >> np.int32(4)
        cell ^= cell >> np.int32(8)
        cell ^= cell >> np.int32(16)
        known = turns[col] == turns[col]
        turn = turns[col] if known else np.float32(0.0)
        period = np.floor(np.float32(0.5) * np.float32(cell) + np.float32(0.75) - turn)
        x[col] = np.float32(2.0) * half * (period + turn)
        boundary = np.int32(np.floor(np.float32(2.0) * (period + turn) + np.float32(0.5)))
        lowest = boundary & -boundary if boundary > np.int32(0) else np.int32(1)
        free[col] = lowest if ((unclear[col] & ~lowest) == np.int32(0)) & known else np.int32(0)


@kernel
def add_bit(
    score: Row, limit: Row, sure: np.float32, bit: np.int32, code: NDArray[np.int32], unclear: NDArray[np.int32]
) -> None:
    """Take a bit by the sign of its score, and note whether it is clear."""
    for col in range(score.size):
        code[col] |= bit if score[col] < np.float32(0.0) else np.int32(0)
        unclear[col] |= bit if abs(score[col]) < sure * limit[col] else np.int32(0)


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
def keep_clear(score: Image, size: Row, limit: Row, sure: np.float32, around: Image) -> None:
    """Put back the pixels' own scores for the bits that are clear without the neighbours, on the scale of all.

    The squared amplitudes, last in `around`, become amplitudes.
    """
    bits = len(score)
    scale = np.empty(size.size, dtype=np.float32)
    for col in range(size.size):
        around[bits, col] = np.sqrt(around[bits, col])
        scale[col] = around[bits, col] / size[col]
    for b in range(bits):
        keep_bit(score[b], limit, sure, scale, around[b])


@kernel
def keep_bit(score: Row, limit: Row, sure: np.float32, scale: Row, around: Row) -> None:
    """The same of one bit."""
    for col in range(score.size):
        around[col] = score[col] * scale[col] if abs(score[col]) >= sure * limit[col] else around[col]


@kernel
def refine_row(
    sums: Sums,
    row: int,
    left: int,
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
            sums[codes[k], row, left : left + width],
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
