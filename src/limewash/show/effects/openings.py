"""Light in and around windows and doors."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.show.effects.chance import chance, drift, waver
from limewash.show.effects.patch import Draws, Flat, Part, Patch, read_curve, soft_step, soft_steps
from limewash.show.effects.registry import (
    AnyLight,
    CurveLight,
    Light,
    Moment,
    Param,
    SheetLight,
    effect,
)
from limewash.show.fields import distance_px


def of_areas(patch: Patch, values: NDArray[np.float64]) -> Flat:
    """One value per area at each pixel; 0 on bare wall."""
    table = np.append(values, 0.0).astype(np.float32)
    return table[patch.area]


def from_centre(patch: Patch, *, low: float = 0.0) -> tuple[Flat, Flat]:
    """Place in the pixel's area: -1 to 1 from left to right, and from bottom to top, `low` below the middle."""
    centre = np.array([[a.centre_m[0], a.centre_m[1] - low * a.half_m[1]] for a in patch.areas] + [[0.0, 0.0]])
    half = np.array([a.half_m for a in patch.areas] + [(1.0, 1.0)])
    middle, size = centre.astype(np.float32), half.astype(np.float32)
    u = (patch.x_m - middle[patch.area, 0]) / size[patch.area, 0]
    v = (patch.y_m - middle[patch.area, 1]) / size[patch.area, 1]
    return u, v


@effect(
    title="Hearth glow",
    draws=Draws.AROUND,
    colours=("candle", "amber", "ember"),
    reach_m=lambda how: 4.0 * how["spread_m"],
    spread_m=Param(default=0.45, lo=0.05, hi=3.0, unit="m", help="How far the glow spreads on the wall"),
    breath_s=Param(default=6.0, lo=1.5, hi=30.0, unit="s", help="Time of one breath"),
    depth=Param(default=0.45, lo=0.0, hi=1.0, unit="-", help="How far the glow sinks between breaths"),
    inside=Param(default=0.85, lo=0.0, hi=1.0, unit="-", help="Brightness inside the frame"),
)
def hearth_glow(
    patch: Patch, now: Moment, *, spread_m: float, breath_s: float, depth: float, inside: float
) -> list[AnyLight]:
    """A warm glow breathes out of the selected openings onto the wall around them."""
    who = np.arange(len(patch.areas))
    own = waver(now.seed, who, now.t_s, 0.7 / breath_s)
    together = 0.5 - 0.5 * np.cos(2.0 * np.pi * now.t_s / breath_s)
    breath = 1.0 - depth * (0.65 * together + 0.35 * own)
    halos = patch.still("halos", lambda: _halos(patch, spread_m))
    tone = patch.still("tone", lambda: soft_step(-0.3 * spread_m, 1.6 * spread_m, halos.nearest_m))
    around = SheetLight(patch.sheet(_HALO_STEP_M), _summed(halos.glow, breath), tone, _wall_cover(patch))
    return [around, _within(patch, inside * (0.35 + 0.65 * breath), np.zeros(len(who)))]


def _within(patch: Patch, amounts: NDArray[np.float64], tones: NDArray[np.float64]) -> CurveLight:
    """Light within the frame of each opening, by one strength and tone each."""
    last = max(len(amounts) - 1, 1)

    def make() -> tuple[Part, Flat, Flat]:
        part = patch.part((patch.inside > 0) & (patch.area >= 0))
        cover = part.of(_pane(patch) * patch.inside * patch.cover)
        return part, patch.area[part.slots].astype(np.float32) * np.float32(1.0 / last), cover

    part, which, cover = patch.still("within", make)
    # A curve over the openings, read only at its samples.
    spare = np.zeros(1 if len(amounts) < 2 else 0)
    return CurveLight(which, np.append(amounts, spare), np.append(tones, spare), part, cover)


def _wall_cover(patch: Patch) -> Flat:
    return patch.still("wall", lambda: patch.cover * (np.float32(1.0) - patch.inside))


def _pane(patch: Patch) -> Flat:
    u, v = from_centre(patch, low=0.35)
    return np.float32(1.0) / (np.float32(1.0) + np.float32(0.8) * (u * u + v * v))


_HALO_STEP_M = 0.07


@dataclass(frozen=True, eq=False)
class _Halos:
    """Light on the wall around each area, over the patch's sheet.

    Attributes
    ----------
    glow : ndarray of shape (areas, ny, nx)
        Falling off from the edge, 0 inside no area.
    nearest_m : ndarray of shape (ny, nx)
        Distance to the nearest area. [m]
    """

    glow: NDArray[np.float64]
    nearest_m: NDArray[np.float64]


