"""The planes that a path may lie on."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from limewash.facade.plane_fit import PlaneFit, fit_plane
from limewash.facade.sides import LEAST_SUPPORT, LEFT, RIGHT, STEP, Flags, Sides

Array = NDArray[np.float64]

LEAST_SAMPLES = 40
LEAST_RUN = 20.0
"""Shorter stretches do not get a plane of their own. [projector px]"""
MOST_STRETCHES = 4
SAME_PX = 0.15
"""Planes that agree this well along a path are one. [projector px]"""
MOST_SHARED = 12
LEAST_SHARED = 400
"""How many planes are offered to all paths, and how many samples each must rest on."""


def side_planes(sides: Sides, rng: np.random.Generator) -> list[PlaneFit]:
    """Planes that hold most of a whole side of a path."""
    planes: list[PlaneFit] = []
    for side in sides.allowed:
        _add(planes, sides, sides.side == side, rng, least_share=0.2)
    return planes


def with_stretches(planes: list[PlaneFit], sides: Sides, rng: np.random.Generator) -> list[PlaneFit]:
    """Some planes, and those of stretches of the path that none of them explains."""
    every = list(planes)
    hopeless = np.zeros((sides.count, 2), dtype=np.bool_)
    for _ in range(MOST_STRETCHES):
        open_ = _unexplained(every, sides) & ~hopeless
        side, run = max(((side, _longest_run(open_[:, side])) for side in (LEFT, RIGHT)), key=lambda r: r[1].sum())
        if run.sum() * STEP < LEAST_RUN:
            break
        free = run[sides.station] & (sides.side == side) & ~_on_any(every, sides)
        if not _add(every, sides, free, rng, least_share=0.5):
            hopeless[run, side] = True
    return every


def shared_planes(found: Iterable[tuple[Sides, list[PlaneFit]]]) -> list[PlaneFit]:
    """The planes of all paths that rest on most samples, each once."""
    rated = [(int(np.count_nonzero(sides.on(p))), sides, p) for sides, planes in found for p in planes]
    rated.sort(key=lambda entry: -entry[0])
    shared: list[PlaneFit] = []
    for count, sides, plane in rated[: 3 * MOST_SHARED]:
        if count < LEAST_SHARED or len(shared) >= MOST_SHARED:
            break
        on = sides.on(plane)
        if not any(np.mean(sides.on(other)[on]) > 0.9 for other in shared):
            shared.append(plane)
    return shared


def _add(planes: list[PlaneFit], sides: Sides, among: Flags, rng: np.random.Generator, *, least_share: float) -> bool:
    """Fit a plane to some samples and add it if enough of them lie on it and it is new."""
    source, target, weight = sides.source[among], sides.target[among], sides.weight[among]
    fit = fit_plane(source, target, weight, noise_px=sides.noise_px, rng=rng)
    if fit is None:
        return False
    on = sides.on(fit)[among]
    if np.count_nonzero(on) < LEAST_SAMPLES or float(weight[on].sum()) < least_share * float(weight.sum()):
        return False
    planes.append(fit)
    return True


def _on_any(planes: list[PlaneFit], sides: Sides) -> Flags:
    on = np.zeros(len(sides.source), dtype=np.bool_)
    for plane in planes:
        on |= sides.on(plane)
    return on


def _unexplained(planes: list[PlaneFit], sides: Sides) -> Flags:
    """Stations and sides with samples that no plane explains, (S, 2)."""
    unexplained = sides.known.copy()
    for plane in planes:
        unexplained &= ~(sides.support(plane) >= LEAST_SUPPORT)
    for side in (LEFT, RIGHT):
        if side not in sides.allowed:
            unexplained[:, side] = False
    return unexplained


def _longest_run(flags: Flags) -> Flags:
    """The longest stretch of flagged stations, short gaps included."""
    run = np.zeros(len(flags), dtype=np.bool_)
    at = np.flatnonzero(flags)
    if len(at) == 0:
        return run
    breaks = np.flatnonzero(np.diff(at) > 3)
    firsts, lasts = at[np.concatenate([[0], breaks + 1])], at[np.concatenate([breaks, [len(at) - 1]])]
    longest = int(np.argmax(lasts - firsts))
    run[firsts[longest] : lasts[longest] + 1] = True
    return run
