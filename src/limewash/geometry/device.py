"""The pinhole model that projector and camera share.

World axes, everywhere in Limewash: the wall plane is z = 0, x to the right along it, y up, z out of the wall
towards the street; the origin is on the ground below the left edge of the facade; metres. A device looks
along its own z axis, with x to the right and y down in its picture. Pixel (0, 0) is the CENTRE of the first
pixel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Device:
    """A projector or a camera: picture size, intrinsics, distortion and pose.

    Attributes
    ----------
    size : (int, int)
        Width and height of the picture [px].
    focal_px : (float, float)
        Focal length along x and y [px].
    centre_px : (float, float)
        Where the optical axis meets the picture (the principal point) [px].
    distortion : (float, float, float, float, float)
        Brown-Conrady k1, k2, p1, p2, k3, in OpenCV's order and sign [-].
    rotation : ndarray of shape (3, 3)
        Takes world directions to device directions (rows: the device's x, y, z axes in the world).
    position_m : ndarray of shape (3,)
        Optical centre in the world [m].
    """

    size: tuple[int, int]
    focal_px: tuple[float, float]
    centre_px: tuple[float, float]
    rotation: Array
    position_m: Array
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)

    @classmethod
    def from_throw(
        cls,
        size: tuple[int, int],
        *,
        throw_ratio: float,
        position_m: ArrayLike,
        yaw_rad: float = 0.0,
        tilt_rad: float = 0.0,
        roll_rad: float = 0.0,
        lens_shift: tuple[float, float] = (0.0, 0.0),
        distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0),
    ) -> Self:
        """Build a device from the words of a data sheet and of a stand.

        Parameters
        ----------
        size : (int, int)
            Native width and height [px].
        throw_ratio : float
            Distance divided by picture width, > 0 (for a camera: focal length divided by sensor width). [-]
        position_m : array_like of shape (3,)
            Optical centre in the world. [m]
        yaw_rad : float
            0 looks straight at the wall; positive turns to the right, towards larger x. [rad]
        tilt_rad : float
            Positive aims up. [rad]
        roll_rad : float
            Positive turns the device clockwise, seen from behind it. [rad]
        lens_shift : (float, float)
            Picture moved to the right and up, as a share of the FULL picture width and height: 0.5 up puts
            the bottom edge level with the lens. [-]
        distortion : five floats
            See `Device`.

        Raises
        ------
        InputError
            If the throw ratio or the size is not positive.
        """
        width, height = size
        if throw_ratio <= 0.0:
            raise InputError(f"throw_ratio must be > 0, got {throw_ratio!r}")
        if width < 2 or height < 2:
            raise InputError(f"size must be at least 2 x 2 pixels, got {width} x {height}")
        focal = throw_ratio * width
        centre = ((width - 1) / 2 - lens_shift[0] * width, (height - 1) / 2 + lens_shift[1] * height)
        return cls(
            size=(int(width), int(height)),
            focal_px=(focal, focal),
            centre_px=centre,
            rotation=rotation_from_aim(yaw_rad, tilt_rad, roll_rad),
            position_m=np.asarray(position_m, dtype=np.float64),
            distortion=distortion,
        )

    @property
    def camera_matrix(self) -> Array:
        """The 3x3 matrix K of the pinhole model."""
        (fx, fy), (cx, cy) = self.focal_px, self.centre_px
        return np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])

    def project(self, points_m: ArrayLike) -> Array:
        """World points of shape (..., 3) [m] to pixels of shape (..., 2); NaN for points not in front."""
        local: Array = (np.asarray(points_m, dtype=np.float64) - self.position_m) @ self.rotation.T
        depth = np.where(local[..., 2] > 1e-9, local[..., 2], np.nan)
        xy = distort(local[..., :2] / depth[..., None], self.distortion)
        pixels: Array = xy * np.asarray(self.focal_px) + np.asarray(self.centre_px)
        return pixels

    def depth_m(self, points_m: ArrayLike) -> Array:
        """Distance of world points (..., 3) along the optical axis [m]."""
        depth: Array = (np.asarray(points_m, dtype=np.float64) - self.position_m) @ self.rotation[2]
        return depth

    def rays(self, pixels: ArrayLike) -> Array:
        """Unit world directions of shape (..., 3) through pixels of shape (..., 2)."""
        p = np.asarray(pixels, dtype=np.float64)
        xy = undistort((p - np.asarray(self.centre_px)) / np.asarray(self.focal_px), self.distortion)
        local = np.concatenate([xy, np.ones_like(xy[..., :1])], axis=-1)
        world: Array = local @ self.rotation
        world /= np.linalg.norm(world, axis=-1, keepdims=True)
        return world

    def wall_points(self, pixels: ArrayLike, *, z_m: float = 0.0) -> Array:
        """Where the rays of pixels (..., 2) meet the plane z = `z_m`: (..., 2) x and y [m]; NaN if they miss."""
        direction = self.rays(pixels)
        travel = (z_m - self.position_m[2]) / np.where(direction[..., 2] == 0.0, np.nan, direction[..., 2])
        travel = np.where(travel > 0.0, travel, np.nan)
        return self.position_m[:2] + travel[..., None] * direction[..., :2]

    def resized(self, size: tuple[int, int]) -> Device:
        """The same view with another number of pixels (the aspect may change with the pixels' shape)."""
        sx, sy = size[0] / self.size[0], size[1] / self.size[1]
        return replace(
            self,
            size=size,
            focal_px=(self.focal_px[0] * sx, self.focal_px[1] * sy),
            centre_px=((self.centre_px[0] + 0.5) * sx - 0.5, (self.centre_px[1] + 0.5) * sy - 0.5),
        )


def rotation_from_aim(yaw_rad: float, tilt_rad: float, roll_rad: float = 0.0) -> Array:
    """World-to-device rotation of a device that looks at the wall, then is yawed, tilted and rolled.

    See `Device.from_throw` for the signs.
    """
    sy, cy = np.sin(yaw_rad), np.cos(yaw_rad)
    st, ct = np.sin(tilt_rad), np.cos(tilt_rad)
    forward = np.array([sy * ct, st, -cy * ct])
    right = np.array([cy, 0.0, sy])
    down = np.cross(forward, right)
    sr, cr = np.sin(roll_rad), np.cos(roll_rad)
    return np.stack([cr * right + sr * down, cr * down - sr * right, forward])


def distort(xy: Array, coefficients: tuple[float, float, float, float, float]) -> Array:
    """Brown-Conrady distortion of normalised coordinates of shape (..., 2), as OpenCV defines it."""
    k1, k2, p1, p2, k3 = coefficients
    if not any(coefficients):
        return xy
    x, y = xy[..., 0], xy[..., 1]
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return np.stack(
        [
            x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        ],
        axis=-1,
    )


def undistort(xy: Array, coefficients: tuple[float, float, float, float, float]) -> Array:
    """Inverse of `distort`, by fixed-point iteration to about 1e-12 for lenses that can be inverted."""
    if not any(coefficients):
        return xy
    guess = xy
    for _ in range(60):
        step = xy - distort(guess, coefficients)
        guess = guess + step
        if np.nanmax(np.abs(step), initial=0.0) < 1e-13:
            break
    return guess