def _halos(patch: Patch, spread_m: float) -> _Halos:
    sheet = patch.sheet(_HALO_STEP_M)
    step = sheet.step_m
    shape = (len(sheet.y_m), len(sheet.x_m))
    glow, nearest_m = np.zeros((len(patch.areas), *shape)), np.full(shape, 1e3)
    for k, area in enumerate(patch.areas):
        cells = (area.points_m - [sheet.x_m[0], sheet.y_m[0]]) / step
        outside = np.ones(shape, dtype=np.uint8)
        cv2.fillPoly(outside, [np.rint(cells * 16).astype(np.int32)], 0, shift=4)
        away_m = distance_px(outside).astype(np.float64) * step
        end = np.maximum(1.0 - away_m / (4.0 * spread_m), 0.0)
        glow[k] = 0.55 * end**2 / (1.0 + 1.5 * (away_m / spread_m) ** 2)
        nearest_m = np.minimum(nearest_m, away_m)
    return _Halos(glow, nearest_m)


def _summed(glow: NDArray[np.float64], strengths: NDArray[np.float64]) -> NDArray[np.float64]:
    """All glows together, each by its own strength: where two meet there is no seam. Below 1."""
    total = np.zeros(glow.shape[1:])
    for halo, strength in zip(glow, strengths, strict=True):
        total += strength * halo
    return 1.0 - np.exp(-total)


@effect(
    title="Candles behind the windows",
    draws=Draws.AREAS,
    colours=("candle", "amber", "ember"),
    flicker=Param(default=0.35, lo=0.0, hi=0.7, unit="-", help="How far the flames flicker"),
    spread=Param(default=0.8, lo=0.2, hi=2.0, unit="-", help="Reach of the light against the window's half height"),
)
def candlelight(patch: Patch, now: Moment, *, flicker: float, spread: float) -> Light:
    """A candle stands behind each window: a warm light low in the frame that flickers gently."""

    def make() -> Flat:
        u, v = from_centre(patch, low=0.45)
        ratio = of_areas(patch, np.array([a.half_m[0] / a.half_m[1] for a in patch.areas]))
        # Flames light upwards: what is above is a longer way off than what is below.
        v = np.where(v > 0, v * np.float32(0.75), v * np.float32(1.3))
        u *= np.minimum(ratio, np.float32(1.0))
        return (u * u + v * v) * np.float32(1.0 / spread**2)

    away2 = patch.still("away2", make)
    who = np.arange(len(patch.areas))
    # Two slow movements: nothing rises and falls more than about twice a second.
    flame = 0.6 * waver(now.seed, who, now.t_s, 0.6) + 0.4 * waver(now.seed + 1, who, now.t_s, 1.6)
    bright = 1.0 - flicker * (1.0 - flame)
    width = of_areas(patch, 1.0 / (0.7 + 0.6 * bright))
    near = away2 * width
    amount = of_areas(patch, bright) / (np.float32(1.0) + near * (np.float32(1.2) + near))
    tone = near / (np.float32(0.8) + near)
    return Light(np.where(patch.area >= 0, amount, np.float32(0.0)), tone)


@effect(
    title="Windows in turn",
    draws=Draws.AROUND,
    colours=("gold", "rose", "sky"),
    reach_m=lambda how: 4.0 * how["spread_m"],
    beats=Param(default=1.0, lo=0.5, hi=16.0, unit="beats", help="Beats from one window to the next"),
    hold=Param(default=2.0, lo=1.0, hi=16.0, unit="-", help="How long one fades, in turns"),
    spread_m=Param(default=0.3, lo=0.05, hi=3.0, unit="m", help="How far the light spreads on the wall"),
    rest=Param(default=0.06, lo=0.0, hi=1.0, unit="-", help="Brightness between its turns"),
)
def windows_in_turn(
    patch: Patch, now: Moment, *, beats: float, hold: float, spread_m: float, rest: float
) -> list[AnyLight]:
    """The music goes from window to window: each brightens softly on its beat and fades away."""
    amounts, tones = _turns(now.beats / beats, len(patch.areas), now.seed, hold)
    amounts = rest + (1.0 - rest) * amounts
    halos = patch.still("halos", lambda: _halos(patch, spread_m))
    mixed = _mixed(halos.glow, amounts, tones)
    around = SheetLight(patch.sheet(_HALO_STEP_M), _summed(halos.glow, amounts), mixed, _wall_cover(patch))
    return [around, _within(patch, amounts, tones)]


