"""Small things in the air: snow and sparks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.show.effects.chance import chance, drift, waver
from limewash.show.effects.patch import Draws, Flat, Part, Patch, soft_steps
from limewash.show.effects.registry import AnyLight, Light, Moment, Param, effect


def _box(patch: Patch) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    low = np.array([patch.x_m.min(), patch.y_m.min()], dtype=np.float64)
    return low, np.array([patch.x_m.max(), patch.y_m.max()], dtype=np.float64)


@effect(
    title="First snow",
    draws=Draws.AREAS_AND_LINES,
    colours=("white", "ice"),
    reach_m=lambda how: how["lie_m"] + 0.05,
    flakes_m2=Param(default=7.0, lo=0.0, hi=60.0, unit="1/m2", help="Flakes in the air per square metre"),
    size_m=Param(default=0.04, lo=0.01, hi=0.2, unit="m", help="Radius of a near flake"),
    fall_m_s=Param(default=0.55, lo=0.05, hi=3.0, unit="m/s", help="How fast a near flake falls"),
    lie_m=Param(default=0.13, lo=0.0, hi=0.6, unit="m", help="How deep the snow lies in the end"),
    lie_s=Param(default=12.0, lo=1.0, hi=300.0, unit="s", help="Time until it lies so deep"),
)
def first_snow(
    patch: Patch,
    now: Moment,
    *,
    flakes_m2: float,
    size_m: float,
    fall_m_s: float,
    lie_m: float,
    lie_s: float,
) -> list[AnyLight]:
    """Snow falls before the wall and gathers on sills, ledges and the roof line."""
    low, high = patch.still("box", lambda: _box(patch))
    part, amount = patch.stamp(*_flakes(now, low, high, flakes_m2, size_m, fall_m_s))
    lights: list[AnyLight] = [Light(amount, None, part)]
    if lie_m > 0.0 and patch.outlines:
        ledges, share, tone = patch.still("ledges", lambda: _ledges(patch, now.seed, lie_m))
        depth = min(now.t_s / lie_s, 1.0)
        cap = np.clip((np.float32(depth * 1.16) - share) / np.float32(0.16), 0.0, 1.0, dtype=np.float32)
        lights.append(Light(cap * np.float32(min(1.0, 3.0 * depth)), tone, ledges))
    return lights


def _flakes(
    now: Moment,
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    flakes_m2: float,
    size_m: float,
    fall_m_s: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Middle, radius and strength of every flake in the air."""
    span = high - low + 0.4
    who = np.arange(int(min(flakes_m2 * float(np.prod(span)), 20_000.0)))
    near = 0.4 + 0.6 * chance(now.seed, who) ** 1.5
    fallen = now.t_s * fall_m_s * near / span[1] + chance(now.seed + 1, who)
    lap = np.floor(fallen).astype(np.int64)
    y = high[1] + 0.2 - span[1] * (fallen - lap)
    sway = 0.16 * near * (waver(now.seed + 2, who, now.t_s, 0.22) - 0.5)
    x = low[0] - 0.2 + span[0] * chance(now.seed + 3, who, lap) + sway
    return np.column_stack([x, y]), size_m * near, 0.25 + 0.65 * near


def _ledges(patch: Patch, seed: int, lie_m: float) -> tuple[Part, Flat, Flat]:
    """Where snow will lie, at which share of the final depth each pixel is covered, and its tone."""
    sheet = patch.sheet(0.03)
    humps = sheet.lift(0.55 + 0.75 * drift(sheet.x_m / 0.45, sheet.y_m / 0.9, 0.0, seed=seed + 9, octaves=2))
    lies = soft_steps(0.35, 0.75, patch.level) * soft_steps(0.3, 0.6, np.abs(patch.above))
    depth = np.maximum(humps * np.float32(lie_m) * lies, np.float32(1e-4))
    depth[patch.above < 0] *= np.float32(0.25)  # a little hangs over the edge below
    share = np.asarray(patch.away_m / depth, dtype=np.float32)
    part = patch.part(share < np.float32(1.16))
    # White on top and cooler towards what it lies on.
    tone = np.float32(1.0) - soft_steps(0.0, lie_m, part.of(patch.away_m))
    return part, part.of(share), tone


@effect(
    title="Rising sparks",
    draws=Draws.AREAS,
    colours=("gold", "amber", "ember"),
    sparks_m2=Param(default=2.5, lo=0.1, hi=20.0, unit="1/m2", help="Sparks in the air per square metre"),
    size_m=Param(default=0.065, lo=0.01, hi=0.4, unit="m", help="Radius of a spark with its glow"),
    rise_m_s=Param(default=0.4, lo=0.02, hi=3.0, unit="m/s", help="How fast they rise"),
    life_s=Param(default=4.0, lo=1.0, hi=20.0, unit="s", help="How long one glows"),
)
def rising_sparks(
    patch: Patch, now: Moment, *, sparks_m2: float, size_m: float, rise_m_s: float, life_s: float
) -> Light:
    """Sparks rise over the wall, sway, and go out, as above a fire."""
    low, high = patch.still("box", lambda: _box(patch))
    who = np.arange(int(min(sparks_m2 * float(np.prod(high - low)), 8000.0)))
    life = now.t_s / life_s + chance(now.seed, who)
    lap = np.floor(life).astype(np.int64)
    age = life - lap
    own = 0.5 + chance(now.seed + 1, who, lap)
    x = low[0] + (high[0] - low[0]) * chance(now.seed + 2, who, lap)
    x = x + 0.5 * (waver(now.seed + 3, who, now.t_s, 0.25) - 0.5)
    y = low[1] + (high[1] - low[1]) * (1.1 * chance(now.seed + 4, who, lap) - 0.2) + age * life_s * rise_m_s * own
    shine = np.sin(np.pi * age) ** 1.5 * (0.35 + 0.65 * chance(now.seed + 5, who, lap))
    part, amount = patch.stamp(np.column_stack([x, y]), size_m * (0.5 + 0.5 * own), shine)
    return Light(amount, np.float32(1.0) - amount, part)
