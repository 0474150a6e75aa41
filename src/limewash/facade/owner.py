"""The one plane that a flat thing lies on: a window, a door, a wall, a post."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.facade.evidence import Evidence
from limewash.facade.sides import Sides
from limewash.facade.tracing import Kind

Array = NDArray[np.float64]

OPENINGS = (Kind.WINDOW, Kind.DOOR, Kind.GARAGE)
"""These may lie in the plane around them; every other area lies on what is inside it."""
INNER_SHARE, OUTER_SHARE = 0.3, 0.15
"""A plane must be seen beside so much of the line to own it, inside or around. [-]"""
MOST_COST = 0.6
"""What is seen may speak no more than this against a plane. [-]"""
NEARER_PX = 0.4
"""A smaller difference in depth, beyond the noise, does not decide. [projector px]"""


def owner_of(sides: Sides, evidence: Evidence) -> int:
    """Number of the plane that a closed flat thing lies on.

    It is the plane that agrees best with what is seen inside along the line, or, for an opening, the one that agrees
    best with what is seen around it: whichever is nearer. If the scan does not tell what is nearer, a window lies in
    the plane around it and anything else on what is inside it.
    """
    inner, outer = sides.inside, 1 - sides.inside
    inside = _best(evidence, inner, INNER_SHARE)
    around = _best(evidence, outer, OUTER_SHARE) if sides.item.kind in OPENINGS or inside is None else None
    if inside is None or around is None:
        found = around if inside is None else inside
        return found if found is not None else int(np.argmin(_cost(evidence, inner) + _cost(evidence, outer)))
    if evidence.depth is None:
        return around if sides.item.kind is Kind.WINDOW else inside
    ahead = float(np.median(evidence.depth[:, around] - evidence.depth[:, inside]))
    if abs(ahead) > NEARER_PX + sides.noise_px:
        return around if ahead > 0.0 else inside
    return inside if _cost(evidence, inner)[inside] <= _cost(evidence, outer)[around] else around


def _best(evidence: Evidence, side: int, least_share: float) -> int | None:
    """The plane against which one side speaks least, among those that are seen there; None if there is none."""
    known = evidence.known[:, side]
    if not known.any():
        return None
    seen = evidence.there[known, :, side].mean(axis=0)
    cost = np.where(seen >= least_share, _cost(evidence, side), np.inf)
    best = int(np.argmin(cost))
    return best if cost[best] <= MOST_COST else None


def _cost(evidence: Evidence, side: int) -> Array:
    return np.asarray(evidence.cost[:, :, side].mean(axis=0) + evidence.tilt)
