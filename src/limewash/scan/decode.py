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
Sums = NDArray[np.uint16]
Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


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
    fits = [_fit_fringe(sums, weights, plan, which) for which in (0, 1)]
    variance = _pooled_noise([fit.variance for fit in fits])
    positions, sigmas = [], []
    for which, fit in enumerate(fits):
        x, sigma = _locate(sums, weights, plan, which, fit, variance)
        positions.append(x)
        sigmas.append(sigma)
    amplitude = np.sqrt(fits[0].amplitude * fits[1].amplitude)
    return Decoded(positions[0], positions[1], sigmas[0], sigmas[1], amplitude, np.sqrt(variance))


@dataclass(frozen=True)
class _Fit:
    """Sinusoid fitted to the phase steps of one axis, per camera pixel."""

    phase: Image
    amplitude: Image
    mean: Image
    variance: Image


def _fit_fringe(sums: NDArray[np.uint16], weights: NDArray[np.float64], plan: PatternPlan, which: int) -> _Fit:
    index = [n for n, hold in enumerate(plan.body) if hold.kind == "fringe" and hold.axis == which]
    phase = np.array([plan.body[n].phase_rad for n in index])
    waves = np.column_stack([np.cos(phase), np.sin(phase), np.cos(2.0 * phase), np.sin(2.0 * phase)])
    fit = _Fit(*(np.empty(sums.shape[1:], dtype=np.float32) for _ in range(4)))
    picks = np.array(index)
    in_bands(
        sums.shape[1],
        lambda first, last: fit_rows(
            sums, picks, weights[picks], waves, first, last, fit.phase, fit.amplitude, fit.mean, fit.variance
        ),
    )
    return fit


def _pooled_noise(variances: list[Image]) -> Image:
    """Noise of a pixel and its near surroundings, never below that of rounding to whole codes."""
    pooled = cv2.boxFilter(np.mean(variances, axis=0, dtype=np.float32), -1, (5, 5))
    return np.maximum(pooled, np.float32(1.0 / 12.0 / 4.0))


def _locate(
    sums: NDArray[np.uint16],
    weights: NDArray[np.float64],
    plan: PatternPlan,
    which: int,
    fit: _Fit,
    variance: Image,
) -> tuple[Image, Image]:
    axis = plan.axes[which]
    holds = [(n, hold) for n, hold in enumerate(plan.body) if hold.kind == "code" and hold.axis == which]
    picks = np.array([n for n, _ in holds])
    bits = np.array([hold.bit for _, hold in holds])
    carrier = np.array([hold.phase_rad for _, hold in holds])
    x = np.empty(sums.shape[1:], dtype=np.float32)
    in_bands(
        sums.shape[1],
        lambda first, last: locate_rows(
            sums, picks, weights[picks], bits, carrier, fit.phase, fit.amplitude, fit.mean, variance,
            axis.period_px, axis.bits, axis.length_px, first, last, x,
        ),
    )  # fmt: skip
    # Phase of a sinusoid from N equal steps: sigma = sqrt(2/N) noise/amplitude.
    scale = axis.period_px / (2.0 * np.pi) * np.sqrt(2.0 / axis.steps)
    sigma = scale * np.sqrt(variance) / np.maximum(fit.amplitude, 1e-6)
    return x, sigma.astype(np.float32)


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
    waves: Floats,
    first: int,
    last: int,
    phase: Image,
    amplitude: Image,
    mean: Image,
    variance: Image,
) -> None:
    """Fit mean, first and second harmonic to the phase steps of every pixel; the rest is noise.

    `waves` has, for every step, cosine and sine of its phase and of twice its phase.

    The second harmonic is what a curved response (player, projector, phone) makes of a sinusoid. It does not
    bend the phase when there are five steps or more, and is no noise.
    """
    steps, width = picks.size, sums.shape[2]
    second = 1.0 if steps > 5 else 0.0
    free = steps - 3 - 2 * second
    value = np.empty(steps)
    for row in range(first, last):
        for col in range(width):
            m = c = s = c2 = s2 = 0.0
            for k in range(steps):
                v = sums[picks[k], row, col] * weights[k]
                value[k] = v
                m += v
                c += v * waves[k, 0]
                s += v * waves[k, 1]
                c2 += v * waves[k, 2]
                s2 += v * waves[k, 3]
            m, c, s = m / steps, 2.0 * c / steps, 2.0 * s / steps
            c2, s2 = second * 2.0 * c2 / steps, second * 2.0 * s2 / steps
            rest = 0.0
            for k in range(steps):
                d = value[k] - m - c * waves[k, 0] - s * waves[k, 1] - c2 * waves[k, 2] - s2 * waves[k, 3]
                rest += d * d
            phase[row, col] = np.arctan2(s, c)
            amplitude[row, col] = np.sqrt(c * c + s * s)
            mean[row, col] = m
            variance[row, col] = rest / free


@kernel
def locate_rows(
    sums: Sums,
    picks: Indices,
    weights: Floats,
    bits: Indices,
    carrier: Floats,
    phase: Image,
    amplitude: Image,
    mean: Image,
    variance: Image,
    period_px: float,
    bit_count: int,
    length_px: int,
    first: int,
    last: int,
    position: Image,
) -> None:
    """Number the period of every pixel by the signs of its code holds, and give the position.

    A bit is the sign of the fringe in its holds. Where that sign does not stand out of the pixel's own noise, the
    pixel asks its neighbours, whose scores point the same way because each is taken relative to its own phase.
    The boundary of the code next to the position found may say what it likes: phase knows better there.
    """
    rows, width = phase.shape
    score = np.empty(bit_count)
    wide = np.empty(bit_count)
    half = 0.5 * period_px
    for row in range(first, last):
        for col in range(width):
            position[row, col] = np.nan
            a = amplitude[row, col]
            sd = np.sqrt(variance[row, col])
            if a < 2.0 * sd:
                continue
            for b in range(bit_count):
                score[b] = 0.0
                wide[b] = 0.0
            for k in range(len(picks)):
                angle = phase[row, col] - carrier[k]
                score[bits[k]] += (sums[picks[k], row, col] * weights[k] - mean[row, col]) * np.cos(angle)
            x = place(score, phase[row, col], half, bit_count)
            if not decided(score, x, 4.0 * sd, half, bit_count):
                for r in range(max(row - 1, 0), min(row + 2, rows)):
                    for q in range(max(col - 1, 0), min(col + 2, width)):
                        for k in range(len(picks)):
                            angle = phase[r, q] - carrier[k]
                            wide[bits[k]] += (sums[picks[k], r, q] * weights[k] - mean[r, q]) * np.cos(angle)
                for b in range(bit_count):
                    if abs(score[b]) < 4.0 * sd:
                        score[b] = wide[b] / 3.0  # noise of the sum of nine, brought to that of one
                x = place(score, phase[row, col], half, bit_count)
                if not decided(score, x, 4.0 * sd, half, bit_count):
                    continue
            if -0.5 <= x <= length_px - 0.5:
                position[row, col] = x


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
    boundary = int(np.floor(x / half + 0.5))
    free = 0
    while free < bit_count and boundary > 0 and (boundary >> free) & 1 == 0:
        free += 1
    unclear = 0
    for b in range(bit_count):
        unclear += b != free and abs(score[b]) < sure
    return unclear == 0
