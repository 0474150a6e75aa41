"""Seeded chance and smooth noise: the same numbers on every machine, for any moment, in any order.

Only whole-number arithmetic and float64 sums and products are used, so that the bytes agree everywhere.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Numbers = NDArray[np.float64]

_SPREAD = 2.6  # a spline of random knots lies close to one half: this brings it back to most of 0 to 1


def chance(seed: int, *keys: ArrayLike) -> Numbers:
    """Even random numbers in [0, 1) for whole-number keys, which are broadcast together.

    Parameters
    ----------
    seed : int
        Any whole number; 32 bits of it are used.
    *keys : array_like of int
        The same keys give the same number, always.
    """
    mixed = np.full(np.broadcast_shapes(*(np.shape(k) for k in keys)), seed & 0xFFFFFFFF, dtype=np.uint32)
    with np.errstate(over="ignore"):
        for key in keys:
            word = (np.asarray(key, dtype=np.int64) & 0xFFFFFFFF).astype(np.uint32)
            mixed = _stirred(mixed ^ (word * np.uint32(0x9E3779B1)))
    return mixed / np.float64(2**32)


def waver(seed: int, who: ArrayLike, t_s: float, rate_hz: float) -> Numbers:
    """A slowly wavering value in [0, 1] for each whole number of `who`, about `rate_hz` swings a second."""
    who = np.asarray(who, dtype=np.int64)
    knots, weights = _spline_taps(np.array([2.0 * rate_hz * t_s]))
    total = np.zeros(who.shape)
    for k in range(4):
        total += weights[k, 0] * chance(seed, who, knots[k, 0])
    # One dimension of smoothing takes less of the spread than three.
    return np.asarray(np.clip(0.5 + (total - 0.5) * 1.45, 0.0, 1.0))


def drift(x: ArrayLike, y: ArrayLike, t: float, *, seed: int, octaves: int = 1) -> Numbers:
    """Smooth noise over a grid that changes smoothly in time.

    Parameters
    ----------
    x, y : array_like of shape (nx,) and (ny,)
        Coordinates of the grid's columns and rows, in units of the coarsest lattice. [-]
    t : float
        Time, in units of its lattice. [-]
    octaves : int
        Each further one is twice as fine and half as strong.

    Returns
    -------
    value : ndarray of shape (ny, nx)
        0 to 1, about one half on average: cubic B-splines over random knots, twice differentiable.
    """
    total = np.zeros((np.size(y), np.size(x)))
    strength, whole = 1.0, 0.0
    for octave in range(octaves):
        scale = 2.0**octave
        layer = _spline_noise(np.asarray(x) * scale, np.asarray(y) * scale, t * scale, seed + 101 * octave)
        total += strength * layer
        whole += strength**2
        strength *= 0.5
    return np.asarray(np.clip(0.5 + total * (_SPREAD / np.sqrt(whole)), 0.0, 1.0))


def _spline_noise(x: Numbers, y: Numbers, t: float, seed: int) -> Numbers:
    columns, column_weights = _spline_taps(x)
    rows, row_weights = _spline_taps(y)
    moments, moment_weights = _spline_taps(np.array([t]))
    left, top = int(columns.min()), int(rows.min())
    lattice_x = np.arange(left, int(columns.max()) + 1)
    lattice_y = np.arange(top, int(rows.max()) + 1)[:, None]
    layers = chance(seed, lattice_x, lattice_y, moments[:, :, None]) - 0.5
    lattice = layers[0] * moment_weights[0, 0]
    for k in range(1, 4):
        lattice += layers[k] * moment_weights[k, 0]
    tall = np.zeros((rows.shape[1], lattice_x.size))
    for k in range(4):
        tall += row_weights[k][:, None] * lattice[rows[k] - top]
    out = np.zeros((rows.shape[1], columns.shape[1]))
    for k in range(4):
        out += column_weights[k] * tall[:, columns[k] - left]
    return out


def _spline_taps(at: Numbers) -> tuple[NDArray[np.int64], Numbers]:
    """Knots (4, n) and weights (4, n) of the uniform cubic B-spline at `at` of shape (n,)."""
    base = np.floor(at)
    f = at - base
    g = 1.0 - f
    weights = np.stack(
        [
            g * g * g / 6.0,
            (3.0 * f * f * f - 6.0 * f * f + 4.0) / 6.0,
            (3.0 * g * g * g - 6.0 * g * g + 4.0) / 6.0,
            f * f * f / 6.0,
        ]
    )
    return base.astype(np.int64) + np.arange(-1, 3)[:, None], weights


def _stirred(word: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Bijective mixing of 32 bits: shifts and odd multipliers, so that each bit of input reaches all of output."""
    word = word ^ (word >> np.uint32(16))
    word = word * np.uint32(0x7FEB352D)
    word = word ^ (word >> np.uint32(15))
    word = word * np.uint32(0x846CA68B)
    return word ^ (word >> np.uint32(16))
