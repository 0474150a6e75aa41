"""Depth and normal of what every projector pixel lands on, with their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.geometry.device import Device
from limewash.scan.correspondence import Correspondence
from limewash.scan.threads import in_bands
from limewash.scan.two_view import TwoView, ray_depth

Array = NDArray[np.float64]
Map = NDArray[np.float32]

_WINDOW = 13  # side of the square through which a normal's plane is fitted [projector px]
_FEW = 40  # seen pixels that make a plane
_WILD = 5.0  # standard deviations from the median of its surroundings that make a pixel wild
_STEP = 0.01  # and the share of depth that a surface may run off within two pixels
_SHARED = 5.0  # neighbours share their noise, since the scan fits planes over five camera pixels
_CORE_PX = 0.03  # what remains of a position's error however much light there is [camera px]


@dataclass(frozen=True)
class Relief:
    """The seen surface, in the frame and unit of two devices; arrays have shape (projector height, width, ...).

    Attributes
    ----------
    points : ndarray of float32, shape (H, W, 3)
        Where each projector pixel lands; NaN where the camera does not see it. [unit]
    sigma : ndarray of float32, shape (H, W)
        Standard deviation along the projector's ray from the noise of the scan. [unit]
    normal : ndarray of float32, shape (H, W, 3)
        Towards the projector; NaN where too few pixels around were seen. [-]
    tilt_sigma : ndarray of float32, shape (H, W)
        Standard deviation of a normal's tilt from the noise of the scan. [rad]
    """

    points: Map
    sigma: Map
    normal: Map
    tilt_sigma: Map


def measure_relief(correspondence: Correspondence, projector: Device, camera: Device, residual_px: float) -> Relief:
    """Triangulate everything that was seen.

    Parameters
    ----------
    correspondence : Correspondence
    projector, camera : Device
        As `calibrate` found them, in any frame.
    residual_px : float
        Their epipolar misfit, which is no smaller than the error of a position. [camera px]
    """
    height, width = correspondence.camera_x.shape
    points = np.full((height, width, 3), np.nan, dtype=np.float32)
    sigma = np.full((height, width), np.nan, dtype=np.float32)
    # Confidence is made of the noise of a position, see `grid`; a projector pixel is about a camera pixel.
    noise = np.hypot(np.sqrt((1.0 / np.clip(correspondence.confidence, 0.01, 1.0) - 1.0) / 8.0), _CORE_PX)
    noise = np.hypot(noise, residual_px)

    def work(first: int, last: int) -> None:
        rows, columns = np.nonzero(correspondence.seen[first:last])
        rows += first
        p = np.column_stack([columns, rows]).astype(np.float64)
        seen = (correspondence.camera_x[rows, columns], correspondence.camera_y[rows, columns])
        depth, growth = ray_depth(projector, camera, p, np.column_stack(seen).astype(np.float64))
        ray = np.hstack([(p - projector.centre_px) / projector.focal_px, np.ones((len(p), 1))]) @ projector.rotation
        ahead = depth > 0.0
        rows, columns = rows[ahead], columns[ahead]
        points[rows, columns] = projector.position_m + (ray * depth[:, None])[ahead]
        length = np.linalg.norm(ray, axis=1)
        sigma[rows, columns] = noise[rows, columns] * (length[ahead] / np.maximum(growth[ahead], 1e-12))

    in_bands(height, work)
    return Relief(points, sigma, *_normals(points, sigma, projector))


def _normals(points: Map, sigma: Map, projector: Device) -> tuple[Map, Map]:
    """Normals of planes through inverse depth, linear in pixels on every plane, and their uncertainty [rad]."""
    depth = (points - projector.position_m.astype(np.float32)) @ projector.rotation[2].astype(np.float32)
    seen = np.isfinite(depth)
    inverse = np.where(seen, 1.0 / np.where(seen, depth, 1.0), 0.0).astype(np.float32)
    # A single wild pixel would tilt the planes of all around it.
    off = np.abs(inverse - cv2.medianBlur(inverse, 5))
    seen &= off < _WILD * np.where(seen, sigma, 0.0) * inverse**2 + _STEP * inverse
    inverse = np.where(seen, inverse, np.float32(0.0))
    v, u = np.mgrid[0 : depth.shape[0], 0 : depth.shape[1]].astype(np.float64)
    n, sx, sy, sxx, sxy, syy = (
        _over_square(part) for part in (seen, seen * u, seen * v, u * u * seen, u * v * seen, v * v * seen)
    )
    sz, szx, szy = (_over_square(part) for part in (inverse, inverse * u, inverse * v))
    usable = seen & (n >= _FEW)
    n = np.maximum(n, 1.0)
    cxx, cxy, cyy = sxx - sx * sx / n, sxy - sx * sy / n, syy - sy * sy / n
    czx, czy = szx - sz * sx / n, szy - sz * sy / n
    det = np.maximum(cxx * cyy - cxy * cxy, 1e-3)
    gx, gy = (czx * cyy - czy * cxy) / det, (czy * cxx - czx * cxy) / det
    middle = sz / n + gx * (u - sx / n) + gy * (v - sy / n)
    # 1/depth = a x + b y + c in normalised coordinates is the plane (a, b, c) . X = 1.
    (fx, fy), (cx, cy) = projector.focal_px, projector.centre_px
    a, b = gx * fx, gy * fy
    plane = np.stack([a, b, middle - a * (u - cx) / fx - b * (v - cy) / fy], axis=-1)
    size = np.linalg.norm(plane, axis=-1, keepdims=True)
    normal = -(plane / np.where(size > 0.0, size, 1.0)) @ projector.rotation
    normal[~usable] = np.nan
    pitch = np.where(seen, depth, 1.0) / fx
    tilt = _SHARED * sigma / (pitch * np.sqrt(np.maximum(det / np.maximum(np.maximum(cxx, cyy), 1e-9), 1e-9)))
    return normal.astype(np.float32), np.where(usable, tilt, np.nan).astype(np.float32)


def _over_square(part: NDArray[np.generic]) -> Array:
    square = (_WINDOW, _WINDOW)
    return np.asarray(
        cv2.boxFilter(part.astype(np.float64), -1, square, normalize=False, borderType=cv2.BORDER_CONSTANT)
    )


def systematic(view: TwoView, correspondence: Correspondence) -> float:
    """How much the relief may be stretched or sheared by what lenses and pose leave open, as a share of distance.

    Every way in which the calibration may be off by one standard deviation is tried: the points it gives are laid
    over the original ones by the best similarity, which no later use can tell, and what is left is counted.
    """
    rows, columns = np.nonzero(correspondence.confidence > 0.5)
    pick = slice(None, None, max(1, len(rows) // 400))
    p = np.column_stack([columns[pick], rows[pick]]).astype(np.float64)
    q = np.column_stack([m[rows[pick], columns[pick]] for m in (correspondence.camera_x, correspondence.camera_y)])
    exact = _triangulated(view.projector, view.camera, p, q.astype(np.float64))
    total = 0.0
    for projector, camera in view.variants:
        other = _triangulated(projector, camera, p, q.astype(np.float64))
        good = np.all(np.isfinite(other), axis=1) & np.all(np.isfinite(exact), axis=1)
        total += float(np.median(np.linalg.norm(laid_over(other[good], exact[good]) - exact[good], axis=1)) ** 2)
    return float(np.sqrt(total) / np.nanmedian(np.linalg.norm(exact, axis=1)))


def _triangulated(projector: Device, camera: Device, p: Array, q: Array) -> Array:
    depth, _ = ray_depth(projector, camera, p, q)
    ray = np.hstack([(p - projector.centre_px) / projector.focal_px, np.ones((len(p), 1))])
    return np.where(depth[:, None] > 0.0, ray * depth[:, None], np.nan)


def similarity(source: Array, target: Array) -> tuple[float, Array, Array]:
    """Scale, rotation and shift that lay points (N, 3) over others best: Umeyama, IEEE PAMI 13(4), 1991."""
    mean_s, mean_t = source.mean(axis=0), target.mean(axis=0)
    u, strength, vt = np.linalg.svd((target - mean_t).T @ (source - mean_s))
    sign = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    rotation = u @ sign @ vt
    scale = float(np.sum(strength * np.diag(sign)) / np.sum((source - mean_s) ** 2))
    return scale, rotation, mean_t - scale * rotation @ mean_s


def laid_over(source: Array, target: Array) -> Array:
    """Points (N, 3) after the best similarity onto others."""
    scale, rotation, shift = similarity(source, target)
    return scale * source @ rotation.T + shift
