"""Light on flat surfaces by exact perspective: illuminance, luminance, contrast, pixel pitch, obliquity.

Each pixel of the panel sends out the same light (less towards the corners, if the data sheet says so). A
patch of wall gets the light of the pixels that fall on it; the share of the panel that a square metre of
wall fills is the Jacobian of the perspective. So light falls with the square of the distance and with the
cosine at the wall, and no light is lost or won by turning the projector.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from limewash.geometry.device import Device
from limewash.site.surface import Surface

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Output:
    """What a projector sends out: light [lm], contrast [-], and illuminance in the corner over centre [-]."""

    light_lm: float
    contrast: float
    corner_light: float = 1.0


def panel_weight(pixels: ArrayLike, size: tuple[int, int], corner_light: float) -> Array:
    """Light of a pixel against the mean of the panel, for pixels of shape (..., 2). [-]

    It falls with the square of the distance from the middle, down to `corner_light` of the centre.
    """
    p = np.asarray(pixels, dtype=np.float64)
    half = np.array(size) / 2.0
    r2 = ((p + 0.5 - half) ** 2).sum(axis=-1) / (half**2).sum()
    weight: Array = (1.0 - (1.0 - corner_light) * r2) / (1.0 - (1.0 - corner_light) / 3.0)
    return weight


def light_share(picture: BaseGeometry, size: tuple[int, int], corner_light: float = 1.0) -> float:
    """Share of the projector's light that goes through a shape of its picture, exactly. [-]

    Parameters
    ----------
    picture : shapely geometry
        Polygons in pixels, inside the picture.
    size : (int, int)
        Of the panel [px].
    corner_light : float
        As in `Output`.
    """
    whole = size[0] * size[1]
    if corner_light == 1.0:
        return float(picture.area) / whole
    half = np.array(size) / 2.0
    moment = sum(_second_moment(polygon, half - 0.5) for polygon in shapely.get_parts(picture))
    fall = 1.0 - corner_light
    light = (picture.area - fall * moment / (half**2).sum()) / (1.0 - fall / 3.0)
    return float(light) / whole


def illuminance_lx(device: Device, output: Output, points_m: ArrayLike, normal: ArrayLike) -> Array:
    """Illuminance of a white picture at points (..., 3) of surfaces with unit normals (3,) or (..., 3). [lx]

    What lies outside the picture, behind the lens or turned away gets nothing; shadows are not regarded.

    Notes
    -----
    A patch dA at d from the lens, its normal at angle i to the ray, fills the solid angle dA cos(i) / |d|²;
    one pixel square fills cos³(e) / (fx fy) at an angle e off the axis. Their ratio, with cos(e) = z / |d|,
    is fx fy |d| cos(i) / z³ pixels a square metre.
    """
    p = np.asarray(points_m, dtype=np.float64)
    ray = p - device.position_m
    depth = ray @ device.rotation[2]
    facing = -(ray * np.asarray(normal)).sum(axis=-1)
    pixels = device.project(p)
    inside = in_picture(pixels, device.size) & (facing > 0.0)
    fx, fy = device.focal_px
    with np.errstate(divide="ignore", invalid="ignore"):
        density = fx * fy * facing / depth**3
    weight = panel_weight(pixels, device.size, output.corner_light)
    light = output.light_lm / (device.size[0] * device.size[1])
    lit: Array = np.where(inside, light * weight * density, 0.0)
    return lit


def in_picture(pixels: Array, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Which pixels of shape (..., 2) lie inside the edge of the picture."""
    x, y = pixels[..., 0], pixels[..., 1]
    return (x >= -0.5) & (x <= size[0] - 0.5) & (y >= -0.5) & (y <= size[1] - 0.5)


def pixel_pitch_m(device: Device, surface: Surface, uv: ArrayLike) -> tuple[Array, Array, Array]:
    """Size of a pixel on a surface at points (..., 2) of its plane.

    Returns
    -------
    across, down, worst : ndarray of shape (...)
        How far apart neighbours in a row and in a column land, and the longest step in any direction. [m]
    """
    p = np.asarray(uv, dtype=np.float64)
    matrix = surface.to_picture(device)
    w = p @ matrix[2, :2] + matrix[2, 2]
    pixels = (p @ matrix[:2, :2].T + matrix[:2, 2]) / w[..., None]
    # d(pixel)/d(uv), then its inverse.
    jacobian = (matrix[:2, :2] - pixels[..., :, None] * matrix[2, :2]) / w[..., None, None]
    inverse = np.linalg.inv(jacobian)
    across = np.linalg.norm(inverse[..., :, 0], axis=-1)
    down = np.linalg.norm(inverse[..., :, 1], axis=-1)
    return across, down, np.linalg.svd(inverse, compute_uv=False)[..., 0]


def incidence_rad(device: Device, surface: Surface, points_m: ArrayLike) -> Array:
    """Angle between the light and the surface's normal at world points (..., 3). [rad]"""
    ray = np.asarray(points_m, dtype=np.float64) - device.position_m
    cosine = -(ray @ surface.normal) / np.linalg.norm(ray, axis=-1)
    angle: Array = np.arccos(np.clip(cosine, -1.0, 1.0))
    return angle


def _second_moment(polygon: Polygon, middle: Array) -> float:
    """Integral of the squared distance from `middle` over a polygon, holes taken out."""
    rings = [(polygon.exterior, 1.0)] + [(hole, -1.0) for hole in polygon.interiors]
    return sum(sign * _ring_moment(np.array(ring.coords) - middle) for ring, sign in rings)


def _ring_moment(ring: Array) -> float:
    (x0, y0), (x1, y1) = ring[:-1].T, ring[1:].T
    cross = x0 * y1 - x1 * y0
    moment = (cross * (x0 * x0 + x0 * x1 + x1 * x1 + y0 * y0 + y0 * y1 + y1 * y1)).sum() / 12.0
    return abs(float(moment))
