"""From averaged pictures to the projector position that each camera pixel sees, with its uncertainty.

Nothing here compares a grey level with a fixed threshold: a pixel counts as lit when its fringe stands out of
its own noise, which is what a sinusoid fitted to all phase steps leaves over.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.clip import Takes
from limewash.scan.faint import AxisCarriers, follow_faint
from limewash.scan.lit import lit_blocks
from limewash.scan.locate import locate_rows, noise_rows
from limewash.scan.pattern import Axis, Hold, PatternPlan
from limewash.scan.threads import in_bands, in_threads
from limewash.scan.tiles import Tile, tiles_of

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Sums = NDArray[np.uint16]
Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


_HARMONICS = 3
_HALO = 4  # what its pixels ask around: 2 for noise, 2 for the code [camera px]


@dataclass(frozen=True)
class Decoded:
    """What each camera pixel sees.

    Attributes
    ----------
    seen : ndarray of float32, shape (4, camera height, camera width)
        `x`, `y`, the standard deviation of either from noise [px], and `amplitude`.
    noise : ndarray of float32, shape (camera height, camera width)
        Standard deviation of one averaged picture; infinite where the projector's light does not reach. [codes]
    """

    seen: NDArray[np.float32]
    noise: Image

    @property
    def x(self) -> Image:
        """Projector position; NaN where none could be told. [px]"""
        return np.asarray(self.seen[0])

    @property
    def y(self) -> Image:
        """The same downwards. [px]"""
        return np.asarray(self.seen[1])

    @property
    def amplitude(self) -> Image:
        """Half the difference between crest and trough of the fringes: light straight from the projector. [codes]"""
        return np.asarray(self.seen[3])


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
    axes = (AxisHolds.of(plan, weights, 0), AxisHolds.of(plan, weights, 1))
    shape = sums.shape[1:]
    found, noise = np.empty((5, *shape), dtype=np.float32), np.empty(shape, dtype=np.float32)
    in_bands(shape[0], lambda first, last: _put_nothing(found[:, first:last], noise[first:last]))
    tiles = tiles_of(lit_blocks(sums, weights, plan), shape)
    in_threads(lambda tile: _decode_tile(sums, axes, tile, found, noise), tiles)
    follow_faint(sums, (axes[0].carriers(), axes[1].carriers()), noise, found)
    in_bands(shape[0], lambda first, last: _join_sigmas(found, first, last))
    return Decoded(found[:4], noise)


def _put_nothing(found: NDArray[np.float32], noise: Image) -> None:
    """What pixels say that are not looked at."""
    found[:4], found[4], noise[:] = np.nan, 0.0, np.inf


def _join_sigmas(found: NDArray[np.float32], first: int, last: int) -> None:
    """Make one standard deviation of those along x and y in some rows, and close up: in place, to save memory."""
    band = slice(first, last)
    found[2, band] = np.sqrt(np.float32(0.5) * (np.square(found[2, band]) + np.square(found[3, band])))
    found[3, band] = found[4, band]


def _decode_tile(
    sums: Sums, axes: tuple[AxisHolds, AxisHolds], tile: Tile, found: NDArray[np.float32], noise: Image
) -> None:
    """Decode a tile, with as much around it as its pixels ask.

    `found` is as `follow_faint` takes it.
    """
    first, last, start, stop = tile
    height, width = noise.shape
    top, left = max(first - _HALO, 0), max(start - _HALO, 0)
    shape = min(last + _HALO, height) - top, min(stop + _HALO, width) - left
    inner = slice(first - top, last - top), slice(start - left, stop - left)
    wanted = np.zeros(shape, dtype=np.bool_)
    wanted[inner] = True
    variance = _shared_noise([_noise(sums, top, left, shape, axis) for axis in axes])
    (x, sigma_x, light_x), (y, sigma_y, light_y) = (_locate(sums, top, left, axis, variance, wanted) for axis in axes)
    for whole, part in zip(found, (x, y, sigma_x, sigma_y, np.sqrt(light_x * light_y)), strict=True):
        whole[first:last, start:stop] = part[inner]
    noise[first:last, start:stop] = np.sqrt(variance)[inner]


@dataclass(frozen=True)
class AxisHolds:
    """The holds of one axis as the kernels take them: which, their weights, and what each is measured against."""

    axis: Axis
    fringes: Indices
    fringe_weights: Image
    basis: Image
    codes: Indices
    code_weights: Image
    bits: Indices
    waves: Image

    @classmethod
    def of(cls, plan: PatternPlan, weights: Floats, which: int) -> AxisHolds:
        fringes, codes = (
            [(n, hold) for n, hold in enumerate(plan.body) if hold.kind == kind and hold.axis == which]
            for kind in ("fringe", "code")
        )
        # A curved response (player, projector, phone) makes harmonics of a sinusoid: those are no noise.
        harmonics = min(_HARMONICS, (len(fringes) - 2) // 2)

        def waves(holds: list[tuple[int, Hold]]) -> Image:
            phase = np.array([hold.phase_rad for _, hold in holds])
            columns = [wave(h * phase) for h in range(1, harmonics + 1) for wave in (np.cos, np.sin)]
            return np.column_stack(columns).astype(np.float32)

        picks, code_picks = (np.array([n for n, _ in holds]) for holds in (fringes, codes))
        return cls(
            axis=plan.axes[which],
            fringes=picks,
            fringe_weights=weights[picks].astype(np.float32),
            basis=np.column_stack([np.ones(len(picks), dtype=np.float32), waves(fringes)]),
            codes=code_picks,
            code_weights=weights[code_picks].astype(np.float32),
            bits=np.array([hold.bit for _, hold in codes]),
            waves=waves(codes),
        )

    def carriers(self) -> AxisCarriers:
        return AxisCarriers(
            picks=np.concatenate([self.fringes, self.codes]),
            weights=np.concatenate([self.fringe_weights, self.code_weights]).astype(np.float64),
            waves=np.concatenate([self.basis[:, 1:3], self.waves[:, :2]]).astype(np.float64),
            bits=np.concatenate([np.full(len(self.fringes), -1), self.bits]),
            steps=len(self.fringes),
            period_px=self.axis.period_px,
            length_px=self.axis.length_px,
        )


def _noise(sums: Sums, top: int, left: int, shape: tuple[int, int], axis: AxisHolds) -> Image:
    """Variance of one averaged picture in a tile, from what the fringes of an axis leave over of its phase steps."""
    variance = np.zeros(shape, dtype=np.float32)
    noise_rows(sums, top, left, axis.fringes, axis.fringe_weights, axis.basis, variance)
    return variance


def _shared_noise(variances: list[Image]) -> Image:
    """Noise of a pixel and its near surroundings, never below that of rounding to whole codes."""
    mean = cv2.boxFilter(0.5 * (variances[0] + variances[1]), -1, (5, 5))
    return np.maximum(mean, np.float32(1.0 / 12.0 / 4.0))


def _locate(
    sums: Sums, top: int, left: int, axis: AxisHolds, variance: Image, wanted: Mask
) -> tuple[Image, Image, Image]:
    """Position, its standard deviation, and the fringe's amplitude in a tile."""
    position, sigma = (np.full(variance.shape, np.nan, dtype=np.float32) for _ in range(2))
    amplitude = np.zeros(variance.shape, dtype=np.float32)
    locate_rows(
        sums,
        top,
        left,
        axis.fringes,
        axis.fringe_weights,
        axis.basis,
        axis.codes,
        axis.code_weights,
        axis.bits,
        axis.waves,
        variance,
        wanted,
        axis.axis.period_px,
        axis.axis.bits,
        axis.axis.length_px,
        position,
        sigma,
        amplitude,
    )
    return position, sigma, amplitude
