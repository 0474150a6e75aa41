"""Elliptical arcs between SVG's endpoint form, the centre form, and their image under an affine map."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.geometry.path import Arc, Line

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CentreArc:
    """The same arc by its centre: centre + axes @ (cos t, sin t), t from `start_rad` over `sweep_rad`.

    Attributes
    ----------
    centre : ndarray of shape (2,)
        Middle of the ellipse. [px]
    axes : ndarray of shape (2, 2)
        Its columns are the two half axes. [px]
    start_rad, sweep_rad : float
        Angle parameter at the start, and signed turn from there to the end. [rad]
    """

    centre: Array
    axes: Array
    start_rad: float
    sweep_rad: float

    def at(self, angle_rad: Array) -> Array:
        """Points of shape (N, 2) at angle parameters (N,)."""
        return self.centre + np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=-1) @ self.axes.T

    def slope(self, angle_rad: Array) -> Array:
        """Derivative by the angle parameter, shape (N, 2)."""
        return np.stack([-np.sin(angle_rad), np.cos(angle_rad)], axis=-1) @ self.axes.T


def tidy_arc(arc: Arc) -> Arc | Line | None:
    """Apply SVG's rules for arcs out of range: None if it goes nowhere, a line if a radius is zero.

    References
    ----------
    .. [1] W3C, Scalable Vector Graphics (SVG) 2, section 9.5.1 "Out-of-range elliptical arc parameters"
       (cited from memory).
    """
    if arc.start == arc.end:
        return None
    rx, ry = abs(arc.radius[0]), abs(arc.radius[1])
    if rx == 0.0 or ry == 0.0:
        return Line(arc.start, arc.end)
    return Arc(arc.start, arc.end, (rx, ry), arc.rotation_deg, arc.large, arc.sweep)


def to_centre(arc: Arc) -> CentreArc:
    """Centre form of an arc whose ends differ and whose radii are positive; too small radii are enlarged.

    References
    ----------
    .. [1] W3C, Scalable Vector Graphics (SVG) 2, appendix B.2.4 "Conversion from endpoint to center
       parameterization" (cited from memory).
    """
    phi = math.radians(arc.rotation_deg)
    turn = np.array([[math.cos(phi), -math.sin(phi)], [math.sin(phi), math.cos(phi)]])
    start, end = np.asarray(arc.start), np.asarray(arc.end)
    radius = np.abs(np.asarray(arc.radius, dtype=np.float64))
    half = turn.T @ (start - end) / 2.0 / radius  # in the frame where the ellipse is the unit circle
    reach = float(half @ half)
    if reach >= 1.0:
        radius = radius * math.sqrt(reach)
        half = half / math.sqrt(reach)
        lift = 0.0
    else:
        lift = math.sqrt((1.0 - reach) / reach)
    sign = -1.0 if arc.large == arc.sweep else 1.0
    middle = sign * lift * np.array([half[1], -half[0]])
    axes = turn * radius
    first = math.atan2(half[1] - middle[1], half[0] - middle[0])
    last = math.atan2(-half[1] - middle[1], -half[0] - middle[0])
    sweep = (last - first) % (2.0 * math.pi)
    if not arc.sweep:
        sweep -= 2.0 * math.pi
    return CentreArc((start + end) / 2.0 + axes @ middle, axes, first, sweep)


def transform_arc(arc: Arc, matrix: Array, start: tuple[float, float], end: tuple[float, float]) -> Arc:
    """The image of an arc under the 2x2 linear part `matrix`, between the moved ends.

    Raises InputError if the matrix flattens the plane to a line.
    """
    if abs(float(np.linalg.det(matrix))) < 1e-12 * max(float(np.abs(matrix).max()) ** 2, 1e-300):
        raise InputError("an arc cannot be drawn through a transform that flattens it to a line")
    phi = math.radians(arc.rotation_deg)
    turn = np.array([[math.cos(phi), -math.sin(phi)], [math.sin(phi), math.cos(phi)]])
    u, radius, _ = np.linalg.svd(matrix @ turn @ np.diag(np.abs(arc.radius)))
    return Arc(
        start=start,
        end=end,
        radius=(float(radius[0]), float(radius[1])),
        rotation_deg=math.degrees(math.atan2(u[1, 0], u[0, 0])),
        large=arc.large,
        sweep=arc.sweep == bool(np.linalg.det(matrix) > 0.0),
    )
