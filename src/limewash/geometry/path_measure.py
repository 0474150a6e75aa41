"""Points, tangents, lengths and bounding boxes of path segments."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipeinc

from limewash.geometry.path import Arc, Cubic, Line, Path2, Segment
from limewash.geometry.path_arc import to_centre

Array = NDArray[np.float64]

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(16)


def points_at(segment: Segment, t: ArrayLike) -> Array:
    """Points of a segment.

    Parameters
    ----------
    segment : Line, Arc or Cubic
    t : array_like of shape (N,)
        0 at its start to 1 at its end. [-]

    Returns
    -------
    points : ndarray of shape (N, 2)
        Same unit as the segment; exactly its ends at 0 and 1. [px]
    """
    s = np.atleast_1d(np.asarray(t, dtype=np.float64))
    if isinstance(segment, Arc):
        arc = to_centre(segment)
        points = arc.at(arc.start_rad + arc.sweep_rad * s)
    else:
        points = _bernstein(len(_controls(segment)) - 1, s) @ _controls(segment)
    points[s == 0.0] = segment.start
    points[s == 1.0] = segment.end
    return points


def tangents_at(segment: Segment, t: ArrayLike) -> Array:
    """Derivatives by t of shape (N, 2), not normalised; see `points_at`. [px]"""
    s = np.atleast_1d(np.asarray(t, dtype=np.float64))
    if isinstance(segment, Arc):
        arc = to_centre(segment)
        return arc.slope(arc.start_rad + arc.sweep_rad * s) * arc.sweep_rad
    controls = _controls(segment)
    degree = len(controls) - 1
    return degree * (_bernstein(degree - 1, s) @ np.diff(controls, axis=0))


def segment_length(segment: Segment) -> float:
    """Length along a segment [px]; relative error below 1e-9."""
    if isinstance(segment, Line):
        return math.dist(segment.start, segment.end)
    if isinstance(segment, Arc):
        arc = to_centre(segment)
        rx, ry = np.hypot(*arc.axes)
        # ds = sqrt(rx^2 sin^2 + ry^2 cos^2) dt = ry sqrt(1 - m sin^2) dt, the elliptic integral of the second kind
        m = 1.0 - (rx / ry) ** 2
        stop = arc.start_rad + arc.sweep_rad
        return float(abs(ry * (ellipeinc(stop, m) - ellipeinc(arc.start_rad, m))))
    return _cubic_length(segment, 0.0, 1.0, _gauss_length(segment, 0.0, 1.0), 0)


def path_length(path: Path2) -> float:
    """Length along all segments of a path [px]."""
    return sum(segment_length(segment) for segment in path.segments)


@dataclass(frozen=True)
class Box:
    """Upright bounding box, edges included. [px]"""

    left: float
    top: float
    right: float
    bottom: float


def bounding_box(path: Path2) -> Box:
    """Smallest upright box around a path, exact for arcs and cubics too."""
    points = np.vstack([points_at(s, np.concatenate([[0.0, 1.0], _extremes(s)])) for s in path.segments])
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return Box(float(left), float(top), float(right), float(bottom))


def _controls(segment: Line | Cubic) -> Array:
    if isinstance(segment, Line):
        return np.array([segment.start, segment.end], dtype=np.float64)
    return np.array([segment.start, segment.control1, segment.control2, segment.end], dtype=np.float64)


def _bernstein(degree: int, t: Array) -> Array:
    """Bernstein polynomials, shape (N, degree + 1)."""
    columns = [math.comb(degree, k) * t**k * (1.0 - t) ** (degree - k) for k in range(degree + 1)]
    return np.stack(columns, axis=-1)


def _gauss_length(segment: Cubic, start: float, stop: float) -> float:
    half = (stop - start) / 2.0
    slope = tangents_at(segment, start + half * (_GAUSS_X + 1.0))
    return float(half * (_GAUSS_W @ np.hypot(slope[:, 0], slope[:, 1])))


def _cubic_length(segment: Cubic, start: float, stop: float, whole: float, depth: int) -> float:
    """Halve until both halves together agree with the whole; a cusp needs many halvings, hence the limit."""
    middle = (start + stop) / 2.0
    left, right = _gauss_length(segment, start, middle), _gauss_length(segment, middle, stop)
    if depth >= 24 or abs(left + right - whole) <= 1e-11 * max(whole, 1e-300):
        return left + right
    return _cubic_length(segment, start, middle, left, depth + 1) + _cubic_length(
        segment, middle, stop, right, depth + 1
    )


def _extremes(segment: Segment) -> Array:
    """Parameters in (0, 1) where x or y may turn."""
    if isinstance(segment, Line):
        return np.empty(0)
    if isinstance(segment, Arc):
        arc = to_centre(segment)
        # dx/dt = 0 where tan t = axes[0, 1] / axes[0, 0], and the same for y
        first = np.arctan2(arc.axes[:, 1], arc.axes[:, 0])
        angles = np.concatenate([first, first + np.pi])
        turns = (angles - arc.start_rad) * np.sign(arc.sweep_rad) % (2.0 * np.pi)
        t = turns / abs(arc.sweep_rad)
    else:
        a, b, c = np.diff(_controls(segment), axis=0)
        roots = [np.roots([p, q, r]) for p, q, r in zip(a - 2 * b + c, 2 * (b - a), a, strict=True)]
        every = np.concatenate(roots)
        t = every.real[np.abs(every.imag) < 1e-9]
    return np.asarray(t[(t > 0.0) & (t < 1.0)], dtype=np.float64)
