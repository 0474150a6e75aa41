"""Curves as chains of short straight lines, within a stated distance of the curve."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.geometry.path import Arc, Cubic, Path2, Segment
from limewash.geometry.path_arc import to_centre
from limewash.geometry.path_measure import points_at

Array = NDArray[np.float64]

MOST_POINTS = 1_000_000
"""No real tracing needs more; a path beyond it is a mistake in its numbers."""


@dataclass(frozen=True, eq=False)
class Flattened:
    """A path as a chain of points.

    Attributes
    ----------
    points : ndarray of shape (N, 2)
        Every segment's start is among them. A closed path does not repeat its first point. [px]
    segment : ndarray of int and shape (N,)
        Which segment of the path each point begins or lies on. [-]
    closed : bool
    """

    points: Array
    segment: NDArray[np.intp]
    closed: bool


def flatten(path: Path2, *, tolerance_px: float, step_px: float = math.inf) -> Flattened:
    """Chain of points whose straight connections stay within `tolerance_px` of the path.

    Parameters
    ----------
    path : Path2
    tolerance_px : float
        Greatest distance of the chain from the curve, > 0. [px]
    step_px : float
        Straight lines too are divided until no step is longer than this, > 0. [px]

    Raises
    ------
    InputError
        If a tolerance is not positive, or the result would pass a million points.
    """
    if not tolerance_px > 0.0 or not step_px > 0.0:
        raise InputError(f"tolerance_px and step_px must be > 0, got {tolerance_px!r} and {step_px!r}")
    counts = [_count(segment, tolerance_px, step_px) for segment in path.segments]
    if sum(counts) > MOST_POINTS:
        raise InputError(
            f"the path would need {sum(counts)} points, allowed are {MOST_POINTS}: is it drawn in the right unit?"
        )
    chains = [points_at(s, np.arange(n) / n) for s, n in zip(path.segments, counts, strict=True)]
    owner = np.repeat(np.arange(len(counts)), counts)
    if not path.closed:
        chains.append(np.array([path.end], dtype=np.float64))
        owner = np.append(owner, len(counts) - 1)
    return Flattened(np.vstack(chains), owner, path.closed)


def _count(segment: Segment, tolerance_px: float, step_px: float) -> int:
    """How many equal steps of the parameter keep to both limits."""
    if isinstance(segment, Arc):
        arc = to_centre(segment)
        radius = float(np.hypot(*arc.axes).max())
        # An ellipse is a stretched circle: its chord error is at most that of its larger half axis.
        widest_rad = 2.0 * math.acos(max(1.0 - tolerance_px / radius, 0.0))
        by_curve, longest = abs(arc.sweep_rad) / widest_rad, radius * abs(arc.sweep_rad)
    elif isinstance(segment, Cubic):
        p = np.array([segment.start, segment.control1, segment.control2, segment.end])
        # Chord error <= h^2 max|B''| / 8; |B''| <= 6 times the larger second difference, |B'| <= 3 times the first.
        bend = 6.0 * float(np.hypot(*np.diff(p, n=2, axis=0).T).max())
        by_curve, longest = math.sqrt(bend / (8.0 * tolerance_px)), 3.0 * float(np.hypot(*np.diff(p, axis=0).T).max())
    else:
        by_curve, longest = 1.0, math.dist(segment.start, segment.end)
    return max(1, math.ceil(by_curve - 1e-9), math.ceil(longest / step_px - 1e-9))
