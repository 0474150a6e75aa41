"""The surfaces along one traced path, and which of them each stretch of it lies on.

The rule, in order:

1. The person's word (`Traced.surface`) names the side of the line whose samples count.
2. A window, door, garage door, wall, post, step or trim that is drawn as an area lies on one plane, whatever stands
   before a part of it (`limewash.facade.owner`): the one seen inside along the line; for a window, door or garage door
   the one around it if that is nearer. So casing boards own their edge, and so does the wall around a recessed window.
3. Anything else, above all an outline, may pass over several planes. Each stretch lies on the nearer of the surfaces
   that reach up to it, for an edge belongs to what is in front; a keep-dark area lies on what is inside it.
4. A side without samples (glass, sky, shadow) has no say, and short stretches that something else hides are bridged.
5. Where the scan does not tell what is nearer, a window lies in the plane around it, a roof line on what is below it,
   any other area on what is inside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.facade.candidates import LEAST_SAMPLES, SAME_PX
from limewash.facade.evidence import Evidence, weigh
from limewash.facade.front import Front
from limewash.facade.labels import Labels, cheapest_labels
from limewash.facade.owner import owner_of
from limewash.facade.plane_fit import PlaneFit, with_bend
from limewash.facade.sides import LEAST_SUPPORT, STEP, Sides, below
from limewash.facade.tracing import Kind

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MANY_PLANES = (Kind.OTHER, Kind.KEEP_DARK, Kind.ROOF_LINE)
"""Areas of these kinds may lie on several planes; a window, a door, a wall lies on one."""
CHANGE, CHANGE_AT_CORNER = 40.0, 14.0
"""A change of plane must explain so much of the path that nothing else does. [projector px]"""
FARTHER = 0.3
"""Cost of lying on the farther of two surfaces. [-]"""
LEAST_SEEN = 0.1
"""A plane must be seen along so much of the path. [-]"""
OTHER_SIDE = 0.3
"""Cost of lying on what is only beyond the line. [-]"""


@dataclass(frozen=True, eq=False)
class Surfaces:
    """What was found along a path.

    Attributes
    ----------
    planes : list of PlaneFit
    labels : ndarray of int, shape (n,)
        The plane of each station.
    station_px : float
        Distance of stations along the path. [photo px]
    used : ndarray of bool, shape (n samples of the strip,)
        Samples that the chosen planes rest on.
    residual_px : float
        Root mean square distance of those samples from their plane. [projector px]
    """

    planes: list[PlaneFit]
    labels: Labels
    station_px: float
    used: Flags
    residual_px: float


def choose(sides: Sides, planes: list[PlaneFit], front: Front | None) -> Surfaces:
    """Give each stretch its plane by the rule of this module, then fit the chosen planes once more."""
    evidence = weigh(sides, planes, front)
    if sides.strip.closed and sides.item.kind not in MANY_PLANES:
        labels = np.full(sides.count, owner_of(sides, evidence))
    else:
        labels = cheapest_labels(_costs(sides, evidence) * STEP, _change_costs(sides), closed=sides.strip.closed)
    return _refitted(sides, planes, labels)


def _costs(sides: Sides, evidence: Evidence) -> Array:
    """What it costs each station to lie on each plane, (S, K): it need be seen on one side only."""
    where_seen = np.where(evidence.there, evidence.cost, np.inf).min(axis=2)
    cost = np.where(evidence.present, where_seen, evidence.cost.min(axis=2))
    seen = evidence.present.mean(axis=0)
    cost[:, seen < min(LEAST_SEEN, float(seen.max()))] = 1.0  # hidden here and there, but not everywhere
    inner = sides.strip.closed and sides.item.kind is Kind.KEEP_DARK
    if evidence.depth is None or inner:
        cost = cost + _off_side(evidence.there, evidence.known, _preferred_side(sides))
    else:
        cost = cost + _behind(evidence.depth, evidence.present, sides.noise_px)
    return np.where(np.any(evidence.known, axis=1, keepdims=True), cost + 0.3 * evidence.tilt, 0.0)


def _behind(depth: Array, present: Flags, noise_px: float) -> Array:
    """Extra cost of lying behind another surface that is there too."""
    nearest = np.where(present, depth, -np.inf).max(axis=1)[:, None]
    behind = np.where(present, nearest, depth) - depth
    return np.asarray(FARTHER * np.clip(behind - SAME_PX - 0.5 * noise_px, 0.0, 1.0) * present)


def _off_side(there: Flags, known: Flags, preferred: NDArray[np.intp] | None) -> Array | float:
    """Extra cost of planes that are only on the other side than the preferred one, where that has samples."""
    if preferred is None:
        return 0.0
    rows = np.arange(len(preferred))
    on_it = there[rows, :, preferred]
    return np.asarray(OTHER_SIDE * (there.any(axis=2) & ~on_it & known[rows, preferred][:, None]))


def _preferred_side(sides: Sides) -> NDArray[np.intp] | None:
    """The side that the kind of thing speaks for at each station; None if it does not."""
    if sides.strip.closed:
        return np.full(sides.count, sides.inside)
    return below(sides) if sides.item.kind is Kind.ROOF_LINE else None


def _change_costs(sides: Sides) -> Array:
    """Cost of a change after each station: less where the path has a corner."""
    costs = np.full(sides.count, CHANGE)
    if len(sides.strip.corners):
        after = np.round(sides.strip.corners / sides.strip.length_px * sides.count).astype(np.intp) - 1
        costs[after % sides.count] = CHANGE_AT_CORNER
    return costs


def _refitted(sides: Sides, planes: list[PlaneFit], labels: Labels) -> Surfaces:
    used = np.zeros(len(sides.source), dtype=np.bool_)
    squares, final = 0.0, list(planes)
    for label in np.unique(labels):
        plane = planes[label]
        mine = (labels == label)[:, None] & (sides.support(plane) >= LEAST_SUPPORT)
        on = mine[sides.station, sides.side] & np.isin(sides.side, sides.allowed)
        on &= sides.on(plane)
        if np.count_nonzero(on) >= LEAST_SAMPLES and not plane.fixed:
            final[label] = with_bend(plane, sides.source[on], sides.target[on], sides.weight[on])
        squares += float(np.sum(final[label].residual(sides.source[on], sides.target[on]) ** 2))
        used |= on
    return Surfaces(
        planes=final,
        labels=labels,
        station_px=sides.strip.length_px / sides.count,
        used=used,
        residual_px=float(np.sqrt(squares / max(int(np.count_nonzero(used)), 1))),
    )
