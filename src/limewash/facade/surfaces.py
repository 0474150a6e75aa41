"""The surfaces along one traced path, and which of them each stretch of it lies on.

The rule, in order:

1. The person's word (`Traced.surface`) names the side of the line whose samples count.
2. A side without samples (glass, sky, shadow) does not count.
3. Where both sides hold the same plane there is no question.
4. A wall and a keep-dark area is what lies inside the line.
5. Everything else is an edge of the nearer surface: a garage before the wall, a post, casing boards around a
   window, the wall around a recessed window.
6. A window, door, garage door, wall, post, step or trim that is drawn as an area lies on one plane, whatever stands
   before a part of it.
7. Where the scan does not tell what is nearer: a window lies in the plane around it, a roof line on what is below
   it, any other area on what is inside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from limewash.facade.labels import Labels, cheapest_labels
from limewash.facade.nearness import Nearness
from limewash.facade.plane_fit import PlaneFit, fit_plane, with_bend
from limewash.facade.samples import Samples
from limewash.facade.strips import Strip
from limewash.facade.tracing import Kind, Surface, Traced

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEFT, RIGHT = 0, 1
MANY_PLANES = (Kind.OTHER, Kind.KEEP_DARK, Kind.ROOF_LINE)
"""Areas of these kinds may lie on several planes; a window, a door, a wall lies on one."""
STEP = 4.0
"""Distance of stations. [projector px]"""
FADE = 8.0
"""The closer to the line, the more a sample counts in a fit, [projector px]"""
BESIDE = 4.0
"""and in the question which planes reach up to the line. [projector px]"""
LEAST_SUPPORT = 0.5
"""Share of the samples beside a station that must lie on a plane for the plane to be there. [-]"""
LEAST_RUN = 16.0
"""Shorter stretches do not get a plane of their own. [projector px]"""
LEAST_SAMPLES = 40
SAME_PX = 0.15
"""Planes that agree this well along the path are one. [projector px]"""
CHANGE, CHANGE_AT_CORNER = 40.0, 14.0
"""A change of plane must explain so much of the path that nothing else does. [projector px]"""
FARTHER = 0.3
"""Cost of lying on the farther of two surfaces. [-]"""
OTHER_SIDE = 0.3
"""Cost of lying on what is only beyond the line. [-]"""
UNKNOWN, HIDES, HIDDEN = 0.6, 1.0, 0.3
"""Costs of a plane that the samples beside the line do not show: while nothing else does either; although they show
something that it would hide; and because something nearer hides it. [-]"""


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


@dataclass(eq=False)
class Sides:
    """A strip with what is needed to judge planes on it; arrays over the strip's n samples and S stations."""

    item: Traced
    strip: Strip
    source: Array
    target: Array
    weight: Array
    beside: Array
    straight: Array  # (S, 2) straightened photo px of the stations
    station: NDArray[np.intp]
    side: NDArray[np.intp]
    allowed: tuple[int, ...]
    noise_px: float
    scale: float
    _judgements: dict[PlaneFit, tuple[Flags, Array]] = field(default_factory=dict)

    @property
    def count(self) -> int:
        return len(self.straight)

    def on(self, plane: PlaneFit) -> Flags:
        """Which samples lie on a plane, (n,)."""
        return self._judged(plane)[0]

    def support(self, plane: PlaneFit) -> Array:
        """Share of the samples beside each station that lie on a plane, (S, 2 sides); NaN without samples."""
        return self._judged(plane)[1]

    @cached_property
    def known(self) -> Flags:
        """Where there are samples, (S, 2)."""
        return np.isfinite(self._all)

    @cached_property
    def _all(self) -> Array:
        return self._share(self.beside)

    def _judged(self, plane: PlaneFit) -> tuple[Flags, Array]:
        """Kept by the plane itself: each is asked about many times."""
        if plane not in self._judgements:
            on = plane.residual(self.source, self.target) < plane.reach_px
            self._judgements[plane] = (on, self._share(self.beside * on) / self._all)
        return self._judgements[plane]

    def _share(self, weight: Array) -> Array:
        cell = self.station * 2 + self.side
        total = np.bincount(cell, weights=weight, minlength=2 * self.count).astype(np.float64).reshape(-1, 2)
        around = total + _shifted(total, 1, self.strip.closed) + _shifted(total, -1, self.strip.closed)
        return np.where(around > 1e-3, around, np.nan)


def _shifted(values: Array, by: int, closed: bool) -> Array:
    """Rows moved to the next stations; nothing comes in at the ends of an open path."""
    moved = np.roll(values, by, axis=0)
    if not closed:
        moved[0 if by > 0 else -1] = 0.0
    return moved


def sides_of(item: Traced, strip: Strip, samples: Samples, stations: Array) -> Sides:
    """Prepare a path; `stations` are its straightened points at equal distances, shape (S, 2)."""
    share = strip.s / strip.length_px * len(stations)
    return Sides(
        item=item,
        strip=strip,
        source=samples.straight[strip.index],
        target=samples.projector[strip.index],
        weight=samples.weight[strip.index] * np.exp(-np.abs(strip.d) / (FADE * samples.scale)),
        beside=samples.weight[strip.index] * np.exp(-np.abs(strip.d) / (BESIDE * samples.scale)),
        straight=stations,
        station=np.minimum(share.astype(np.intp), len(stations) - 1),
        side=np.where(strip.d > 0.0, LEFT, RIGHT),
        allowed=_allowed(item, strip),
        noise_px=samples.noise_px,
        scale=samples.scale,
    )


