"""The photo lens's distortion, found from the correspondence itself.

Seen through perfect lenses every flat part of the house maps to the projector by a homography. What is left over on
its large planes tells how the lens of the camera bends straight lines; with that taken out, one homography fits a
whole wall.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limewash.facade.plane_fit import PlaneFit, fit_plane, refined
from limewash.facade.samples import Samples

Array = NDArray[np.float64]

TERMS = 4
PRIOR = np.array([0.04, 0.04, 0.002, 0.002])
"""Expected size of each coefficient: displacement at the photo's corner as a share of the half diagonal. [-]"""
TIED = 20.0
"""Neighbouring samples err together: so many count as one. [-]"""
LEAST_NOISE_PX = 0.1
"""Boards, joints and trim make every wall uneven by as much. [projector px]"""
START_PX = 1.0
MOST_PLANES = 3
LEAST_SHARE = 0.1
LEAST_CLOSE = 50
"""A plane on which fewer samples lie closely says nothing about the lens."""
ENOUGH, SEARCHED = 10_000, 700
STRENGTHS = np.linspace(-0.04, 0.04, 13)
ROUNDS = 6
TILES = 12


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


@dataclass(eq=False)
class _Plane:
    """One large plane: samples that may lie on it, and the homography that fits them best so far."""

    matrix: Array
    photo: Array
    target: Array
    weight: Array


def find_lens(samples: Samples, size: tuple[int, int], rng: np.random.Generator) -> tuple[PhotoLens, PlaneFit | None]:
    """The lens, and the plane that holds most of the samples (the main wall).

    Up to three large planes are found. A search over the strongest coefficient tells with which lens most samples
    lie closely on them; from there all coefficients are adjusted.

    Returns
    -------
    lens : PhotoLens
        Without distortion if the samples do not show any.
    wall : PlaneFit or None
        Main plane in straightened photo px; None if there is none.
    """
    picked = _by_tiles(samples.photo[:: max(1, len(samples.photo) // ENOUGH)], max(size) / TILES)
    picked = picked * max(1, len(samples.photo) // ENOUGH)
    photo, target, weight = samples.photo[picked], samples.projector[picked], samples.weight[picked]
    noise_px = max(samples.noise_px, LEAST_NOISE_PX)
    planes = _large_planes(photo, target, weight, noise_px, rng)
    lens = PhotoLens.straight(size)
    if planes:
        lens = _searched(lens, planes, noise_px)
        for _ in range(ROUNDS):
            lens = _adjusted(lens, planes, noise_px)
    straight = lens.straighten(photo)
    return lens, _fit(straight, target, weight, samples.noise_px, rng)


def _by_tiles(photo: Array, edge_px: float) -> NDArray[np.intp]:
    """Order in which neighbours on the photo are neighbours in the list: tile by tile."""
    tile = np.floor(photo / edge_px).astype(np.intp)
    return np.lexsort((tile[:, 1], tile[:, 0]))


def _fit(source: Array, target: Array, weight: Array, noise_px: float, rng: np.random.Generator) -> PlaneFit | None:
    """The plane that holds most of a whole scene, of which it may be a small part."""
    return fit_plane(source, target, weight, noise_px=noise_px, rng=rng, guesses=400, shortest=0.01)


def _large_planes(
    photo: Array, target: Array, weight: Array, noise_px: float, rng: np.random.Generator
) -> list[_Plane]:
    """Planes one after the other, each from the samples that the earlier ones leave; wide enough for a strong lens."""
    planes: list[_Plane] = []
    left = np.arange(len(photo))
    for _ in range(MOST_PLANES):
        fit = _fit(photo[left], target[left], weight[left], max(noise_px, START_PX / 3.5), rng)
        if fit is None:
            break
        far = fit.residual(photo[left], target[left]) > 3.0 * START_PX
        if np.mean(~far) < LEAST_SHARE:
            break
        near = left[~far]
        planes.append(_Plane(fit.matrix, photo[near], target[near], weight[near]))
        left = left[far]
    return planes


def _searched(lens: PhotoLens, planes: list[_Plane], noise_px: float) -> PhotoLens:
    """The lens of pure third order with which most samples lie closely on the planes."""
    thin = [_thinned(plane, SEARCHED) for plane in planes]
    lenses = [replace(lens, coefficients=np.array([k, 0.0, 0.0, 0.0])) for k in STRENGTHS]
    return min(lenses, key=lambda lens: sum(_misfit(lens, plane, noise_px) for plane in thin))


def _thinned(plane: _Plane, most: int) -> _Plane:
    step = slice(None, None, max(1, len(plane.photo) // most))
    return _Plane(plane.matrix, plane.photo[step], plane.target[step], plane.weight[step])


def _misfit(lens: PhotoLens, plane: _Plane, noise_px: float) -> float:
    """Truncated squares of what the plane's best homography leaves."""
    cut_px = 3.0 * noise_px
    gap = refined(plane.matrix, lens.straighten(plane.photo), plane.target, plane.weight, cut_px=cut_px).gap
    return float(np.sum(plane.weight * np.minimum((gap[:, 0] ** 2 + gap[:, 1] ** 2) / cut_px**2, 1.0)))


def _adjusted(lens: PhotoLens, planes: list[_Plane], noise_px: float) -> PhotoLens:
    """One step of Gauss-Newton over the lens and every plane's homography; the homographies are eliminated in turn."""
    normal, pull = np.diag(1.0 / PRIOR**2), -lens.coefficients / PRIOR**2
    for plane in planes:
        by_lens, by_gap = _reduced(lens, plane, noise_px)
        normal, pull = normal + by_lens, pull + by_gap
    return replace(lens, coefficients=lens.coefficients + np.linalg.solve(normal, pull))


def _reduced(lens: PhotoLens, plane: _Plane, noise_px: float) -> tuple[Array, Array]:
    """Normal equations of one plane for the lens alone: what its best homography cannot take up."""
    best = refined(plane.matrix, lens.straighten(plane.photo), plane.target, plane.weight, cut_px=4.0 * noise_px)
    if np.count_nonzero(best.weight) < LEAST_CLOSE:
        return np.zeros((TERMS, TERMS)), np.zeros(TERMS)
    plane.matrix = best.matrix
    rows = lens.half_px * (best.by_point @ lens.terms(plane.photo)).transpose(1, 0, 2).reshape(-1, TERMS)
    homography, gap = best.by_matrix.reshape(-1, 8), best.gap.T.ravel()
    weight = np.tile(best.weight, 2)[:, None] / (TIED * noise_px**2)
    square = (homography * weight).T @ homography
    square[np.diag_indices(8)] *= 1.0 + 1e-12
    cross = (rows * weight).T @ homography
    share = np.linalg.solve(square, np.column_stack([cross.T, (homography * weight).T @ gap]))
    return (rows * weight).T @ rows - cross @ share[:, :-1], (rows * weight).T @ gap - cross @ share[:, -1]
