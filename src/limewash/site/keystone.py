"""What digital keystone correction costs, against leaving it off and letting the map bend the show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import linprog
from shapely.geometry import Polygon

from limewash.geometry.device import Device
from limewash.geometry.homography import apply_homography
from limewash.site.surface import NEAR_M, Surface

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Keystone:
    """The lit trapezoid on a plane, and the upright picture that the projector's own correction would leave.

    Attributes
    ----------
    corners_m : ndarray of shape (4, 2)
        Top left, top right, bottom right, bottom left of the trapezoid in (u, v). [m]
    area_m2 : float
        Of the trapezoid. [m2]
    side_ratio : float
        Longer over shorter of its upper and lower (or left and right) edges, whichever differ more. [-]
    upright_m : (float, float, float, float)
        Left, bottom, width, height of the largest upright picture of the same aspect inside it. [m]
    pixels_kept : float
        Share of the pixels, and of the light of an even lens, that this picture would still use. [-]
    area_kept : float
        Share of the lit area that it would still cover. [-]
    """

    corners_m: Array
    area_m2: float
    side_ratio: float
    upright_m: tuple[float, float, float, float]
    pixels_kept: float
    area_kept: float


def keystone(device: Device, surface: Surface) -> Keystone | None:
    """Reckon the trapezoid on a surface's plane; None where part of the picture misses the plane."""
    matrix = surface.to_picture(device)
    back: Array = np.linalg.inv(matrix).astype(np.float64)
    width, height = device.size
    frame = np.array([(-0.5, -0.5), (width - 0.5, -0.5), (width - 0.5, height - 0.5), (-0.5, height - 0.5)])
    corners = apply_homography(back, frame)
    depth = corners @ matrix[2, :2] + matrix[2, 2]
    if not (depth > NEAR_M).all() or float(surface.height_above(device.position_m)) <= 0.0:
        return None
    lit = Polygon(corners)
    left, bottom, wide, tall = largest_upright(corners, height / width)
    upright = np.array([(left, bottom), (left + wide, bottom), (left + wide, bottom + tall), (left, bottom + tall)])
    kept = Polygon(apply_homography(matrix, upright)).area / (width * height)
    edges = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    ratios = [max(a / b, b / a) for a, b in ((edges[0], edges[2]), (edges[1], edges[3]))]
    return Keystone(corners, lit.area, max(ratios), (left, bottom, wide, tall), kept, wide * tall / lit.area)


def largest_upright(corners: Array, height_per_width: float) -> tuple[float, float, float, float]:
    """Largest upright rectangle of one aspect inside a convex quadrilateral, shape (4, 2).

    Returns
    -------
    left, bottom, width, height : float
        In the units of the corners.
    """
    ring = corners if shapely.LinearRing(corners).is_ccw else corners[::-1]
    edge = np.roll(ring, -1, axis=0) - ring
    outward = np.column_stack([edge[:, 1], -edge[:, 0]])
    reach = np.einsum("ij,ij->i", outward, ring)
    # Unknown: left, bottom, width. Each of the rectangle's corners must lie inside each of the four edges.
    rows, limits = [], []
    for across, up in ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)):
        size = outward @ np.array([across, up * height_per_width])
        rows.append(np.column_stack([outward, size]))
        limits.append(reach)
    found = linprog(
        [0.0, 0.0, -1.0],
        A_ub=np.vstack(rows),
        b_ub=np.concatenate(limits),
        bounds=[(None, None), (None, None), (0.0, None)],
    )
    left, bottom, width = (float(value) for value in found.x)
    return left, bottom, width, width * height_per_width
