"""A traced path with the samples on both sides of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.facade.samples import Indices, Samples
from limewash.geometry.path import Path2
from limewash.geometry.path_flatten import flatten

Array = NDArray[np.float64]

CORNER_RAD = 0.25
DENSITY = 14.0
"""Samples kept for each projector pixel along the path: more tell nothing new."""


@dataclass(frozen=True, eq=False)
class Strip:
    """What lies along a path, in photo px.

    Attributes
    ----------
    chain : ndarray of shape (M, 2)
        Coarse points of the path. [px]
    closed : bool
    length_px : float
        Along the chain. [px]
    corners : ndarray
        Arc lengths at which the path turns by more than `CORNER_RAD`. [px]
    inside : int
        Which side is inside: 1 left, -1 right, 0 for an open path.
    index : ndarray of int, shape (n,)
        Numbers of the samples in the strip.
    s, d : ndarray of shape (n,)
        Arc length of the nearest point of the path, and distance from it, positive on the left as seen when
        walking along it. [px]
    """

    chain: Array
    closed: bool
    length_px: float
    corners: Array
    inside: int
    index: Indices
    s: Array
    d: Array

    def points_at(self, s: Array) -> Array:
        """Points of the chain at arc lengths (N,). [px]"""
        ends = np.vstack([self.chain, self.chain[:1]]) if self.closed else self.chain
        at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ends, axis=0).T))])
        return np.stack([np.interp(s, at, ends[:, 0]), np.interp(s, at, ends[:, 1])], axis=-1)


def chain_of(path: Path2, tolerance_px: float) -> Array:
    """A path as few straight steps, (M, 2); a closed one does not repeat its first point. [px]"""
    points = flatten(path, tolerance_px=tolerance_px / 2.0).points
    ends = np.vstack([points, points[:1]]) if path.closed else points
    chain = shapely.get_coordinates(shapely.LineString(ends).simplify(tolerance_px / 2.0, preserve_topology=False))
    return np.asarray(chain[:-1] if path.closed else chain, dtype=np.float64)


def strip_along(chain: Array, samples: Samples, *, closed: bool, near_px: float, band_px: float) -> Strip:
    """Samples whose distance from a chain of points is between `near_px` and `band_px`, on both sides. [photo px]"""
    ends = np.vstack([chain, chain[:1]]) if closed else chain
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ends, axis=0).T))])
    corners = at[: len(chain)][_turns(chain, closed) > CORNER_RAD]
    distinct = np.diff(at, prepend=-1.0) > 1e-9
    ends, at = ends[distinct], at[distinct]
    index = samples.along(chain, closed=closed, band_px=band_px)
    index = index[:: max(1, int(len(index) / (DENSITY * at[-1] / samples.scale + 2000.0)))]
    s, d = _nearest(samples.photo[index], ends, at, closed)
    kept = (np.abs(d) >= near_px) & (np.abs(d) <= band_px)
    order = np.argsort(s[kept], kind="stable")
    return Strip(
        chain=chain,
        closed=closed,
        length_px=float(at[-1]),
        corners=corners,
        inside=_inside_of(chain) if closed else 0,
        index=index[kept][order],
        s=s[kept][order],
        d=d[kept][order],
    )


def _nearest(points: Array, ends: Array, at: Array, closed: bool) -> tuple[Array, Array]:
    """Arc length and signed distance of the nearest point of a chain."""
    way = np.diff(ends, axis=0)
    length = np.hypot(way[:, 0], way[:, 1])
    left = np.stack([way[:, 1], -way[:, 0]], axis=-1) / length[:, None]  # y points down
    best = np.full(len(points), np.inf)
    s, d = np.zeros(len(points)), np.zeros(len(points))
    for i in range(len(way)):
        offset = points - ends[i]
        t = offset @ way[i] / length[i]
        held = np.clip(t, 0.0, length[i])
        across = offset @ left[i]
        gap = across**2 + (t - held) ** 2
        better = gap < best
        # Beyond a corner the side is told by both neighbours' normals together.
        before = left[i - 1] if i > 0 or closed else left[i]
        after = left[(i + 1) % len(way)] if i + 1 < len(way) or closed else left[i]
        normal_side = np.where(
            t < 0.0,
            offset @ (left[i] + before),
            np.where(t > length[i], (points - ends[i + 1]) @ (left[i] + after), across),
        )
        best[better] = gap[better]
        s[better] = (at[i] + held)[better]
        d[better] = np.copysign(np.sqrt(gap), normal_side)[better]
    return s, d


def _turns(chain: Array, closed: bool) -> Array:
    """Angle by which a chain turns at each of its points, 0 at the ends of an open one. [rad]"""
    way = np.diff(np.vstack([chain[-1:], chain, chain[:1]]), axis=0)
    heading = np.arctan2(way[:, 1], way[:, 0])
    turns = np.abs((np.diff(heading) + np.pi) % (2.0 * np.pi) - np.pi)
    if not closed:
        turns[[0, -1]] = 0.0
    return np.asarray(turns)


def _inside_of(chain: Array) -> int:
    x, y = chain.T
    turn = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    return -1 if turn > 0.0 else 1  # y points down: a positive turn is clockwise on the picture, inside on the right
