"""The photo lens's distortion, found from the correspondence itself.

Seen through perfect lenses every flat patch of the house maps to the projector by a homography. What is left over
in many flat patches tells how the lens of the camera bends straight lines; with that taken out, one homography
fits a whole wall.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limewash.facade.plane_fit import PlaneFit, fit_plane, refined
from limewash.facade.samples import Samples

Array = NDArray[np.float64]

TERMS = 4
PRIOR = 0.05
"""Expected size of each coefficient [-]: distortion at the corner as a share of the half diagonal."""
TILES = 10
"""Tiles along the longer side of the photo."""
LEAST_TILES = 3
FLAT_SHARE = 0.85
PER_TILE = 150
PER_WALL = 5000
"""Most samples used from a tile, and from the main wall."""
ROUNDS = 2


@dataclass(frozen=True, eq=False)
class PhotoLens:
    """Takes distortion out of photo points: radial terms of third and fifth order, and two tangential ones.

    Attributes
    ----------
    centre : ndarray of shape (2,)
        Middle of the photo. [px]
    half_px : float
        Half its diagonal. [px]
    coefficients : ndarray of shape (4,)
    """

    centre: Array
    half_px: float
    coefficients: Array

    @classmethod
    def straight(cls, size: tuple[int, int]) -> PhotoLens:
        """A lens without distortion."""
        width, height = size
        centre = np.array([(width - 1) / 2.0, (height - 1) / 2.0])
        return cls(centre, float(np.hypot(width, height)) / 2.0, np.zeros(TERMS))

    def straighten(self, points: Array) -> Array:
        """Photo points (N, 2) as a lens without distortion would show them, up to a homography. [px]"""
        if not self.coefficients.any():
            return points
        (x, y), (k1, k2, p1, p2) = ((points - self.centre) / self.half_px).T, self.coefficients
        r2 = x * x + y * y
        radial = r2 * (k1 + k2 * r2)
        moved = np.empty_like(points)
        moved[:, 0] = x * radial + p1 * (r2 + 2.0 * x * x) + 2.0 * p2 * x * y
        moved[:, 1] = y * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * y * y)
        return np.asarray(points + self.half_px * moved)

    def terms(self, points: Array) -> Array:
        """The displacement by each coefficient, in half diagonals, shape (N, 2, 4)."""
        x, y = ((points - self.centre) / self.half_px).T
        r2 = x * x + y * y
        across = [x * r2, x * r2 * r2, r2 + 2.0 * x * x, 2.0 * x * y]
        down = [y * r2, y * r2 * r2, 2.0 * x * y, r2 + 2.0 * y * y]
        return np.stack([np.stack(across, axis=-1), np.stack(down, axis=-1)], axis=1)


@dataclass(frozen=True, eq=False)
class _Patch:
    """Samples of one flat patch, with the homography that fits them best so far."""

    photo: Array
    projector: Array
    weight: Array
    matrix: Array


def find_lens(samples: Samples, size: tuple[int, int], rng: np.random.Generator) -> tuple[PhotoLens, PlaneFit | None]:
    """The lens, and the plane that holds most of the samples (the main wall).

    First from small tiles, of which most are flat; then also from all that lies on the main wall, whose size tells
    more.

    Returns
    -------
    lens : PhotoLens
        Without distortion if the samples do not show any.
    wall : PlaneFit or None
        Main plane in straightened photo px; None if there is none.
    """
    lens = PhotoLens.straight(size)
    tiles = _flat_tiles(samples, size, rng)
    if len(tiles) < LEAST_TILES:
        return lens, _main_plane(lens, samples, rng)
    lens = _adjusted(lens, tiles, samples.noise_px)
    wall = _main_plane(lens, samples, rng)
    if wall is not None:
        lens = _adjusted(lens, [*tiles, _on_plane(wall, lens, samples)], samples.noise_px)
        wall = _main_plane(lens, samples, rng)
    return lens, wall


def _flat_tiles(samples: Samples, size: tuple[int, int], rng: np.random.Generator) -> list[_Patch]:
    """Tiles of the photo in which nearly all samples lie on one plane."""
    edge = max(size) / TILES
    photo = samples.photo
    tile = (photo[:, 1] // edge).astype(np.int64) * (TILES + 1) + (photo[:, 0] // edge).astype(np.int64)
    order = np.argsort(tile.astype(np.uint16), kind="stable")
    bounds = np.searchsorted(tile[order], np.arange((TILES + 1) ** 2 + 1))
    patches = []
    for first, last in pairwise(bounds):
        picked = order[first:last][:: max(1, (last - first) // PER_TILE)]
        if len(picked) < PER_TILE // 3:
            continue
        source, target, weight = photo[picked], samples.projector[picked], samples.weight[picked]
        fit = fit_plane(source, target, weight, noise_px=samples.noise_px, rng=rng)
        if fit is None:
            continue
        on = fit.residual(source, target) < fit.reach_px
        if on.mean() >= FLAT_SHARE:
            patches.append(_Patch(source[on], target[on], weight[on], fit.matrix))
    return patches


def _main_plane(lens: PhotoLens, samples: Samples, rng: np.random.Generator) -> PlaneFit | None:
    picked = slice(None, None, max(1, len(samples.photo) // PER_WALL))
    source = lens.straighten(samples.photo[picked])
    return fit_plane(source, samples.projector[picked], samples.weight[picked], noise_px=samples.noise_px, rng=rng)


def _on_plane(wall: PlaneFit, lens: PhotoLens, samples: Samples) -> _Patch:
    picked = np.arange(0, len(samples.photo), max(1, len(samples.photo) // PER_WALL))
    on = picked[wall.residual(lens.straighten(samples.photo[picked]), samples.projector[picked]) < wall.reach_px]
    return _Patch(samples.photo[on], samples.projector[on], samples.weight[on], wall.matrix)


def _adjusted(lens: PhotoLens, patches: list[_Patch], noise_px: float) -> PhotoLens:
    """Gauss-Newton over the lens and every patch's homography together; each homography is eliminated in turn."""
    noise = max(noise_px, 0.02)
    for _ in range(ROUNDS):
        normal, pull = np.eye(TERMS) / PRIOR**2, -lens.coefficients / PRIOR**2
        for patch in patches:
            by_lens, by_gap = _reduced(lens, patch, noise)
            normal, pull = normal + by_lens, pull + by_gap
        lens = replace(lens, coefficients=lens.coefficients + np.linalg.solve(normal, pull))
    return lens


def _reduced(lens: PhotoLens, patch: _Patch, noise: float) -> tuple[Array, Array]:
    """Normal equations of one patch for the lens alone: what its best homography cannot take up."""
    source = lens.straighten(patch.photo)
    best = refined(patch.matrix, source, patch.projector, patch.weight)
    rows = lens.half_px * (best.by_point @ lens.terms(patch.photo)).transpose(1, 0, 2).reshape(-1, TERMS)
    plane, gap = best.by_matrix.reshape(-1, 8), best.gap.T.ravel()
    weight = np.tile(patch.weight, 2)[:, None] / noise**2
    cross = (rows * weight).T @ plane
    square = (plane * weight).T @ plane
    square[np.diag_indices(8)] *= 1.0 + 1e-12
    share = np.linalg.solve(square, np.column_stack([cross.T, (plane * weight).T @ gap]))
    return (rows * weight).T @ rows - cross @ share[:, :-1], (rows * weight).T @ gap - cross @ share[:, -1]
