"""One segment laid on one edge of the photo, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import NDArray

from limewash.facade.peaks import peaks
from limewash.facade.profiles import Profiles, clearness, prevailing
from limewash.facade.robust import robust_weights, weighted_fit
from limewash.geometry.path import Arc, Cubic, Line, Point, Segment
from limewash.geometry.path_arc import transform_arc
from limewash.geometry.path_measure import points_at, segment_length, tangents_at

Array = NDArray[np.float64]

LEAST_SUPPORT = 0.45
_LINE_TERMS, _ARC_TERMS = 2, 6
_ROUNDS = 6
_CLEAR = 6.0
"""Standard errors by which the mean edge along the line must differ from none; chance alone reaches about 4."""
_BOW_PX = 0.3
"""A line is bent only if its edge bows by more than this."""


@dataclass(frozen=True, eq=False)
class EdgeFit:
    """A segment on an edge.

    Attributes
    ----------
    segment : Segment
        With its own ends, before it is joined to its neighbours. [px]
    offset_px : ndarray of shape (N,)
        How far the edge lies from what was drawn, at each profile along it. [px]
    residual_px : float
        Spread of the edge around it: 1.48 times the median distance. [px]
    support : float
        Share of the places along it where the edge was found, 0 to 1.
    clear : bool
        Whether the edge is there along enough of it, and is more than chance.
    line_step : float
        How much darker or lighter than both its sides the thin line is that the edge bounds, 0 if it bounds none:
        change of the logarithm of the light. [-]
    """

    segment: Segment
    offset_px: Array
    residual_px: float
    support: float
    clear: bool
    line_step: float = 0.0


def fit_edge(segment: Segment, profiles: Profiles, guess: Array) -> EdgeFit | None:
    """Fit the edge that runs near `guess` (N,) through some profiles; None if too few of them show one.

    Two rounds of peaks and robust fit, the second in a narrower window.
    """
    basis = _basis(segment, profiles)
    offset = guess
    for window_px in (2.0, 1.25):
        colour = prevailing(profiles, offset)
        place, height = peaks(profiles.slope, colour, profiles.offsets, offset, window_px)
        found = np.isfinite(place)
        if found.any():
            found &= height > 0.25 * np.median(height[found])
        if found.sum() < max(6, basis.shape[1] + 2):
            return None
        weights = _robust(basis, place, np.where(found, np.sqrt(height), 0.0))
        model = _weighted(basis, place, weights)
        offset = np.asarray(basis @ model, dtype=np.float64)
    rest = np.abs(place - offset)
    residual = 1.4826 * float(np.median(rest[found]))
    support = float((found & (rest < 0.75)).mean())
    clear = support >= LEAST_SUPPORT and clearness(profiles, offset) >= _CLEAR
    if isinstance(segment, Line):
        bowed = _bow(profiles.share, place, weights, segment_length(segment), residual)
        moved: Segment = _moved_line(segment, profiles, model if bowed is None else bowed)
    elif isinstance(segment, Arc):
        moved = _moved_arc(segment, model, _frame(segment))
    else:
        moved = _moved_cubic(segment, model)
    return EdgeFit(moved, offset, residual, support, clear)


def distance_px(a: EdgeFit, b: EdgeFit) -> float:
    """How far two fits of one segment lie apart in the mean. [px]"""
    return float(np.abs(a.offset_px - b.offset_px).mean())


def alike(a: EdgeFit, b: EdgeFit) -> bool:
    """Whether two fits can be blended: both straight, or both curves of the same kind that are no arcs."""
    return type(a.segment) is type(b.segment) and not isinstance(a.segment, Arc)


def blended(fits: list[EdgeFit], shares: Array) -> EdgeFit:
    """What lies between fits that are `alike`, the first of them leading; shares (K,) need not add up to one."""
    if len(fits) == 1:
        return fits[0]
    share = shares / shares.sum()
    handles = np.einsum("k,kpc->pc", share, np.array([_handles(fit.segment) for fit in fits]))
    points = [_point(p) for p in handles]
    segment: Segment = Cubic(*points) if isinstance(fits[0].segment, Cubic) else Line(*points)
    offset = np.einsum("k,kn->n", share, np.array([fit.offset_px for fit in fits]))
    return replace(fits[0], segment=segment, offset_px=offset, support=max(fit.support for fit in fits))


def _handles(segment: Segment) -> list[Point]:
    if isinstance(segment, Cubic):
        return [segment.start, segment.control1, segment.control2, segment.end]
    return [segment.start, segment.end]


def _basis(segment: Segment, profiles: Profiles) -> Array:
    """Columns of the linear model of the offsets: a line's two, an arc's affine move, a cubic's four."""
    t = profiles.share
    if isinstance(segment, Line):
        return np.column_stack([1.0 - t, t])
    if isinstance(segment, Arc):
        centre, size = _frame(segment)
        x, y = ((profiles.points - centre) / size).T
        nx, ny = profiles.normals.T
        return np.column_stack([nx, ny, nx * x, nx * y, ny * x, ny * y])
    return np.asarray(polynomial.polyvander(t, 3), dtype=np.float64)


