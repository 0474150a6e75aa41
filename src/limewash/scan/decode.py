"""From averaged pictures to the projector position that each camera pixel sees, with its uncertainty.

Nothing here compares a grey level with a fixed threshold: a pixel counts as lit when its fringe stands out of
its own noise, which is what a sinusoid fitted to all phase steps leaves over.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.clip import Takes
from limewash.scan.pattern import PatternPlan

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Sums = NDArray[np.uint16]
Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


_HARMONICS = 3
_MIXED = 8.0  # times its noise, by which the code's holds of a pixel may miss what its fringe foretells
_UNEVEN = 0.25  # and the share of its amplitude
_FAINTEST = 0.8  # amplitude in units of noise; the code tells such a pixel all the same, by its neighbours
_ALONG, _ACROSS = 4, 1  # how far faint pixels are pooled, along the fringes and across them [camera px]
_FAINT_ROWS = 96  # at a time, to spare memory
_OBJECTION = 3.5  # standard deviations by which a pixel's own fringe may be off the mean of its surroundings
_NEIGHBOURS = 2  # how far a pixel asks around when its own bits are not clear [camera px]


@dataclass(frozen=True)
class Decoded:
    """What each camera pixel sees; arrays have shape (camera height, camera width).

    Attributes
    ----------
    x, y : ndarray of float32
        Projector position; NaN where none could be told. [px]
    sigma_x, sigma_y : ndarray of float32
        Its standard deviation from noise. [px]
    amplitude : ndarray of float32
        Half the difference between crest and trough of the fringes: light that came straight from the
        projector. [codes]
    noise : ndarray of float32
        Standard deviation of one averaged picture. [codes]
    """

    x: Image
    y: Image
    sigma_x: Image
    sigma_y: Image
    amplitude: Image
    noise: Image


def decode_takes(takes: Takes) -> Decoded:
    """Decode the averaged holds of a clip, see `Decoded`."""
    weights = 1.0 / (np.maximum(takes.counts, 1) * takes.gains)
    return decode_stack(takes.sums, weights, takes.plan)


def decode_stack(sums: NDArray[np.uint16], weights: NDArray[np.float64], plan: PatternPlan) -> Decoded:
    """Decode pictures of the body's holds.

    Parameters
    ----------
    sums : ndarray of uint16, shape (holds, height, width)
        A picture per hold of `plan.body`, in any linear scale.
    weights : ndarray of shape (holds,)
        What to multiply each with to bring them to a common scale. [codes per unit]
    plan : PatternPlan
        What was shown.
    """
    decoded, fits = _decode_rows(sums, weights, plan, np.ones(sums.shape[1:], dtype=np.bool_))
    _decode_faint(sums, weights, plan, decoded, fits)
    return decoded


def _decode_rows(sums: Sums, weights: Floats, plan: PatternPlan, wanted: Mask) -> tuple[Decoded, tuple[Image, Image]]:
    """Decode the wanted pixels, each by itself; gives the fits of the fringes of both axes as well."""
    fits = [_fit_fringe(sums, weights, plan, which, wanted) for which in (0, 1)]
    variance = _shared_noise([noise for _, noise in fits], wanted)
    (x, sigma_x), (y, sigma_y) = (
        _locate(sums, weights, plan, which, fits[which][0], variance, wanted) for which in (0, 1)
    )
    amplitude = np.sqrt(np.hypot(*fits[0][0][1:3]) * np.hypot(*fits[1][0][1:3]))
    return Decoded(x, y, sigma_x, sigma_y, amplitude, np.sqrt(variance)), (fits[0][0], fits[1][0])


def _decode_faint(sums: Sums, weights: Floats, plan: PatternPlan, decoded: Decoded, fits: tuple[Image, Image]) -> None:
    """Decode what said nothing by itself from the mean of its surroundings, where its own fringe does not object.

    Dark roofs at grazing light and lawns far off return less than their noise, but their neighbours share their
    surface. Glass beside bright trim has bright neighbours too, but no fringe of its own: it objects.
    """
    height, width = decoded.x.shape
    steps = np.array([axis.steps for axis in plan.axes])
    for first in range(0, height, _FAINT_ROWS):
        last = min(first + _FAINT_ROWS, height)
        left = ~(np.isfinite(decoded.x[first:last]) & np.isfinite(decoded.y[first:last]))
        if not left.any():
            continue
        start, stop = max(first - _ALONG, 0), min(last + _ALONG, height)
        wanted = np.zeros((stop - start, width), dtype=np.bool_)
        rows = slice(first - start, last - start)
        wanted[rows] = left
        mean, mean_fits = _decode_rows(_pooled(sums[:, start:stop], plan), weights, plan, wanted)
        for own, fit, count in zip(fits, mean_fits, steps, strict=True):
            off = np.hypot(*(own[1:3, first:last] - fit[1:3, rows]))
            # Either part of a sinusoid through N steps has sqrt(2/N) times the noise of one.
            left &= off < _OBJECTION * np.sqrt(2.0 / count) * decoded.noise[first:last]
        for name in ("x", "y", "sigma_x", "sigma_y"):
            np.copyto(getattr(decoded, name)[first:last], getattr(mean, name)[rows], where=left)


def _pooled(sums: Sums, plan: PatternPlan) -> Sums:
    """Means over oblongs that lie along the fringes, where phase changes least."""
    along, across = 2 * _ALONG + 1, 2 * _ACROSS + 1
    sides = [(across, along) if hold.axis == 0 else (along, across) for hold in plan.body]
    return np.stack([cv2.boxFilter(picture, -1, side) for picture, side in zip(sums, sides, strict=True)])


def _fit_fringe(sums: Sums, weights: Floats, plan: PatternPlan, which: int, wanted: Mask) -> tuple[Image, Image]:
    """Mean and harmonics of the phase steps of one axis, (1 + 2 harmonics, height, width), and what they leave over."""
    picks = np.array([n for n, hold in enumerate(plan.body) if hold.kind == "fringe" and hold.axis == which])
    phase = np.array([plan.body[n].phase_rad for n in picks])
    # A curved response (player, projector, phone) makes harmonics of a sinusoid: those are no noise.
    harmonics = min(_HARMONICS, (len(picks) - 2) // 2)
    columns = [wave(h * phase) for h in range(1, harmonics + 1) for wave in (np.cos, np.sin)]
    basis = np.column_stack([np.ones(len(picks)), *columns])
    fit = np.zeros((basis.shape[1], *sums.shape[1:]), dtype=np.float32)
    variance = np.zeros(sums.shape[1:], dtype=np.float32)
    in_bands(
        sums.shape[1],
        lambda first, last: fit_rows(sums, picks, weights[picks], basis, wanted, first, last, fit, variance),
    )
    return fit, variance


def _shared_noise(variances: list[Image], wanted: Mask) -> Image:
    """Noise of a pixel and its near surroundings, never below that of rounding to whole codes."""
    total = cv2.boxFilter(np.mean(variances, axis=0, dtype=np.float32), -1, (5, 5))
    share = cv2.boxFilter(wanted.astype(np.float32), -1, (5, 5))
    return np.maximum(total / np.maximum(share, np.float32(1e-3)), np.float32(1.0 / 12.0 / 4.0))


def _locate(
    sums: Sums, weights: Floats, plan: PatternPlan, which: int, fit: Image, variance: Image, wanted: Mask
) -> tuple[Image, Image]:
    axis = plan.axes[which]
    holds = [(n, hold) for n, hold in enumerate(plan.body) if hold.kind == "code" and hold.axis == which]
    picks = np.array([n for n, _ in holds])
    bits = np.array([hold.bit for _, hold in holds])
    phase = np.array([hold.phase_rad for _, hold in holds])
    x, sigma = (np.full(sums.shape[1:], np.nan, dtype=np.float32) for _ in range(2))
    harmonics = range(1, (len(fit) + 1) // 2)
    waves = np.column_stack([wave(h * phase) for h in harmonics for wave in (np.cos, np.sin)])
    code = (picks, weights[picks], bits, waves)
    in_bands(
        sums.shape[1],
        lambda first, last: locate_rows(
            sums,
            *code,
            fit,
            variance,
            wanted,
            axis.period_px,
            axis.steps,
            axis.bits,
            axis.length_px,
            first,
            last,
            x,
            sigma,
        ),
    )
    return x, sigma


def in_bands(rows: int, work: Callable[[int, int], None]) -> None:
    """Run `work(first_row, last_row)` over all rows, in threads: the kernels do not hold the lock."""
    threads = os.cpu_count() or 1
    edges = np.linspace(0, rows, 4 * threads + 1).astype(int)
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, edges[:-1].tolist(), edges[1:].tolist()))


@kernel
def fit_rows(
    sums: Sums,
    picks: Indices,
    weights: Floats,
    basis: Floats,
    wanted: Mask,
    first: int,
    last: int,
    fit: Image,
    variance: Image,
) -> None:
    """Fit the basis, whose columns are orthogonal, to the phase steps of every pixel; the rest is noise."""
    steps, terms = basis.shape
    value = np.empty(steps)
    for row in range(first, last):
        for col in range(sums.shape[2]):
            if not wanted[row, col]:
                continue
            rest = 0.0
            for k in range(steps):
                value[k] = sums[picks[k], row, col] * weights[k]
                rest += value[k] * value[k]
            for j in range(terms):
                total = 0.0
                for k in range(steps):
                    total += value[k] * basis[k, j]
                length = steps if j == 0 else 0.5 * steps
                rest -= total * total / length
                fit[j, row, col] = total / length
            variance[row, col] = max(rest, 0.0) / (steps - terms)


@kernel
def locate_rows(
    sums: Sums,
    picks: Indices,
    weights: Floats,
    bits: Indices,
    waves: Floats,
    fit: Image,
    variance: Image,
    wanted: Mask,
    period_px: float,
    steps: int,
    bit_count: int,
    length_px: int,
    first: int,
    last: int,
    position: Image,
    sigma: Image,
) -> None:
    """Number the period of every pixel by the signs of its code holds, and give position and uncertainty.

    A bit is the sign of the fringe in its holds. Where that sign does not stand out of the pixel's own noise, the
    pixel asks its neighbours, whose scores point the same way because each is taken relative to its own phase.
    The boundary of the code next to the position found may say what it likes: phase knows better there.
    """
    rows, width = variance.shape
    score = np.empty(bit_count)
    refined = np.empty(3)
    half = 0.5 * period_px
    for row in range(first, last):
        for col in range(width):
            if not wanted[row, col]:
                continue
            sd = np.sqrt(variance[row, col])
            c, s = fit[1, row, col], fit[2, row, col]
            if c * c + s * s < sd * sd:
                continue
            for b in range(bit_count):
                score[b] = 0.0
            add_scores(sums, picks, weights, bits, waves, fit, row, row + 1, col, col + 1, 1e9, score)
            x = place(score, np.arctan2(s, c), half, bit_count)
            if not decided(score, x, 4.0 * sd, half, bit_count):
                r0, r1 = max(row - _NEIGHBOURS, 0), min(row + _NEIGHBOURS + 1, rows)
                c0, c1 = max(col - _NEIGHBOURS, 0), min(col + _NEIGHBOURS + 1, width)
                add_scores(sums, picks, weights, bits, waves, fit, r0, r1, c0, c1, 4.0 * sd, score)
                x = place(score, np.arctan2(s, c), half, bit_count)
                if not decided(score, x, 3.0 * sd, half, bit_count):
                    continue
            refine(sums, picks, weights, bits, waves, fit, row, col, steps, x, half, refined)
            c, s, rest = refined[0], refined[1], refined[2]
            light = np.sqrt(c * c + s * s)
            if rest > _MIXED * variance[row, col] + (_UNEVEN * light) ** 2 or light < _FAINTEST * sd:
                continue
            turns = np.arctan2(s, c) / (2.0 * np.pi)
            x = period_px * (np.floor(x / period_px - turns + 0.5) + turns)
            if -0.5 <= x <= length_px - 0.5:
                position[row, col] = x
                # Phase of a sinusoid from N steps: sigma = sqrt(2/N) noise/amplitude.
                sigma[row, col] = period_px / (2.0 * np.pi) * np.sqrt(2.0 / (steps + picks.size - 2)) * sd / light


@kernel
def refine(
    sums: Sums,
    picks: Indices,
    weights: Floats,
    bits: Indices,
    waves: Floats,
    fit: Image,
    row: int,
    col: int,
    steps: int,
    x: float,
    half: float,
    refined: Floats,
) -> None:
    """Take the code's holds as further phase steps; `refined` becomes cosine part, sine part and mean square left over.

    Where a bit is set the fringe is half a turn off. What the harmonics found so far foretell is compared with
    what is seen; the difference corrects the first harmonic. A pixel that sees two surfaces at once finds
    the code of neither, and leaves much over.
    """
    cell = int(np.floor(x / half))
    gray, free = cell ^ (cell >> 1), boundary_bit(x, half)
    cc = cs = ss = rc = rs = rest = 0.0
    count = 0
    for k in range(picks.size):
        if bits[k] == free:
            continue
        # Half a turn turns the sign of the odd harmonics.
        sign = -1.0 if (gray >> bits[k]) & 1 else 1.0
        foretold, odd = fit[0, row, col], sign
        for j in range(0, fit.shape[0] - 1, 2):
            foretold += odd * (fit[j + 1, row, col] * waves[k, j] + fit[j + 2, row, col] * waves[k, j + 1])
            odd *= sign  # sign, 1, sign, ...
        off = sums[picks[k], row, col] * weights[k] - foretold
        wave_c, wave_s = sign * waves[k, 0], sign * waves[k, 1]
        cc += wave_c * wave_c
        cs += wave_c * wave_s
        ss += wave_s * wave_s
        rc += off * wave_c
        rs += off * wave_s
        rest += off * off
        count += 1
    # The phase steps before count as well: they agree with the fit, so they only add to the matrix.
    cc += 0.5 * steps
    ss += 0.5 * steps
    det = cc * ss - cs * cs
    refined[0] = fit[1, row, col] + (ss * rc - cs * rs) / det
    refined[1] = fit[2, row, col] + (cc * rs - cs * rc) / det
    refined[2] = rest / max(count, 1)


@kernel
def add_scores(
    sums: Sums,
    picks: Indices,
    weights: Floats,
    bits: Indices,
    waves: Floats,
    fit: Image,
    r0: int,
    r1: int,
    c0: int,
    c1: int,
    sure: float,
    score: Floats,
) -> None:
    """Score of each bit over a few pixels, scaled to the noise of one; scores that are `sure` already stay."""
    power = 1e-9
    for r in range(r0, r1):
        for c in range(c0, c1):
            power += fit[1, r, c] ** 2 + fit[2, r, c] ** 2
    for b in range(score.size):
        if abs(score[b]) >= sure:
            continue
        total = 0.0
        for k in range(picks.size):
            if bits[k] == b:
                for r in range(r0, r1):
                    for c in range(c0, c1):
                        wave = fit[1, r, c] * waves[k, 0] + fit[2, r, c] * waves[k, 1]
                        total += (sums[picks[k], r, c] * weights[k] - fit[0, r, c]) * wave
        score[b] = total / np.sqrt(power)


@kernel
def place(score: Floats, phase: float, half: float, bit_count: int) -> float:
    """Position from the signs of the scores and the phase: the one of that phase nearest to the coded cell."""
    cell = 0
    higher = 0
    for b in range(bit_count - 1, -1, -1):
        higher ^= 1 if score[b] < 0.0 else 0
        cell |= higher << b
    turns = phase / (2.0 * np.pi)
    period = np.floor(0.5 * (cell + 0.5) - turns + 0.5)
    return float(2.0 * half * (period + turns))


@kernel
def decided(score: Floats, x: float, sure: float, half: float, bit_count: int) -> bool:
    """Whether all bits are clear but the one whose boundary lies next to x."""
    free = boundary_bit(x, half)
    unclear = 0
    for b in range(bit_count):
        unclear += b != free and abs(score[b]) < sure
    return unclear == 0


@kernel
def boundary_bit(x: float, half: float) -> int:
    """The one bit that changes at the boundary of cells next to x."""
    boundary = int(np.floor(x / half + 0.5))
    bit = 0
    while boundary > 0 and (boundary >> bit) & 1 == 0:
        bit += 1
    return bit
