"""From photo pixels to projector pixels in a millisecond, for what is being dragged.

The exact transfer fits each line to the surface it lies on (`limewash.facade.transfer`); this one reads off a grid
that was made once from the scan, so that a path follows the hand. When the hand rests, the exact one takes over.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError
from limewash.geometry.homography import apply_homography, fit_homography
from limewash.geometry.path import Path2
from limewash.geometry.path_flatten import flatten
from limewash.scan.correspondence import Correspondence

Points = NDArray[np.float64]

_GRID = 1000
"""Cells along the longer side of the photo, about."""
_STEP_PX = 12.0
"""Straight lines are cut this short: lens distortion bends them. [px]"""
_BEND_PX = 0.1
_BACK_ROUNDS = 12
_KNOWN = 0.5
_BESIDE_CELLS = 6
_BESIDE_MOST = 500
_AGREE_PX = 1.0
_AGREE_SHARE = 0.5
_FEWEST = 50


class Carrier:
    """Photo pixels to projector pixels by one homography and a grid of what it leaves over."""

    def __init__(self, correspondence: Correspondence) -> None:
        camera, projector = _samples(correspondence)
        thin = slice(None, None, max(len(camera) // 20_000, 1))
        self._homography = fit_homography(camera[thin], projector[thin])
        width, height = correspondence.camera_size
        self._cell_px = max(max(width, height) / _GRID, 1.0)
        rest = projector - apply_homography(self._homography, camera)
        sums, weights = _splat(camera / self._cell_px, rest, (width, height), self._cell_px)
        self._known = weights > _KNOWN
        self._rest = _filled(sums, weights)

    def carry(self, points: ArrayLike) -> Points:
        """Projector pixels of photo pixels (N, 2); beyond the scan it goes on as a plane would. [px]"""
        p = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return apply_homography(self._homography, p) + self._rest_at(p)

    def back(self, points: ArrayLike) -> Points:
        """Photo pixels whose `carry` are these projector pixels (N, 2). [px]"""
        target = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        inverse = np.asarray(np.linalg.inv(self._homography), dtype=np.float64)
        guess = apply_homography(inverse, target)
        for _ in range(_BACK_ROUNDS):
            guess = apply_homography(inverse, target - self._rest_at(guess))
        return guess

    def carry_path(self, path: Path2) -> Points:
        """A path as points (N, 2) in projector pixels; a closed one does not repeat its first. [px]

        Most paths lie on one flat part of the house: when the scan beside the line agrees on one plane, the path is
        laid on that, so that straight lines stay straight beside posts and across glass.
        """
        points = flatten(path, tolerance_px=_BEND_PX, step_px=_STEP_PX).points
        plane = self._plane_beside(points, closed=path.closed)
        return self.carry(points) if plane is None else apply_homography(plane, points)

    def _plane_beside(self, points: Points, *, closed: bool) -> Points | None:
        """Photo to projector pixels on the plane that most of the scan within a few cells of the line lies on."""
        line = np.rint(points / self._cell_px).astype(np.int32)
        height, width = self._known.shape
        corner = np.clip(line.min(axis=0) - _BESIDE_CELLS - 1, 0, [width - 1, height - 1])
        beyond = np.clip(line.max(axis=0) + _BESIDE_CELLS + 2, 1, [width, height])
        if (beyond <= corner).any():
            return None
        part = self._known[corner[1] : beyond[1], corner[0] : beyond[0]]
        mask = np.zeros(part.shape, dtype=np.uint8)
        cv2.polylines(mask, [line - corner.astype(np.int32)], closed, 1, thickness=2 * _BESIDE_CELLS + 1)
        rows, columns = np.nonzero((mask > 0) & part)
        if len(rows) < _FEWEST:
            return None
        thin = slice(None, None, max(len(rows) // _BESIDE_MOST, 1))
        rows, columns = rows[thin] + corner[1], columns[thin] + corner[0]
        photo = np.column_stack([columns, rows]) * self._cell_px
        projector = apply_homography(self._homography, photo) + self._rest[rows, columns]
        found: tuple[Any, Any] = cv2.findHomography(photo, projector, cv2.USAC_FAST, _AGREE_PX)
        plane, inliers = found
        if plane is None or float(np.mean(inliers)) < _AGREE_SHARE:
            return None
        return np.asarray(plane, dtype=np.float64)

    def _rest_at(self, photo: Points) -> Points:
        # A few hundred points: plain indexing beats a picture operation that wakes a pool of threads.
        height, width = self._rest.shape[:2]
        at = np.clip(photo / self._cell_px, 0.0, [width - 1.001, height - 1.001])
        x0, y0 = at[:, 0].astype(np.intp), at[:, 1].astype(np.intp)
        fx, fy = (at[:, 0] - x0)[:, None], (at[:, 1] - y0)[:, None]
        top = self._rest[y0, x0] * (1.0 - fx) + self._rest[y0, x0 + 1] * fx
        low = self._rest[y0 + 1, x0] * (1.0 - fx) + self._rest[y0 + 1, x0 + 1] * fx
        return np.asarray(top * (1.0 - fy) + low * fy, dtype=np.float64)


def _samples(correspondence: Correspondence) -> tuple[Points, Points]:
    rows, columns = np.nonzero(correspondence.seen)
    if len(rows) < _FEWEST:
        raise InputError("the scan saw almost nothing of the house; scan again")
    camera = np.column_stack([correspondence.camera_x[rows, columns], correspondence.camera_y[rows, columns]])
    return camera.astype(np.float64), np.column_stack([columns, rows]).astype(np.float64)


def _splat(
    at: Points, values: Points, size: tuple[int, int], cell_px: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Spread samples over the four nearest grid points: sums (h, w, 2) and weights (h, w)."""
    width, height = int(size[0] / cell_px) + 2, int(size[1] / cell_px) + 2
    x0 = np.clip(at[:, 0].astype(np.intp), 0, width - 2)
    y0 = np.clip(at[:, 1].astype(np.intp), 0, height - 2)
    fx, fy = at[:, 0] - x0, at[:, 1] - y0
    total = np.zeros((3, height * width))
    for dy, wy in ((0, 1.0 - fy), (1, fy)):
        for dx, wx in ((0, 1.0 - fx), (1, fx)):
            weight = wx * wy
            index = (y0 + dy) * width + x0 + dx
            for row, value in enumerate((values[:, 0], values[:, 1], None)):
                total[row] += np.bincount(index, weight if value is None else weight * value, height * width)
    sums = np.moveaxis(total[:2].reshape(2, height, width), 0, -1)
    return sums.astype(np.float32), total[2].reshape(height, width).astype(np.float32)


def _filled(sums: NDArray[np.float32], weights: NDArray[np.float32]) -> NDArray[np.float32]:
    """Means where there are samples; holes from ever coarser grids, so that they are bridged smoothly."""
    known = np.clip(weights / 0.5, 0.0, 1.0)[..., None]
    mean = np.asarray(sums / np.maximum(weights, 1e-9)[..., None], dtype=np.float32)
    if min(weights.shape) <= 2:
        flat = sums.sum(axis=(0, 1)) / max(float(weights.sum()), 1e-9)
        return np.asarray(known * mean + (1.0 - known) * flat, dtype=np.float32)
    half = (max(weights.shape[1] // 2, 1), max(weights.shape[0] // 2, 1))
    capped = np.minimum(weights, np.float32(1.0))
    coarse = _filled(_halved(mean * capped[..., None], half), _halved(capped, half))
    back = cv2.resize(coarse, weights.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(known * mean + (1.0 - known) * back, dtype=np.float32)


def _halved(grid: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    return np.asarray(cv2.resize(grid, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