def _mixed(
    glow: NDArray[np.float64], strengths: NDArray[np.float64], tones: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Tone on the wall: each opening's own, mixed by their light where they meet."""
    total, weight = np.zeros(glow.shape[1:]), np.full(glow.shape[1:], 1e-6)
    for halo, strength, tone in zip(glow, strengths, tones, strict=True):
        total += (strength * tone) * halo
        weight += strength * halo
    return np.asarray(total / weight)


def _turns(turn: float, count: int, seed: int, hold: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Brightness and tone of each of `count` windows when `turn` turns are over."""
    amounts, tones = np.zeros(count), np.zeros(count)
    for k in range(max(0, int(turn - hold) - 1), int(turn) + 2) if count else ():
        window = _whose_turn(seed, k, count)
        age = turn - k
        shine = float(soft_step(-0.35, 0.1, age) * (1.0 - soft_step(0.1, hold, age)) ** 1.5)
        if shine >= amounts[window]:
            amounts[window], tones[window] = shine, float(chance(seed + 7, k))
    return amounts, tones


def _whose_turn(seed: int, turn: int, count: int) -> int:
    """A new order in every round, never the same window twice in a row."""
    order = np.argsort(chance(seed, turn // count, np.arange(count)), kind="stable")
    if turn >= count > 1:
        last = np.argsort(chance(seed, turn // count - 1, np.arange(count)), kind="stable")[-1]
        if order[0] == last and count > 2:
            order[0], order[1] = order[1], order[0]
    return int(order[turn % count])


@effect(
    title="Hoarfrost",
    draws=Draws.AREAS,
    colours=("ice", "white", "sky"),
    depth_m=Param(default=0.5, lo=0.05, hi=5.0, unit="m", help="How far it grows inward from the edges"),
    grow_s=Param(default=8.0, lo=1.0, hi=60.0, unit="s", help="Time until it is grown"),
    glint=Param(default=0.6, lo=0.0, hi=1.0, unit="-", help="Brightness of the glinting crystals"),
)
def hoarfrost(patch: Patch, now: Moment, *, depth_m: float, grow_s: float, glint: float) -> list[AnyLight]:
    """Frost grows from the edges inward in fine crystals; here and there one glints."""
    part, birth, crystals = patch.still("frost", lambda: _frost(patch, now.seed, depth_m))
    grown = 1.0 - (1.0 - min(now.t_s / grow_s, 1.0)) ** 1.7
    curve = soft_step(0.0, 0.12, 1.14 * grown - np.linspace(0.0, 1.0, 512))
    tone = soft_step(0.1, 0.9, np.linspace(0.0, 1.0, len(curve)))
    lights: list[AnyLight] = [CurveLight(birth, curve, tone, part, crystals)]
    if glint > 0.0:
        where, shine = _glints(patch, now)
        frozen = patch.still("frozen", lambda: _spread(patch, part, birth))
        lit = shine * np.float32(glint) * read_curve(frozen[where.slots], curve)
        lights.append(Light(lit, np.full_like(lit, 0.5), where))
    return lights


def _spread(patch: Patch, part: Part, values: Flat) -> Flat:
    """Values of a part put back into the whole patch; 2, a time that never comes, elsewhere."""
    whole = np.full(len(patch), 2.0, dtype=np.float32)
    whole[part.slots] = values
    return whole


def _frost(patch: Patch, seed: int, depth_m: float) -> tuple[Part, Flat, Flat]:
    """Where frost will grow, when each pixel freezes, 0 to 1 of the growth, and how bright it is."""
    sheet = patch.sheet(0.012)
    coarse = drift(sheet.x_m / 0.35, sheet.y_m / 0.35, 0.0, seed=seed, octaves=2)
    ridges = 1.0 - np.abs(2.0 * drift(sheet.x_m / 0.11, sheet.y_m / 0.11, 0.0, seed=seed + 1, octaves=3) - 1.0)
    far = sheet.lift(0.75 + 0.9 * (0.5 - coarse) + 0.55 * (0.6 - ridges))
    birth = patch.edge_m * np.float32(1.0 / depth_m) * np.float32(0.8) + far * np.float32(0.45)
    thin = np.maximum(np.float32(1.0) - birth, np.float32(0.0))
    crystals = (np.float32(0.25) + np.float32(0.75) * sheet.lift(ridges**3)) * soft_steps(0.0, 0.35, thin)
    part = patch.part((birth < np.float32(1.0)) & (crystals > np.float32(0.0)))
    return part, part.of(birth), part.of(crystals) * part.cover


def _glints(patch: Patch, now: Moment) -> tuple[Part, Flat]:
    low, high = patch.still("box", lambda: _box(patch))
    area_m2 = float(np.prod(high - low))
    who = np.arange(int(min(60.0 * area_m2, 900.0)))
    # Each lives 1.6 s at one place, then another; born at its own time.
    life = now.t_s / 1.6 + chance(now.seed + 3, who)
    place = np.floor(life).astype(np.int64)
    shine = np.sin(np.pi * (life - place)) ** 2 * (chance(now.seed + 6, who, place) < 0.35)
    x = low[0] + (high[0] - low[0]) * chance(now.seed + 4, who, place)
    y = low[1] + (high[1] - low[1]) * chance(now.seed + 5, who, place)
    return patch.stamp(np.column_stack([x, y]), 0.028, shine)


def _box(patch: Patch) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    low = np.array([patch.x_m.min(), patch.y_m.min()], dtype=np.float64)
    return low, np.array([patch.x_m.max(), patch.y_m.max()], dtype=np.float64)
