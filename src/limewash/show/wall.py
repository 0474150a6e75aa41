"""Metres on the wall for every projector pixel, without holes."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError
from limewash.geometry.homography import apply_homography
from limewash.scan.correspondence import Correspondence
from limewash.scan.geometry import SceneGeometry

Field = NDArray[np.float32]
Matrix = NDArray[np.float64]

_COARSE = 8  # projector pixels per cell of the smooth part
_FACING = 0.7  # how far a surface's normal points to the front, for it to be a wall


@dataclass(frozen=True, eq=False)
class Wall:
    """Where each projector pixel lands, as seen from the camera that scanned the house.

    A plane-to-plane map carries the most of it; what stands forward or back of the wall plane is the rest.

    Attributes
    ----------
    x_m, y_m : ndarray of float32 and shape (H, W)
        Position on the wall plane, x right, y up from the ground; finite everywhere. [m]
    to_wall : ndarray of shape (3, 3)
        Projector pixel to wall metres for the wall plane.
    rest : ndarray of float32 and shape (h, w, 2)
        What is to be added to `to_wall`, smoothed, over the same picture in coarse cells. [m]
    """

    x_m: Field
    y_m: Field
    to_wall: Matrix
    rest: Field

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the picture [px]."""
        return self.x_m.shape[1], self.x_m.shape[0]

    def pixel_m(self) -> Field:
        """Side of each pixel's square on the wall plane, float32 (H, W) [m]."""
        h = self.to_wall
        width, height = self.size
        x = np.arange(width, dtype=np.float64)
        y = np.arange(height, dtype=np.float64)[:, None]
        depth = h[2, 0] * x + h[2, 1] * y + h[2, 2]
        # The area that a projective map gives to a small square is |det H| / depth**3.
        area = np.abs(np.linalg.det(h)) / np.maximum(np.abs(depth), 1e-9) ** 3
        return np.asarray(np.sqrt(area), dtype=np.float32)

    def at(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Wall metres (..., 2) of projector pixels (..., 2), smooth along a line."""
        points = np.asarray(points_px, dtype=np.float64)
        return apply_homography(self.to_wall, points) + self._rest_at(points)

    def pixel_at(self, points_m: ArrayLike) -> NDArray[np.float64]:
        """Projector pixels (..., 2) of wall metres (..., 2)."""
        points = np.asarray(points_m, dtype=np.float64)
        back = np.asarray(np.linalg.inv(self.to_wall), dtype=np.float64)
        found = apply_homography(back, points)
        return apply_homography(back, points - self._rest_at(found))

    def reduced(self, factor: int) -> Wall:
        """The same for a picture of 1/`factor` the width and height."""
        width, height = self.size[0] // factor, self.size[1] // factor
        scale = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2], [0, 0, 1.0]])
        return Wall(
            cv2.resize(self.x_m, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32),
            cv2.resize(self.y_m, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32),
            self.to_wall @ scale,
            self.rest,
        )

    def _rest_at(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        flat = points.reshape(-1, 2)
        last = np.array([self.rest.shape[1] - 1, self.rest.shape[0] - 1])
        cells = (np.nan_to_num(flat) + 0.5) * (last + 1) / self.size - 0.5
        cells = np.clip(cells, 0.0, last)
        corner = np.minimum(cells.astype(np.intp), last - 1)
        fx, fy = (cells - corner).T[..., None]
        x, y = corner.T
        top = self.rest[y, x] * (1 - fx) + self.rest[y, x + 1] * fx
        bottom = self.rest[y + 1, x] * (1 - fx) + self.rest[y + 1, x + 1] * fx
        mixed: NDArray[np.float64] = (top * (1 - fy) + bottom * fy).reshape(points.shape)
        return mixed


def wall_metres(correspondence: Correspondence, photo_to_wall: Matrix) -> Wall:
    """Wall metres of every projector pixel; holes such as glass are filled smoothly.

    Parameters
    ----------
    correspondence : Correspondence
        From the scan; at least 1 % of the pixels seen.
    photo_to_wall : ndarray of shape (3, 3)
        Photo pixel to wall metres, from four or more measured points.

    Raises
    ------
    InputError
        If too few pixels were seen to know where the picture lands.
    """
    seen = correspondence.seen
    camera = np.stack([correspondence.camera_x, correspondence.camera_y], axis=-1)
    return _from_seen(apply_homography(photo_to_wall, np.where(seen[..., None], camera, 0.0)), seen)


def geometry_metres(geometry: SceneGeometry) -> Wall:
    """Wall metres of every projector pixel from the measured scene: what stands forward keeps its true size.

    Raises
    ------
    InputError
        If too few pixels were seen to know where the picture lands.
    """
    seen = np.isfinite(geometry.depth_m)
    # A wide lawn is flat as well, but seen from the front it is a line: no plane for metres across and up.
    facing = seen & (geometry.normal[..., 2] > _FACING)
    fixes = facing if facing.mean() > 0.01 else seen
    return _from_seen(np.where(seen[..., None], geometry.points_m()[..., :2], 0.0).astype(np.float64), seen, fixes)


def _from_seen(found: NDArray[np.float64], seen: NDArray[np.bool_], fixes: NDArray[np.bool_] | None = None) -> Wall:
    """A wall from the metres of the pixels that were seen; its plane from those that may fix it, else from all."""
    share = float(seen.mean())
    if share < 0.01:
        raise InputError(
            f"the scan saw only {share:.1%} of the projector's pixels, too few to give the wall its metres; "
            "scan again with the whole picture inside the camera's view"
        )
    size = (seen.shape[1], seen.shape[0])
    to_wall = _plane_fit(found, seen if fixes is None else fixes)
    plane = _over_grid(to_wall, size)
    rest = np.where(seen[..., None], found - plane, 0.0).astype(np.float32)
    coarse = _smooth_rest(rest, seen)
    filled = cv2.resize(coarse, size, interpolation=cv2.INTER_LINEAR)
    rest = np.where(seen[..., None], rest, filled)
    # A pixel that was read wrongly would show as a speck in every smooth effect: the median takes it out.
    x_m, y_m = (plane[..., k] + cv2.medianBlur(np.ascontiguousarray(rest[..., k]), 5) for k in (0, 1))
    return Wall(x_m.astype(np.float32), y_m.astype(np.float32), to_wall, coarse)


def assumed_wall(size: tuple[int, int], width_m: float) -> Wall:
    """A wall met straight on by a picture `width_m` wide, its lower edge on the ground.

    For a house of which nothing has been measured: lengths in effects are then estimates.
    """
    if width_m <= 0.0:
        raise InputError(f"width_m must be > 0, got {width_m!r}")
    scale = width_m / size[0]
    to_wall = np.array([[scale, 0.0, 0.5 * scale], [0.0, -scale, (size[1] - 0.5) * scale], [0.0, 0.0, 1.0]])
    plane = _over_grid(to_wall, size).astype(np.float32)
    rest = np.zeros((2, 2, 2), dtype=np.float32)
    return Wall(plane[..., 0].copy(), plane[..., 1].copy(), to_wall, rest)


def _plane_fit(found: NDArray[np.float64], seen: NDArray[np.bool_]) -> Matrix:
    """Projector-to-wall homography of the plane that most pixels agree on."""
    rows, columns = np.nonzero(seen)
    step = max(1, len(rows) // 4000)
    rows, columns = rows[::step], columns[::step]
    pixels = np.column_stack([columns, rows]).astype(np.float64)
    matrix, _ = cv2.findHomography(pixels, found[rows, columns], cv2.RANSAC, 0.05, maxIters=2000)
    if matrix is None:
        raise InputError("the scanned pixels lie on one line, so they fix no wall; scan again")
    return np.asarray(matrix, dtype=np.float64)


def _over_grid(matrix: Matrix, size: tuple[int, int]) -> NDArray[np.float64]:
    """A homography at every pixel, (H, W, 2); beyond its horizon the nearest finite value is held."""
    x = np.arange(size[0], dtype=np.float64)
    y = np.arange(size[1], dtype=np.float64)[:, None]
    depth = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    depth = np.maximum(depth, 0.02 * float(np.median(depth)))
    across = (matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]) / depth
    up = (matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]) / depth
    return np.stack([across, up], axis=-1)


def _smooth_rest(rest: Field, seen: NDArray[np.bool_]) -> Field:
    """Cell means of `rest` where seen, and the holes filled from ever wider surroundings."""
    cells = (-(-rest.shape[1] // _COARSE), -(-rest.shape[0] // _COARSE))
    return _filled(_shrunk(rest, cells), _shrunk(seen.astype(np.float32), cells))


def _filled(total: Field, weight: Field) -> Field:
    """Push-pull: means where there is weight, else the mean of the next coarser level."""
    mean = total / np.maximum(weight, 1e-6)[..., None]
    if min(weight.shape) <= 2:
        overall = total.sum(axis=(0, 1)) / max(float(weight.sum()), 1e-6)
        return np.where(weight[..., None] > 1e-3, mean, overall).astype(np.float32)
    half = (max(1, weight.shape[1] // 2), max(1, weight.shape[0] // 2))
    lower = _filled(_shrunk(total, half), _shrunk(weight, half))
    wide = cv2.resize(lower, weight.shape[::-1], interpolation=cv2.INTER_LINEAR)
    trust = np.minimum(weight, 1.0)[..., None]
    return (mean * trust + wide * (1.0 - trust)).astype(np.float32)


def _shrunk(values: Field, size: tuple[int, int]) -> Field:
    return np.asarray(cv2.resize(values, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
