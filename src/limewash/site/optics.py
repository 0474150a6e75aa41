"""Throw, offset, keystone, focus and tilt: the arithmetic of projector data sheets."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError

Array = NDArray[np.float64]

ARC_MINUTE_RAD = math.radians(1.0 / 60.0)
"""The smallest angle that a good eye separates."""


def picture_width_m(distance_m: float, *, throw_ratio: float, throw_extra_m: float = 0.0) -> float:
    """Width of a square-on picture: distance = throw ratio x width + extra. [m]"""
    if throw_ratio <= 0.0:
        raise InputError(f"throw_ratio must be > 0, got {throw_ratio!r}")
    return (distance_m - throw_extra_m) / throw_ratio


def throw_distance_m(width_m: float, *, throw_ratio: float, throw_extra_m: float = 0.0) -> float:
    """Distance at which a square-on picture gets `width_m` wide. [m]"""
    return throw_ratio * width_m + throw_extra_m


def size_from_diagonal_m(diagonal_m: float, *, size_px: tuple[int, int]) -> tuple[float, float]:
    """Width and height of a picture from its diagonal. [m]"""
    slope = math.hypot(*size_px)
    return diagonal_m * size_px[0] / slope, diagonal_m * size_px[1] / slope


def field_rad(throw_ratio: float, *, size_px: tuple[int, int]) -> tuple[float, float]:
    """Angles across and up that the picture fills without lens shift. [rad]"""
    aspect = size_px[1] / size_px[0]
    return 2.0 * math.atan(0.5 / throw_ratio), 2.0 * math.atan(0.5 * aspect / throw_ratio)


def prop_height_m(tilt_rad: float, *, foot_spacing_m: float) -> float:
    """Lift under the rear feet that aims the projector down; negative: under the front feet, aiming up. [m]"""
    return -foot_spacing_m * math.tan(tilt_rad)


@dataclass(frozen=True)
class Focus:
    """What is sharp when the lens is focused at one depth.

    Attributes
    ----------
    at_m : float
        Depth of best focus, along the lens axis. [m]
    near_m, far_m : float
        Where the blur reaches one pixel; `far_m` may be infinite. [m]
    hyperfocal_m : float
        Focused there, all from half of it to infinity is sharp. [m]
    """

    at_m: float
    near_m: float
    far_m: float
    hyperfocal_m: float


def focal_length_m(throw_ratio: float, *, panel_width_m: float) -> float:
    """Thin lens, screen far away against the focal length. [m]"""
    return throw_ratio * panel_width_m


def focus_limits(at_m: float, *, focal_m: float, f_number: float, blur_m: float) -> Focus:
    """Near and far limit of sharpness.

    Parameters
    ----------
    at_m : float
        Depth of best focus, more than `focal_m`. [m]
    focal_m, f_number : float
        Of the lens. [m], [-]
    blur_m : float
        Largest blur circle on the panel: the width of one pixel. [m]

    Notes
    -----
    The depth-of-field formulas of photography [1]_, read from the panel outwards.

    References
    ----------
    .. [1] dofmaster.com/equations2.html
    """
    if at_m <= focal_m:
        raise InputError(f"at_m must be more than the focal length {focal_m:g} m, got {at_m:g}")
    hyperfocal = focal_m**2 / (f_number * blur_m) + focal_m
    near = at_m * (hyperfocal - focal_m) / (hyperfocal + at_m - 2.0 * focal_m)
    far = at_m * (hyperfocal - focal_m) / (hyperfocal - at_m) if hyperfocal > at_m else math.inf
    return Focus(at_m, near, far, hyperfocal)


def blur_px(depth_m: ArrayLike, *, at_m: float, focal_m: float, f_number: float, pixel_m: float) -> Array:
    """Width of the blur circle in pixels at depths of any shape, when focused at `at_m`. [px]

    One pixel at the limits of `focus_limits`.
    """
    s = np.asarray(depth_m, dtype=np.float64)
    circle: Array = focal_m**2 * np.abs(s - at_m) / (f_number * s * (at_m - focal_m))
    return circle / pixel_m


def best_focus_m(near_m: float, far_m: float) -> float:
    """The depth of focus that blurs both ends alike: their harmonic mean. [m]"""
    return 2.0 * near_m * far_m / (near_m + far_m)


def obliquity(incidence_rad: ArrayLike) -> tuple[Array, Array]:
    """Share of light left, and stretch of the pixels, on a surface turned by an angle (Lambert). [-], [-]"""
    cosine = np.cos(np.asarray(incidence_rad, dtype=np.float64))
    return cosine, 1.0 / cosine