def _frame(segment: Arc) -> tuple[Array, float]:
    """Middle and size of an arc, to keep the affine model's columns alike."""
    points = points_at(segment, np.linspace(0.0, 1.0, 9))
    centre = points.mean(axis=0)
    return centre, float(np.hypot(*(points - centre).T).mean())


def _robust(basis: Array, place: Array, weights: Array) -> Array:
    return robust_weights(basis, place, weights, _pull(basis.shape[1]), _ROUNDS)


def _weighted(basis: Array, place: Array, weights: Array) -> Array:
    return weighted_fit(basis, place, weights, _pull(basis.shape[1]))


@cache
def _pull(terms: int) -> Array:
    """A slight pull to zero, for models that the data do not fix whole."""
    # Shear and turn of an arc hang on its shoulders alone: they are believed only when much speaks for them.
    return np.array([1e-2, 1e-2, 2e-2, 1.5, 1.5, 2e-2]) if terms == _ARC_TERMS else np.full(terms, 1e-2)


def _bow(share: Array, place: Array, weights: Array, length_px: float, residual_px: float) -> Array | None:
    """Coefficients (3,) of a gently bent edge, if it is clearly bent and not by more than a lens would."""
    if length_px < 60.0:
        return None
    basis = np.asarray(polynomial.polyvander(share, 2), dtype=np.float64)
    again = _robust(basis, place, np.where(np.isfinite(place), np.maximum(weights, 0.05 * weights.max()), 0.0))
    coefficients = _weighted(basis, place, again)
    bow_px = abs(float(coefficients[2])) / 4.0
    noise_px = residual_px / np.sqrt(max(int((again > 0).sum()), 1) / 8.0)
    return coefficients if max(_BOW_PX, 3.0 * noise_px) < bow_px < 0.02 * length_px else None


def _moved_line(segment: Line, profiles: Profiles, model: Array) -> Line | Cubic:
    """The line with both ends moved along its normal by two offsets; bent, as a cubic, by a parabola of three terms."""
    normal = profiles.normals[0]
    a, b = np.asarray(segment.start), np.asarray(segment.end)
    if len(model) == _LINE_TERMS:
        return Line(_point(a + model[0] * normal), _point(b + model[1] * normal))
    c0, c1, c2 = model
    ends = (a + c0 * normal, b + (c0 + c1 + c2) * normal)
    middle = a + 0.5 * (b - a) + (c0 + 0.5 * c1) * normal  # control point of the same curve as a quadratic
    return Cubic(
        _point(ends[0]),
        _point(ends[0] + 2.0 / 3.0 * (middle - ends[0])),
        _point(ends[1] + 2.0 / 3.0 * (middle - ends[1])),
        _point(ends[1]),
    )


def _moved_arc(segment: Arc, model: Array, frame: tuple[Array, float]) -> Arc:
    centre, size = frame
    matrix = np.eye(2) + np.array([[model[2], model[3]], [model[4], model[5]]]) / size

    def move(p: Point) -> Point:
        return _point(centre + matrix @ (np.asarray(p) - centre) + model[:2])

    return transform_arc(segment, matrix, move(segment.start), move(segment.end))


def _moved_cubic(segment: Cubic, model: Array) -> Cubic:
    """The cubic nearest to the old one moved by its offsets, at equal parameters."""
    t = np.linspace(0.0, 1.0, 33)
    tangent = tangents_at(segment, t)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    normal /= np.maximum(np.hypot(*normal.T), 1e-12)[:, None]
    target = points_at(segment, t) + polynomial.polyval(t, model)[:, None] * normal
    basis = np.column_stack([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3])
    p = np.linalg.lstsq(basis, target, rcond=None)[0]
    return Cubic(_point(p[0]), _point(p[1]), _point(p[2]), _point(p[3]))


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
