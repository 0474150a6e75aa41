"""What scan and tracing say about which way "nearer" is; see `limewash.facade.nearness`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.facade.front import Front
from limewash.facade.nearness import LEAST_SHIFT_PX
from limewash.facade.plane_fit import PlaneFit
from limewash.facade.sides import LEAST_SUPPORT, LEFT, RIGHT, Sides, below
from limewash.facade.tracing import Kind

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

WEIGHT = 10.0
"""One station of a path counts as much as so many scan points of a leaning surface. [-]"""
ADJOINS = 3.0
"""Samples closer than this reach up to the line. [projector px]"""


def lean_votes(front: Front, straight: Array, stride: int) -> float:
    """Votes of surfaces that lean back, whose lower part is the nearer one: positive if depth grows downwards.

    Parameters
    ----------
    front : Front
    straight : ndarray of shape (h, w, 2)
        Straightened photo px of every `stride`-th projector pixel, NaN where unseen.
    stride : int
    """
    h, w = straight.shape[:2]
    grid = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).reshape(-1, 2).astype(np.float64) * stride
    depth = front.depths(straight.reshape(-1, 2), grid).reshape(h, w)
    change = depth[1:] - depth[:-1]
    both = np.minimum(np.abs(depth[1:]), np.abs(depth[:-1])) > LEAST_SHIFT_PX
    smooth = np.isfinite(change) & both & (np.abs(change) < 0.5 * stride)
    return float(np.sum(np.clip(change[smooth], -0.5, 0.5)))


def path_votes(sides: Sides, planes: list[PlaneFit], front: Front) -> float:
    """Votes of one path, positive if the side that must be nearer has the larger depth.

    Two things are known beforehand. A post stands before what is beside it, and a roof's edge before what is above it.
    And where a shadow or a hidden strip lies along the line, the surface that reaches up to the line is the nearer
    one: it is what hides the strip.
    """
    if len(planes) < 2:
        return 0.0
    left_ahead, sure = _left_ahead(sides, planes, front)
    left_nearer = WEIGHT * (_by_kind(sides) + _by_gap(sides, planes, np.abs(left_ahead)))
    return float(np.sum(np.clip(left_ahead, -0.5, 0.5)[sure] * left_nearer[sure]))


def _left_ahead(sides: Sides, planes: list[PlaneFit], front: Front) -> tuple[Array, Flags]:
    """How much deeper the left side's plane lies than the right side's, and where both are known to differ."""
    best, share = _best_planes(sides, planes)
    depth = np.stack([front.depths(sides.straight, plane.map(sides.straight)) for plane in planes], axis=1)
    rows = np.arange(sides.count)
    ahead = depth[rows, best[:, LEFT]] - depth[rows, best[:, RIGHT]]
    return ahead, (share.min(axis=1) >= LEAST_SUPPORT) & (np.abs(ahead) > LEAST_SHIFT_PX)


def _best_planes(sides: Sides, planes: list[PlaneFit]) -> tuple[NDArray[np.intp], Array]:
    """The plane with most support on each side of each station, and that support; both (S, 2)."""
    support = np.nan_to_num(np.stack([sides.support(plane) for plane in planes], axis=1))
    return support.argmax(axis=1), support.max(axis=1)


def _by_kind(sides: Sides) -> Array:
    """1 where the kind says that the left side is nearer, -1 for the right, 0 where it says nothing."""
    strip = sides.strip
    if sides.item.kind is Kind.POST and strip.closed:
        return np.full(sides.count, float(strip.inside))
    if sides.item.kind is Kind.ROOF_LINE and not strip.closed:
        return np.where(below(sides) == LEFT, 1.0, -1.0)
    return np.zeros(sides.count)


def _by_gap(sides: Sides, planes: list[PlaneFit], shift: Array) -> Array:
    """The same by gaps: a side whose samples begin at a distance that suits the shift lies behind."""
    best, _ = _best_planes(sides, planes)
    first = np.full((sides.count, 2), np.inf)
    for k, plane in enumerate(planes):
        mine = best[sides.station, sides.side] == k
        mine &= sides.on(plane)
        np.minimum.at(first, (sides.station[mine], sides.side[mine]), np.abs(sides.strip.d[mine]) / sides.scale)
    adjoins = first < ADJOINS
    apart = (first > ADJOINS + 0.4 * shift[:, None]) & np.isfinite(first)
    left, right = adjoins[:, LEFT] & apart[:, RIGHT], adjoins[:, RIGHT] & apart[:, LEFT]
    return np.asarray(np.subtract(left, right, dtype=np.float64))
