"""How well each candidate plane agrees with what is seen on each side of a path."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.facade.nearness import Nearness
from limewash.facade.plane_fit import PlaneFit
from limewash.facade.sides import LEAST_SUPPORT, LEFT, RIGHT, Sides

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

HIDES, HIDDEN, OFF, NO_SAMPLES = 1.0, 0.35, 0.65, 0.35
"""Costs of a plane on a side of the line: for what is seen there behind the plane, which would hide it; for what is
seen before it and hides it; for either while it is not known which; and if nothing is seen there. [-]"""
TILTED = 0.3
"""Cost of a plane that is not parallel to the front. [-]"""


PARALLEL_SHARE, PARALLEL_PX, TILT_PX = 0.25, 1.0, 4.0
"""A plane is parallel to the front if its shift changes along the path by no more than this share of itself and so many
px; with `TILT_PX` more it bears the whole cost. [-, projector px, projector px]"""


@dataclass(frozen=True, eq=False)
class Evidence:
    """Arrays over S stations, K planes and 2 sides.

    Attributes
    ----------
    known : ndarray of bool, shape (S, 2)
        Where there are samples.
    there : ndarray of bool, shape (S, K, 2)
        Where they lie on a plane.
    cost : ndarray of shape (S, K, 2)
        0 where a side agrees with a plane, up to 1 where it speaks against it. [-]
    shift : ndarray of shape (S, K), or None
        The larger, the nearer is the plane; None if that is not known. [projector px]
    tilt : ndarray of shape (K,)
        Cost of not being parallel to the front. [-]
    """

    known: Flags
    there: Flags
    cost: Array
    shift: Array | None
    tilt: Array

    @property
    def present(self) -> Flags:
        """Where a plane is seen on either side, (S, K)."""
        return np.asarray(self.there.any(axis=2))


def weigh(sides: Sides, planes: list[PlaneFit], front: PlaneFit | None, nearness: Nearness | None) -> Evidence:
    """Judge every plane at every station of a path, against the plane of the house's front."""
    known = sides.known.copy()
    support = np.stack([np.nan_to_num(sides.support(plane)) for plane in planes], axis=1)
    cost = np.stack([_cost(sides, plane, nearness) for plane in planes], axis=1)
    for side in (LEFT, RIGHT):
        if side not in sides.allowed:
            support[:, :, side], known[:, side] = 0.0, False
    cost = np.where(known[:, None, :], cost, NO_SAMPLES)
    there: Flags = np.asarray(support >= LEAST_SUPPORT)
    if front is None or nearness is None:
        return Evidence(known, there, cost, None, np.zeros(len(planes)))
    base = front.map(sides.straight)
    shift = np.stack([nearness.shift(plane.map(sides.straight), base) for plane in planes], axis=1)
    slack = PARALLEL_SHARE * np.abs(np.median(shift, axis=0)) + PARALLEL_PX + 2.0 * sides.noise_px
    tilt = TILTED * np.clip((np.ptp(shift, axis=0) - slack) / TILT_PX, 0.0, 1.0)
    return Evidence(known, there, cost, shift if nearness.sign else None, tilt)


def _cost(sides: Sides, plane: PlaneFit, nearness: Nearness | None) -> Array:
    """How much each side speaks against a plane, (S, 2)."""
    offset = 0.5 * np.clip((sides.offset_px(plane) - 0.1) / 0.5, 0.0, 1.0) * sides.support(plane)
    if nearness is None or nearness.sign == 0:
        return np.asarray(offset + OFF * (1.0 - sides.support(plane)))
    before, behind = sides.beyond(plane, nearness.sign), sides.beyond(plane, -nearness.sign)
    return np.asarray(offset + HIDDEN * before + HIDES * behind)


def front_plane(
    found: Iterable[tuple[Sides, list[PlaneFit]]], shared: list[PlaneFit], nearness: Nearness
) -> PlaneFit | None:
    """The plane to which most of what is traced is parallel: the front of the house."""
    weighed = [(sides, p, float(np.count_nonzero(sides.on(p)))) for sides, planes in found for p in planes]

    def agreement(front: PlaneFit) -> float:
        return sum(weight for sides, plane, weight in weighed if _parallel(sides, plane, front, nearness))

    return max(shared, key=agreement, default=None)


def _parallel(sides: Sides, plane: PlaneFit, front: PlaneFit, nearness: Nearness) -> bool:
    """Whether a plane's distance from the front does not change along a path."""
    shift = nearness.shift(plane.map(sides.straight), front.map(sides.straight))
    slack = PARALLEL_SHARE * abs(float(np.median(shift))) + PARALLEL_PX + 2.0 * sides.noise_px
    return bool(np.ptp(shift) <= slack)
