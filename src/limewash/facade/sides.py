"""What the scan says beside a path, station by station, on its left and on its right."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from limewash.facade.nearness import Nearness
from limewash.facade.plane_fit import PlaneFit
from limewash.facade.samples import Samples
from limewash.facade.strips import Strip
from limewash.facade.tracing import Surface, Traced

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEFT, RIGHT = 0, 1
STEP = 4.0
"""Distance of stations. [projector px]"""
FADE = 8.0
"""The closer to the line, the more a sample counts in a fit, [projector px]"""
BESIDE = 4.0
"""and in the question which planes reach up to the line. [projector px]"""
LEAST_SUPPORT = 0.5
"""Share of the samples beside a station that must lie on a plane for the plane to be there. [-]"""


@dataclass(eq=False)
class Sides:
    """A strip with what is needed to judge planes on it; arrays over the strip's n samples and S stations."""

    item: Traced
    strip: Strip
    source: Array
    target: Array
    weight: Array
    beside: Array
    way: Array  # (n, 2) direction in which depth shifts a sample
    straight: Array  # (S, 2) straightened photo px of the stations
    station: NDArray[np.intp]
    side: NDArray[np.intp]
    allowed: tuple[int, ...]
    noise_px: float
    scale: float
    _judgements: dict[PlaneFit, _Judgement] = field(default_factory=dict)

    @property
    def count(self) -> int:
        return len(self.straight)

    @property
    def inside(self) -> int:
        """The side that is inside a closed path."""
        return LEFT if self.strip.inside > 0 else RIGHT

    def on(self, plane: PlaneFit) -> Flags:
        """Which samples lie on a plane, (n,)."""
        return self._judged(plane).on

    def support(self, plane: PlaneFit) -> Array:
        """Share of the samples beside each station that lie on a plane, (S, 2 sides); NaN without samples."""
        return self._judged(plane).support

    def offset_px(self, plane: PlaneFit) -> Array:
        """How far the samples on a plane lie off it on the whole, beyond what their noise explains, (S, 2)."""
        return self._judged(plane).offset_px

    @cached_property
    def known(self) -> Flags:
        """Where there are samples, (S, 2)."""
        return np.isfinite(self._all)

    @cached_property
    def _all(self) -> Array:
        beside = self._sum(self.beside)
        return np.where(beside > 1e-3, beside, np.nan)

    def beyond(self, plane: PlaneFit, sign: int) -> Array:
        """Share of the samples beside each station that are shifted off a plane in one direction, (S, 2)."""
        return self._judged(plane).shifted[:, :, 0 if sign > 0 else 1]

    def _judged(self, plane: PlaneFit) -> _Judgement:
        """Kept for each plane: each is asked about many times."""
        if plane not in self._judgements:
            gap = self.target - plane.map(self.source)
            on = np.hypot(gap[:, 0], gap[:, 1]) < plane.reach_px
            weight = self.beside * on
            total = np.maximum(self._sum(weight), 1e-9)
            mean = np.hypot(self._sum(weight * gap[:, 0]), self._sum(weight * gap[:, 1])) / total
            chance = self.noise_px * np.sqrt(self._sum(weight**2)) / total
            ahead = np.einsum("nc,nc->n", gap, self.way) > 0.0
            off = [self._sum(self.beside * (~on & where)) / self._all for where in (ahead, ~ahead)]
            offset_px = np.maximum(mean - 2.0 * chance, 0.0)
            self._judgements[plane] = _Judgement(on, total / self._all, offset_px, np.stack(off, axis=2))
        return self._judgements[plane]

    def _sum(self, weight: Array) -> Array:
        """Sum over the samples of each station and its two neighbours, on each side, (S, 2)."""
        cell = self.station * 2 + self.side
        total = np.bincount(cell, weights=weight, minlength=2 * self.count).astype(np.float64).reshape(-1, 2)
        return total + _shifted(total, 1, self.strip.closed) + _shifted(total, -1, self.strip.closed)


@dataclass(frozen=True, eq=False)
class _Judgement:
    on: Flags
    support: Array
    offset_px: Array
    shifted: Array


def _shifted(values: Array, by: int, closed: bool) -> Array:
    """Rows moved to the next stations; nothing comes in at the ends of an open path."""
    moved = np.roll(values, by, axis=0)
    if not closed:
        moved[0 if by > 0 else -1] = 0.0
    return moved


def sides_of(item: Traced, strip: Strip, samples: Samples, stations: Array, nearness: Nearness | None) -> Sides:
    """Prepare a path; `stations` are its straightened points at equal distances, shape (S, 2)."""
    target = samples.projector[strip.index]
    share = strip.s / strip.length_px * len(stations)
    return Sides(
        item=item,
        strip=strip,
        source=samples.straight[strip.index],
        target=target,
        weight=samples.weight[strip.index] * np.exp(-np.abs(strip.d) / (FADE * samples.scale)),
        beside=samples.weight[strip.index] * np.exp(-np.abs(strip.d) / (BESIDE * samples.scale)),
        way=nearness.way(target) if nearness else np.zeros_like(target),
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


def below(sides: Sides) -> NDArray[np.intp]:
    """The side that is below the path at each station: the right one where it is drawn to the right."""
    way = np.gradient(sides.straight[:, 0])
    return np.where(way > 0.0, RIGHT, LEFT)
