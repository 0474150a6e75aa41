"""What grows along the house's edges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.show.effects.chance import chance, drift
from limewash.show.effects.patch import Draws, Flat, Part, Patch, read_curve, soft_step
from limewash.show.effects.registry import Light, Moment, Param, effect
from limewash.show.lines import Outline


@effect(
    title="Climbing ivy",
    draws=Draws.LINES,
    colours=("pine", "leaf", "mint", "rose"),
    reach_m=lambda how: 2.6 * how["leaf_m"],
    leaf_m=Param(default=0.22, lo=0.03, hi=1.0, unit="m", help="Length of a leaf"),
    apart_m=Param(default=0.07, lo=0.02, hi=1.0, unit="m", help="Distance from leaf to leaf along the stem"),
    grow_s=Param(default=9.0, lo=1.0, hi=120.0, unit="s", help="Time from the ground to the top"),
    blossom=Param(default=0.12, lo=0.0, hi=1.0, unit="-", help="Share of the leaves that are blossoms"),
)
def climbing_ivy(patch: Patch, now: Moment, *, leaf_m: float, apart_m: float, grow_s: float, blossom: float) -> Light:
    """Vines climb from the ground along the edges, put out leaf after leaf, and blossom at last."""

    def grow() -> tuple[Part, Flat, Flat, Flat]:
        shape, birth, tone = _vine(patch, now.seed, leaf_m, apart_m, blossom)
        part = patch.part(shape > np.float32(0.0))
        return part, part.of(shape), part.of(birth), part.of(tone)

    part, shape, birth, tone = patch.still("vine", grow)
    grown = min(now.t_s / grow_s, 1.0)
    curve = soft_step(0.0, 0.02, 1.06 * grown - np.linspace(0.0, 1.0, 1024))
    return Light(shape * read_curve(birth, curve), tone, part)


def _vine(patch: Patch, seed: int, leaf_m: float, apart_m: float, blossom: float) -> tuple[Flat, Flat, Flat]:
    """Brightness of stem and leaves, when each pixel is grown over (0 to 1), and its tone."""
    low, high = float(patch.y_m.min()), float(patch.y_m.max())
    tall = max(high - low, 1e-3)
    sheet = patch.sheet(0.03)
    wobble = sheet.lift(drift(sheet.x_m / 0.4, sheet.y_m / 0.4, 0.0, seed=seed) - 0.5) * np.float32(0.5 * leaf_m)
    away = np.abs(patch.away_m + wobble - np.float32(0.03)) * np.float32(1.0 / (0.09 * leaf_m))
    stem = np.float32(0.6) / (np.float32(1.0) + away * away * away * away)
    birth = np.clip((patch.y_m - np.float32(low)) * np.float32(0.9 / tall), 0.0, 1.0, dtype=np.float32)
    tone = np.zeros(len(patch), dtype=np.float32)
    stem[stem < np.float32(0.02)] = 0.0
    for number, outline in enumerate(patch.outlines):
        _leaves(patch, outline, seed + 31 * number, leaf_m, apart_m, blossom, (low, tall), (stem, birth, tone))
    return stem, birth, tone


def _leaves(
    patch: Patch,
    outline: Outline,
    seed: int,
    leaf_m: float,
    apart_m: float,
    blossom: float,
    ground: tuple[float, float],
    out: tuple[Flat, Flat, Flat],
) -> None:
    """Put the leaves of one outline into (shape, birth, tone); a later leaf lies over an earlier one."""
    who = np.arange(max(2, int(outline.length_m / apart_m)))
    at = (who + 0.6 * (chance(seed, who) - 0.5)) * apart_m
    base, heading = _on_outline(outline, at)
    side = np.where(who % 2 == 0, 1.0, -1.0)
    turn = heading + side * (0.6 + 0.9 * chance(seed + 1, who))
    flower = chance(seed + 2, who) < blossom
    size_m = leaf_m * (0.55 + 0.45 * chance(seed + 3, who)) * np.where(flower, 0.75, 1.0)
    root_m = patch.fields.wall.at(base)
    light = np.where(flower, 1.0, 0.65 + 0.35 * chance(seed + 4, who))
    tint = np.where(flower, 1.0, 0.1 + 0.55 * chance(seed + 5, who))
    born = 0.9 * (root_m[:, 1] - ground[0]) / ground[1] + np.where(flower, 0.1, 0.03)
    pixel_m = patch.fields.pixel_m
    height, width = pixel_m.shape
    for k in who:
        x, y = base[k]
        if not (0 <= x < width and 0 <= y < height):
            continue
        length = size_m[k] / float(pixel_m[int(y), int(x)])
        _one_leaf(patch, (x, y), turn[k], length, bool(flower[k]), (light[k], born[k], tint[k]), out)


def _one_leaf(
    patch: Patch,
    base: NDArray[np.float64] | tuple[float, float],
    turn: float,
    length: float,
    flower: bool,
    values: tuple[float, float, float],
    out: tuple[Flat, Flat, Flat],
) -> None:
    height, width = patch.fields.pixel_m.shape
    middle = (base[0] + 0.5 * length * np.cos(turn), base[1] + 0.5 * length * np.sin(turn))
    reach = 0.5 * length + 2.0
    columns = np.arange(max(0, int(middle[0] - reach)), min(width, int(middle[0] + reach) + 2))
    rows = np.arange(max(0, int(middle[1] - reach)), min(height, int(middle[1] + reach) + 2))
    if not len(columns) or not len(rows):
        return
    dx, dy = columns - base[0], (rows - base[1])[:, None]
    along = (dx * np.cos(turn) + dy * np.sin(turn)) / length
    across = (dy * np.cos(turn) - dx * np.sin(turn)) / length
    shape = _petals(along, across) if flower else _blade(along, across)
    cover = np.clip(shape * length, 0.0, 1.0)  # `shape` is about the distance inside its edge: soft over a pixel
    slot = patch.slots(*np.broadcast_arrays(columns, rows[:, None]))
    light, born, tint = values
    hit = (cover > 0.02) & (slot >= 0)
    place, share = slot[hit], cover[hit]
    vein = 1.0 - 0.45 * np.exp(-((across[hit] / 0.035) ** 2)) * (not flower)
    bright = (light * vein * (0.75 + 0.25 * np.clip(along[hit], 0.0, 1.0))).astype(np.float32)
    out[0][place] = (out[0][place] * (1.0 - share) + bright * share).astype(np.float32)
    clear = share > 0.3
    # From base to tip: the leaf unfolds.
    out[1][place[clear]] = np.clip(born + 0.05 * np.clip(along[hit][clear], 0.0, 1.0), 0.0, 1.0)
    out[2][place[clear]] = tint


def _blade(along: NDArray[np.float64], across: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inside (> 0) of a pointed leaf from (0, 0) to (1, 0), widest before its middle."""
    a = np.clip(along, 0.0, 1.0)
    half = 0.36 * np.sqrt(a) * (1.0 - a) ** 0.7 * 1.6
    inside = half - np.abs(across)
    return np.where((along > 0.0) & (along < 1.0), inside, -1.0)


def _petals(along: NDArray[np.float64], across: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inside (> 0) of a five-petalled blossom around (0.5, 0)."""
    u, v = along - 0.5, across
    angle = np.arctan2(v, u)
    return (0.33 + 0.13 * np.cos(5.0 * angle)) - np.hypot(u, v)


def _on_outline(outline: Outline, at_m: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pixels (k, 2) at lengths along an outline, and the direction of growth there: upwards [rad]."""
    points, along = outline.points_px, outline.along_m
    x, y = np.interp(at_m, along, points[:, 0]), np.interp(at_m, along, points[:, 1])
    piece = np.clip(np.searchsorted(along, at_m, side="right") - 1, 0, len(points) - 2)
    step = points[piece + 1] - points[piece]
    step = np.where(step[:, 1:] > 0, -step, step)  # rows count downwards
    return np.column_stack([x, y]), np.arctan2(step[:, 1], step[:, 0])
