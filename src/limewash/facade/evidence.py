"""How well each candidate plane agrees with what is seen on each side of a path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.facade.front import Front
from limewash.facade.plane_fit import PlaneFit
from limewash.facade.sides import LEAST_SUPPORT, LEFT, RIGHT, Sides

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

HIDES, HIDDEN, OFF, NO_SAMPLES = 1.0, 0.35, 0.65, 0.35
"""Costs of a plane on a side of the line: for what is seen there behind the plane, which would hide it; for what is
seen before it and hides it; for either while it is not known which; and if nothing is seen there. [-]"""
FREE, TILTED, TILT_PX = 0.05, 0.3, 8.0
"""Costs of a plane that is not parallel to the front: of being free to lean at all, and of leaning so much more than
the noise allows. [-, -, projector px]"""


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
    depth : ndarray of shape (S, K), or None
        The larger, the nearer is the plane; None if that is not known. [projector px]
    tilt : ndarray of shape (K,)
        Cost of not being parallel to the front. [-]
    """

    known: Flags
    there: Flags
    cost: Array
    depth: Array | None
    tilt: Array

    @property
    def present(self) -> Flags:
        """Where a plane is seen on either side, (S, K)."""
        return np.asarray(self.there.any(axis=2))


def weigh(sides: Sides, planes: list[PlaneFit], front: Front | None) -> Evidence:
    """Judge every plane at every station of a path."""
    known = sides.known.copy()
    support = np.stack([np.nan_to_num(sides.support(plane)) for plane in planes], axis=1)
    sign = front.sign * int(np.sign(np.sum(front.way(sides.target) * sides.way))) if front else 0
    cost = np.stack([_cost(sides, plane, sign) for plane in planes], axis=1)
    for side in (LEFT, RIGHT):
        if side not in sides.allowed:
            support[:, :, side], known[:, side] = 0.0, False
    cost = np.where(known[:, None, :], cost, NO_SAMPLES)
    there: Flags = np.asarray(support >= LEAST_SUPPORT)
    if front is None:
        return Evidence(known, there, cost, None, np.zeros(len(planes)))
    depth = np.stack([front.depths(sides.straight, plane.map(sides.straight)) for plane in planes], axis=1)
    spread, slack = np.ptp(depth, axis=0), 1.0 + 2.0 * sides.noise_px
    tilt = FREE * np.clip(spread / slack, 0.0, 1.0) + TILTED * np.clip((spread - slack) / TILT_PX, 0.0, 1.0)
    return Evidence(known, there, cost, depth if front.sign else None, tilt)


def _cost(sides: Sides, plane: PlaneFit, sign: int) -> Array:
    """How much each side speaks against a plane, (S, 2)."""
    offset = 0.5 * np.clip((sides.offset_px(plane) - 0.1) / 0.5, 0.0, 1.0) * sides.support(plane)
    if sign == 0:
        return np.asarray(offset + OFF * (1.0 - sides.support(plane)))
    return np.asarray(offset + HIDDEN * sides.beyond(plane, sign) + HIDES * sides.beyond(plane, -sign))