def _allowed(item: Traced, strip: Strip) -> tuple[int, ...]:
    inside = LEFT if strip.inside > 0 else RIGHT
    named = {Surface.LEFT: LEFT, Surface.RIGHT: RIGHT, Surface.INSIDE: inside, Surface.OUTSIDE: 1 - inside}
    return (LEFT, RIGHT) if item.surface is None else (named[item.surface],)


def find_planes(sides: Sides, rng: np.random.Generator) -> list[PlaneFit]:
    """Planes along a path: those that hold most of each side, then those of stretches not yet explained."""
    planes: list[PlaneFit] = []
    for side in sides.allowed:
        _add(planes, sides, sides.side == side, rng, least_share=0.2)
    hopeless = np.zeros(sides.count, dtype=np.bool_)
    for _ in range(8):
        run = _longest_run(_unexplained(planes, sides) & ~hopeless)
        if run is None:
            break
        on_run = run[sides.station] & np.isin(sides.side, sides.allowed)
        free = on_run & ~_on_any(planes, sides)
        if not _add(planes, sides, free, rng, least_share=0.5):
            hopeless |= run
    return planes


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
    """Stations with samples beside them, none of whose sides any plane explains."""
    allowed = list(sides.allowed)
    explained = np.zeros(sides.count, dtype=np.bool_)
    for plane in planes:
        explained |= (sides.support(plane)[:, allowed] >= LEAST_SUPPORT).any(axis=1)
    return np.asarray(sides.known[:, allowed].any(axis=1) & ~explained)


def _longest_run(flags: Flags) -> Flags | None:
    """The longest stretch of flagged stations, short gaps included; None if it is too short to matter."""
    if not flags.any():
        return None
    at = np.flatnonzero(flags)
    breaks = np.flatnonzero(np.diff(at) > 3)
    firsts, lasts = at[np.concatenate([[0], breaks + 1])], at[np.concatenate([breaks, [len(at) - 1]])]
    longest = int(np.argmax(lasts - firsts))
    if (lasts[longest] - firsts[longest] + 1) * STEP < LEAST_RUN:
        return None
    run = np.zeros(len(flags), dtype=np.bool_)
    run[firsts[longest] : lasts[longest] + 1] = True
    return run


def choose(sides: Sides, planes: list[PlaneFit], wall: PlaneFit | None, nearness: Nearness | None) -> Surfaces:
    """Give each stretch its plane by the rule of this module, then fit the chosen planes once more."""
    places = [plane.map(sides.straight) for plane in planes]
    cost = _costs(sides, planes, places, wall, nearness)
    if sides.strip.closed and sides.item.kind not in MANY_PLANES:
        labels = np.full(sides.count, int(np.argmin(cost.sum(axis=0))))
    else:
        labels = cheapest_labels(cost * STEP, _change_costs(sides), closed=sides.strip.closed)
    return _refitted(sides, planes, labels)


def _costs(
    sides: Sides, planes: list[PlaneFit], places: list[Array], wall: PlaneFit | None, nearness: Nearness | None
) -> Array:
    """What it costs each station to lie on each plane, (S, K)."""
    known = sides.known.copy()
    support = np.stack([sides.support(plane) for plane in planes], axis=1)  # (S, K, 2)
    for side in (LEFT, RIGHT):
        if side not in sides.allowed:
            support[:, :, side], known[:, side] = np.nan, False
    there: Flags = np.asarray(support >= LEAST_SUPPORT)
    present: Flags = np.asarray(there.any(axis=2))
    cost = np.where(present, 0.2 * (1.0 - np.nan_to_num(support).max(axis=2)), UNKNOWN)
    by_depth = nearness is not None and nearness.sign != 0 and wall is not None
    if by_depth and nearness is not None and wall is not None:
        shift = np.stack([nearness.shift(place, wall.map(sides.straight)) for place in places], axis=1)
        cost = np.where(present, cost, _absent(shift, present))
    inner = sides.strip.closed and sides.item.kind in (Kind.WALL, Kind.KEEP_DARK)
    if by_depth and not inner:
        cost = cost + _behind(shift, present, sides.noise_px)
    else:
        cost = cost + _off_side(there, known, _preferred_side(sides))
    return np.where(np.any(known, axis=1, keepdims=True), cost, 0.0)


def _absent(shift: Array, present: Flags) -> Array:
    """Cost of a plane that the samples do not show: worst where it would hide what they do show."""
    farthest = np.where(present, shift, np.inf).min(axis=1)[:, None]
    hides = farthest < shift - 1.0
    explained = np.any(present, axis=1, keepdims=True)
    return np.where(explained, np.where(hides, HIDES, HIDDEN), UNKNOWN)


def _behind(shift: Array, present: Flags, noise_px: float) -> Array:
    """Extra cost of lying behind another surface that is there too."""
    nearest = np.where(present, shift, -np.inf).max(axis=1)[:, None]
    behind = np.where(present, nearest, shift) - shift
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
    kind, strip = sides.item.kind, sides.strip
    inside = LEFT if strip.inside > 0 else RIGHT
    if strip.closed:
        return np.full(sides.count, 1 - inside if kind is Kind.WINDOW else inside)
    if kind is Kind.ROOF_LINE:
        return below(sides)
    return None


def below(sides: Sides) -> NDArray[np.intp]:
    """The side that is below the path at each station: the right one where it is drawn to the right."""
    way = np.gradient(sides.straight[:, 0])
    return np.where(way > 0.0, RIGHT, LEFT)


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
        if np.count_nonzero(on) >= LEAST_SAMPLES:
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
