"""Flat shapes in the world with a frame of their own, in which they are drawn in metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from limewash.geometry.device import Device

Array = NDArray[np.float64]

NEAR_M = 0.02
"""What lies nearer to the lens than this along its axis counts as behind it."""


@dataclass(frozen=True)
class Surface:
    """A flat shape: where it is, and its outline in its own plane.

    Attributes
    ----------
    name, section : str
        What the person calls it, and the section of the house it belongs to.
    origin_m : ndarray of shape (3,)
        World place of (u, v) = (0, 0); for an upright part parallel to the wall, (u, v) are world x and y. [m]
    axes : ndarray of shape (3, 3)
        Rows: u (to the right, seen from the front), v (up) and the outward normal.
    shape : shapely geometry
        Outline in (u, v), openings taken out. [m]
    outline : shapely geometry
        The same with its openings. [m]
    reflectance : float
        Of the diffuse surface; NaN where it does not matter. [-]
    """

    name: str
    section: str
    origin_m: Array
    axes: Array
    shape: BaseGeometry
    outline: BaseGeometry
    reflectance: float = float("nan")

    @property
    def normal(self) -> Array:
        normal: Array = self.axes[2]
        return normal

    @property
    def panes(self) -> tuple[BaseGeometry, ...]:
        """The openings, as far as they lie on the surface, in (u, v). [m]"""
        glass = self.outline.difference(self.shape)
        return () if glass.is_empty else tuple(shapely.get_parts(glass))

    def world(self, uv: ArrayLike) -> Array:
        """Points of the plane, shape (..., 2), in the world, shape (..., 3). [m]"""
        p = np.asarray(uv, dtype=np.float64)
        placed: Array = self.origin_m + p @ self.axes[:2]
        return placed

    def plane(self, points_m: ArrayLike) -> Array:
        """World points (..., 3) dropped onto the plane: (..., 2). [m]"""
        dropped: Array = (np.asarray(points_m, dtype=np.float64) - self.origin_m) @ self.axes[:2].T
        return dropped

    def height_above(self, points_m: ArrayLike) -> Array:
        """How far world points (..., 3) lie in front of the plane. [m]"""
        above: Array = (np.asarray(points_m, dtype=np.float64) - self.origin_m) @ self.axes[2]
        return above

    def to_picture(self, device: Device) -> Array:
        """The homography from (u, v) [m] to the pixels of a device without distortion, shape (3, 3)."""
        base = device.rotation @ (self.origin_m - device.position_m)
        columns = np.column_stack([device.rotation @ self.axes[0], device.rotation @ self.axes[1], base])
        matrix: Array = device.camera_matrix @ columns
        return matrix

    def in_front(self, device: Device) -> BaseGeometry:
        """The part of the outline that is in front of a device, in (u, v)."""
        depth = self.to_picture(device)[2]
        return above_line(self.shape, depth[0], depth[1], depth[2] - NEAR_M)


def flat_surface(
    corners_m: Array,
    *,
    name: str,
    section: str = "",
    reflectance: float = float("nan"),
    openings: tuple[tuple[float, float, float, float], ...] = (),
) -> Surface:
    """A surface through corners of shape (N, 3) [m], facing the street (or the sky, if it lies flat)."""
    normal = _newell(corners_m)
    if normal[2] < -1e-9 or (abs(normal[2]) <= 1e-9 and normal[1] < 0.0):
        normal = -normal
    axes = frame(normal)
    origin = corners_m.mean(axis=0)
    if normal[2] > 1.0 - 1e-12:
        origin = np.array([0.0, 0.0, origin[2]])
    outline = Polygon((corners_m - origin) @ axes[:2].T)
    glass = [shapely.box(left, bottom, left + w, bottom + h) for left, bottom, w, h in openings]
    shape = outline.difference(shapely.union_all(glass)) if glass else outline
    return Surface(name, section, origin, axes, shape, outline, reflectance)


def frame(normal: Array) -> Array:
    """Axes u (level), v (up the plane) and the normal, as rows."""
    level = np.cross([0.0, 1.0, 0.0], normal)
    size = float(np.linalg.norm(level))
    u = level / size if size > 1e-9 else np.array([1.0, 0.0, 0.0])
    return np.stack([u, np.cross(normal, u), normal])


def above_line(shape: BaseGeometry, a: float, b: float, c: float) -> BaseGeometry:
    """The part of a shape where a*x + b*y + c > 0."""
    if shape.is_empty:
        return shape
    left, bottom, right, top = shape.bounds
    corners = np.array([(left, bottom), (right, bottom), (right, top), (left, top)])
    value = corners @ np.array([a, b]) + c
    if (value > 0.0).all():
        return shape
    if (value <= 0.0).all():
        return Polygon()
    return shape.intersection(Polygon(_clip(corners, value)))


def _clip(corners: Array, value: Array) -> Array:
    kept = []
    for here, there, at_here, at_there in zip(
        corners, np.roll(corners, -1, axis=0), value, np.roll(value, -1), strict=True
    ):
        if at_here > 0.0:
            kept.append(here)
        if (at_here > 0.0) != (at_there > 0.0):
            kept.append(here + (there - here) * (at_here / (at_here - at_there)))
    return np.array(kept)


def _newell(corners_m: Array) -> Array:
    following = np.roll(corners_m, -1, axis=0)
    normal = np.cross(corners_m, following).sum(axis=0)
    unit: Array = normal / np.linalg.norm(normal)
    return unit
