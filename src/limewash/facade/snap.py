"""Settle a drawn line on the edge that it was meant for, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.profiles import (
    Profiles,
    best_curve,
    best_line,
    clearness,
    cut_profiles,
    peaks,
    signed_strength,
    strength,
)
from limewash.geometry.path import Arc, Cubic, Line, Path2, Point, Segment
from limewash.geometry.path_arc import CentreArc, to_centre, transform_arc
from limewash.geometry.path_measure import points_at, segment_length, tangents_at

Array = NDArray[np.float64]

REACH_PX = 8.0
LEAST_SUPPORT = 0.45
SHORTEST_PX = 8.0
MOST_SAMPLES = 240
_AGAIN_PX = 2.5
_ARC_TERMS = 6
_CLEAR = 6.0
"""Standard errors by which the mean edge along the line must differ from none; chance alone reaches about 4."""
_BOW_PX = 0.3
"""A line is bent only if its edge bows by more than this."""


@dataclass(frozen=True)
class SettledSegment:
    """One segment after settling.

    Attributes
    ----------
    segment : Segment
        With its own ends, before it is joined to its neighbours. [px]
    shift_px : float
        Greatest distance that it moved across. [px]
    residual_px : float
        Spread of the edge around it: 1.48 times the median distance. [px]
    support : float
        Share of the places along it where the edge was found, 0 to 1. It is left as it was below 0.45.
    moved : bool
    """

    segment: Segment
    shift_px: float
    residual_px: float
    support: float
    moved: bool


@dataclass(frozen=True)
class SettledPath:
    """A path after settling, and how each of its segments fared."""

    path: Path2
    segments: tuple[SettledSegment, ...]

    @property
    def support(self) -> float:
        """Mean over the segments. [-]"""
        return float(np.mean([s.support for s in self.segments]))


def settle_path(photo: NDArray[np.uint8], path: Path2, *, reach_px: float = REACH_PX) -> SettledPath:
    """Move each segment of a path onto the strongest edge near it that runs along its whole length.

    Straight segments stay straight, or become gently bent where the lens bent the edge; arcs stay arcs; cubics
    stay cubics. Neighbours meet where they cross. Segments without an edge stay where they were drawn.

    Parameters
    ----------
    photo : ndarray of uint8, shape (H, W, 3)
        As `media.images.read_image` gives it.
    path : Path2
        In photo pixels. [px]
    reach_px : float
        How far to look to either side, 1 to 60. [px]

    Raises
    ------
    InputError
        If the photo or the reach is out of range.

    Notes
    -----
    Profiles across the segment are differentiated in linear light. The line of the strongest edge is found by
    trying all lines within reach (arcs and cubics: by dynamic programming); then the peak of each profile is
    located to sub-pixels and a model fitted to all of them with weights that forget outliers (Tukey's biweight).
    """
    if photo.ndim != 3 or photo.shape[2] != 3 or photo.dtype != np.uint8:
        raise InputError(f"photo must be uint8 of shape (H, W, 3), got {photo.dtype} of shape {photo.shape}")
    if not 1.0 <= reach_px <= 60.0:
        raise InputError(f"reach_px must be 1 to 60, got {reach_px!r}")
    settled = tuple(settle_segment(photo, segment, reach_px=reach_px) for segment in path.segments)
    return SettledPath(_joined(path, settled, reach_px), settled)


def settle_segment(photo: NDArray[np.uint8], segment: Segment, *, reach_px: float = REACH_PX) -> SettledSegment:
    """Settle one segment; see `settle_path`."""
    length = segment_length(segment)
    if length < SHORTEST_PX:
        return _as_it_was(segment)
    count = int(np.clip(length, 16, MOST_SAMPLES))
    # The corners are left out: there the neighbour's edge crosses.
    margin = min(0.1, 2.0 * reach_px / length, 0.25)
    share = np.linspace(margin, 1.0 - margin, count)
    profiles = cut_profiles(photo, points_at(segment, share), tangents_at(segment, share), share, reach_px)
    score = strength(profiles)
    if isinstance(segment, Line):
        guess = best_line(score, share, profiles.offsets, prior_px=0.6 * reach_px)
    else:
        guess = best_curve(score, profiles.offsets, prior_px=0.6 * reach_px)
    fitted = _fit(segment, profiles, guess)
    if fitted is None:
        return _as_it_was(segment)
    if fitted.moved and not isinstance(segment, Line) and reach_px > _AGAIN_PX:
        # The models of curves hold for small moves: once more from where it is now.
        again = settle_segment(photo, fitted.segment, reach_px=_AGAIN_PX)
        return again if again.moved else fitted
    return fitted


def _as_it_was(segment: Segment, support: float = 0.0, residual_px: float = 0.0) -> SettledSegment:
    return SettledSegment(segment, 0.0, residual_px, support, moved=False)


def _fit(segment: Segment, profiles: Profiles, guess: Array) -> SettledSegment | None:
    """Two rounds of peaks and robust fit, the second in a narrower window."""
    basis = _basis(segment, profiles)
    offset = guess
    for window_px in (2.0, 1.25):
        signed = signed_strength(profiles, offset)
        place, height = peaks(signed, profiles.offsets, offset, window_px)
        found = np.isfinite(place)
        if found.any():
            found &= height > 0.25 * np.median(height[found])
        if found.sum() < max(6, basis.shape[1] + 2):
            return None
        weights = _robust(basis, place, np.where(found, np.sqrt(height), 0.0))
        offset = np.asarray(basis @ _weighted(basis, place, weights), dtype=np.float64)
    rest = np.abs(place - offset)
    residual = 1.4826 * float(np.median(rest[found]))
    support = float((found & (rest < 0.75)).mean())
    if support < LEAST_SUPPORT or clearness(profiles, offset) < _CLEAR:
        return _as_it_was(segment, support, residual)
    if isinstance(segment, Line):
        bowed = _bow(profiles.share, place, weights, segment_length(segment), residual)
        moved: Segment = _moved_line(segment, profiles, offset if bowed is None else bowed, bent=bowed is not None)
    elif isinstance(segment, Arc):
        moved = _moved_arc(segment, _weighted(basis, place, weights), _frame(segment))
    else:
        moved = _moved_cubic(segment, _weighted(basis, place, weights))
    return SettledSegment(moved, float(np.abs(offset).max()), residual, support, moved=True)


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


def _robust(basis: Array, place: Array, weights: Array, rounds: int = 6) -> Array:
    """Weights that forget outliers: Tukey's biweight at 4.685 spreads of the residuals, never under 0.35 px."""
    current = weights
    for _ in range(rounds):
        rest = np.abs(place - basis @ _weighted(basis, place, current))
        spread = 1.4826 * float(np.nanmedian(np.where(weights > 0, rest, np.nan)))
        u = np.nan_to_num(rest / (4.685 * max(spread, 0.075)), nan=2.0)
        current = weights * np.where(u < 1.0, (1.0 - u**2) ** 2, 0.0)
    return current


def _weighted(basis: Array, place: Array, weights: Array) -> Array:
    """Weighted least squares with a slight pull to zero, for models that the data do not fix whole."""
    root = np.sqrt(weights / max(float(weights.max()), 1e-12))[:, None]
    count = basis.shape[1]
    # Shear and turn of an arc hang on its shoulders alone: they are believed only when much speaks for them.
    pull = np.diag([1e-2, 1e-2, 2e-2, 1.5, 1.5, 2e-2]) if count == _ARC_TERMS else 1e-2 * np.eye(count)
    rows = np.vstack([basis * root, pull])
    right = np.concatenate([np.nan_to_num(place) * root[:, 0], np.zeros(basis.shape[1])])
    return np.asarray(np.linalg.lstsq(rows, right, rcond=None)[0])


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


def _moved_line(segment: Line, profiles: Profiles, offset: Array, *, bent: bool) -> Line | Cubic:
    """The line with both ends moved along its normal; as a cubic if it is bent."""
    normal = profiles.normals[0]
    a, b = np.asarray(segment.start), np.asarray(segment.end)
    if not bent:
        first, last = np.polynomial.Polynomial.fit(profiles.share, offset, 1)(np.array([0.0, 1.0]))
        return Line(_point(a + first * normal), _point(b + last * normal))
    c0, c1, c2 = offset
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


def _joined(path: Path2, settled: tuple[SettledSegment, ...], reach_px: float) -> Path2:
    """Let neighbours meet: where their ends' tangents cross, else halfway."""
    segments = [s.segment for s in settled]
    count = len(segments)
    for i in range(count if path.closed else count - 1):
        j = (i + 1) % count
        if count > 1:
            corner = _corner(segments[i], segments[j], path.segments[i].end, reach_px)
            segments[i] = _with_ends(segments[i], segments[i].start, corner)
            segments[j] = _with_ends(segments[j], corner, segments[j].end)
    return Path2(tuple(segments), path.closed)


def _corner(before: Segment, after: Segment, drawn: Point, reach_px: float) -> Point:
    a, b = np.asarray(before.end), np.asarray(after.start)
    u, v = tangents_at(before, 1.0)[0], tangents_at(after, 0.0)[0]
    turn = float(u[0] * v[1] - u[1] * v[0])
    corner = 0.5 * (a + b)
    if abs(turn) > 0.15 * float(np.hypot(*u) * np.hypot(*v)):
        along = float((b - a)[0] * v[1] - (b - a)[1] * v[0]) / turn
        if np.hypot(*(a + along * u - drawn)) <= 3.0 * reach_px:
            corner = a + along * u
    for arc, other in ((before, after), (after, before)):
        if isinstance(arc, Arc):
            corner = _on_ellipse(to_centre(arc), corner, v if other is after else u)
    return _point(corner)


def _on_ellipse(arc: CentreArc, spot: Array, along: Array) -> Array:
    """Where the line through a spot meets the ellipse next to it; the nearest of the ellipse if it misses.

    The end of an arc must lie on its own ellipse: moved off it, an arc of about half a turn changes its shape.
    """
    back = np.linalg.inv(arc.axes)
    p, d = back @ (spot - arc.centre), back @ along
    d = d / max(float(np.hypot(*d)), 1e-12)
    middle = float(p @ d)
    room = middle**2 - float(p @ p) + 1.0
    if room > 0.0:
        step = min((-middle - np.sqrt(room), -middle + np.sqrt(room)), key=abs)
        if abs(step) < 0.25:
            return np.asarray(arc.centre + arc.axes @ (p + step * d))
    return np.asarray(arc.centre + arc.axes @ (p / max(float(np.hypot(*p)), 1e-12)))


def _with_ends(segment: Segment, start: Point, end: Point) -> Segment:
    if isinstance(segment, Line):
        return Line(start, end)
    if isinstance(segment, Arc):
        return _arc_between(segment, start, end)
    first = np.asarray(start) - np.asarray(segment.start)
    last = np.asarray(end) - np.asarray(segment.end)
    # A change of the ends runs out towards the middle, so that the edge is kept.
    control1 = np.asarray(segment.control1) + first * 2.0 / 3.0 + last / 3.0
    control2 = np.asarray(segment.control2) + first / 3.0 + last * 2.0 / 3.0
    return Cubic(start, _point(control1), _point(control2), end)


def _arc_between(arc: Arc, start: Point, end: Point) -> Arc:
    """The part of an arc's ellipse between two of its points, turning as before."""
    form = to_centre(arc)
    back = np.linalg.inv(form.axes)
    first, last = (np.arctan2(*(back @ (np.asarray(p) - form.centre))[::-1]) for p in (start, end))
    turn = float(last - first) % (2.0 * np.pi)
    large = turn > np.pi if arc.sweep else turn < np.pi
    return Arc(start, end, arc.radius, arc.rotation_deg, bool(large), arc.sweep)


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
