"""Light that passes over the wall in metres."""

from __future__ import annotations

import numpy as np

from limewash.show.effects.chance import chance, drift
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


@effect(
    title="Slow beam",
    draws=Draws.AREAS,
    colours=("sky", "white", "rose"),
    width_m=Param(default=1.4, lo=0.1, hi=8.0, unit="m", help="Width of the bright band"),
    cross_s=Param(default=4.0, lo=0.5, hi=60.0, unit="s", help="Time from one end of the house to the other"),
    pause_s=Param(default=1.0, lo=0.0, hi=60.0, unit="s", help="Dark time between two passes"),
    angle_deg=Param(default=20.0, lo=-180.0, hi=180.0, unit="deg", help="0 goes to the right, 90 goes up"),
)
def slow_beam(
    patch: Patch, now: Moment, *, width_m: float, cross_s: float, pause_s: float, angle_deg: float
) -> CurveLight:
    """A broad band of light passes over the wall, soft before and behind."""

    def make() -> tuple[Flat, float]:
        angle = np.deg2rad(angle_deg)
        s = patch.x_m * np.float32(np.cos(angle)) + patch.y_m * np.float32(np.sin(angle))
        low, high = float(s.min()), float(s.max())
        return (s - np.float32(low)) * np.float32(1.0 / max(high - low, 1e-3)), high - low

    place, length_m = patch.still("place", make)
    passed = (now.t_s % (cross_s + pause_s)) / cross_s
    middle = -width_m + passed * (length_m + 2.0 * width_m)
    u = (np.linspace(0.0, length_m, 1024) - middle) / width_m
    band = np.maximum(1.0 - u * u, 0.0) ** 2
    return CurveLight(place, band, np.clip(0.5 + 0.5 * u, 0.0, 1.0))


@effect(
    title="Rings on the water",
    draws=Draws.AROUND,
    colours=("white", "sky", "deep blue"),
    reach_m=lambda how: how["spread_m"],
    spread_m=Param(default=6.0, lo=0.3, hi=30.0, unit="m", help="How far the rings run"),
    speed_m_s=Param(default=1.1, lo=0.1, hi=6.0, unit="m/s", help="How fast they run"),
    every_beats=Param(default=4.0, lo=1.0, hi=64.0, unit="beats", help="Beats from one ring to the next"),
    width_m=Param(default=0.35, lo=0.05, hi=3.0, unit="m", help="Width of a ring"),
)
def water_rings(
    patch: Patch, now: Moment, *, spread_m: float, speed_m_s: float, every_beats: float, width_m: float
) -> list[AnyLight]:
    """Rings run outward over the wall from the edges of what is selected, as from a stone in a pond."""
    away = patch.still("away", lambda: np.maximum(-patch.edge_m, np.float32(0.0)) * np.float32(1.0 / spread_m))
    away_m = np.linspace(0.0, spread_m, 1024)
    beat_s = now.t_s / now.beats if now.beats > 0 else 0.5
    rings = np.zeros_like(away_m)
    since = now.beats % every_beats
    while since <= now.beats + 1e-9 and since * beat_s * speed_m_s < spread_m + 3.0 * width_m:
        front = since * beat_s * speed_m_s
        u = (away_m - front) / width_m
        crest = np.maximum(1.0 - u * u, 0.0) ** 2
        wake = 0.35 * np.maximum(1.0 - (u + 1.7) ** 2, 0.0) ** 2
        rings = np.maximum(rings, crest + wake)
        since += every_beats
    rings *= (1.0 - away_m / spread_m) ** 1.3
    # The stone itself: what is selected shines up softly as a ring is born.
    born = now.beats % every_beats * beat_s
    stone = 0.55 * float(soft_step(0.0, 0.25, born) * (1.0 - soft_step(0.25, 2.2, born)))
    source, within = patch.still("source", lambda: _source(patch))
    wall = patch.still("wall", lambda: patch.cover * (np.float32(1.0) - patch.inside))
    return [
        CurveLight(away, rings, np.linspace(0.0, 1.0, len(rings)), cover=wall),
        Light(np.float32(stone) * within, None, source),
    ]


def _source(patch: Patch) -> tuple[Part, Flat]:
    part = patch.part(patch.inside > 0)
    return part, part.of(patch.inside)


@effect(
    title="Drifting colours",
    draws=Draws.AREAS,
    colours=("deep blue", "violet", "rose"),
    scale_m=Param(default=2.2, lo=0.3, hi=20.0, unit="m", help="Size of the patches of colour"),
    change_s=Param(default=5.0, lo=1.0, hi=60.0, unit="s", help="Time in which they change"),
    shade=Param(default=0.45, lo=0.0, hi=1.0, unit="-", help="How much darker it is between the patches"),
)
def drifting_colour(patch: Patch, now: Moment, *, scale_m: float, change_s: float, shade: float) -> SheetLight:
    """Patches of colour drift over the wall and melt into each other."""
    sheet = patch.sheet(min(0.08, scale_m / 8.0))
    x, y, t = sheet.x_m / scale_m, sheet.y_m / scale_m, now.t_s / change_s
    tone = drift(x + 0.12 * t, y, t, seed=now.seed, octaves=2)
    light = 1.0 - shade * drift(1.3 * x, 1.3 * y + 0.2 * t, t, seed=now.seed + 50, octaves=2)
    return SheetLight(sheet, light, tone)


@effect(
    title="Boards light up",
    draws=Draws.AREAS,
    colours=("amber", "rose", "violet", "sky"),
    row_m=Param(default=0.2, lo=0.03, hi=2.0, unit="m", help="Height of a row of boards or bricks"),
    piece_m=Param(default=1.1, lo=0.05, hi=20.0, unit="m", help="Length of one board or brick"),
    rise_s=Param(default=5.0, lo=0.5, hi=60.0, unit="s", help="Time from the lowest row to the highest"),
    disorder=Param(default=0.35, lo=0.0, hi=1.0, unit="-", help="0: row by row, 1: all over the wall"),
    rest=Param(default=0.4, lo=0.0, hi=1.0, unit="-", help="Brightness that stays behind"),
)
def boards_alight(
    patch: Patch, now: Moment, *, row_m: float, piece_m: float, rise_s: float, disorder: float, rest: float
) -> Light:
    """The wall lights up board by board, from the ground to the gable."""
    shape, birth, tone = patch.still("boards", lambda: _boards(patch, now.seed, row_m, piece_m, disorder))
    age_s = now.t_s - rise_s * np.linspace(0.0, 1.0, 1024)
    fresh = np.exp(-np.maximum(age_s - 0.4, 0.0) / 1.1)
    lit = soft_step(0.0, 0.4, age_s) * (rest + (1.0 - rest) * fresh)
    return Light(shape * read_curve(birth, lit), tone)


def _boards(patch: Patch, seed: int, row_m: float, piece_m: float, disorder: float) -> tuple[Flat, Flat, Flat]:
    """Brightness of each pixel in its board, when the board lights up (0 to 1), and its tone."""
    row = np.floor(patch.y_m * np.float32(1.0 / row_m))
    rows = np.arange(int(row.min()), int(row.max()) + 1)
    which = row.astype(np.int32) - rows[0]
    stagger = chance(seed, rows).astype(np.float32)[which]
    along = patch.x_m * np.float32(1.0 / piece_m) + stagger
    piece = np.floor(along)
    up = patch.y_m * np.float32(1.0 / row_m) - row
    across = along - piece
    # The gap between boards is a soft shadow at least a pixel wide; the board's lower lip catches the light.
    gap = np.maximum(np.float32(0.006), np.float32(0.9) * patch.pixel_m)
    edge = np.minimum(
        np.minimum(up, np.float32(1) - up) * np.float32(row_m),
        np.minimum(across, np.float32(1) - across) * np.float32(piece_m),
    )
    shape = (np.float32(0.25) + np.float32(0.75) * soft_steps(0.0, 1.0, edge / gap)) * (
        np.float32(1.0) - np.float32(0.35) * up
    )
    pieces = np.arange(int(piece.min()), int(piece.max()) + 1)
    luck = chance(seed + 1, rows[:, None], pieces).astype(np.float32)
    own = luck[which, piece.astype(np.int32) - pieces[0]]
    height = (patch.y_m - patch.y_m.min()) * np.float32(1.0 / max(float(np.ptp(patch.y_m)), 1e-3))
    birth = height * np.float32(1.0 - disorder) + own * np.float32(disorder)
    bright = np.float32(0.7) + np.float32(0.3) * chance(seed + 2, rows[:, None], pieces).astype(np.float32)
    shape *= bright[which, piece.astype(np.int32) - pieces[0]]
    tone = np.float32(0.75) * height + np.float32(0.25) * own
    return shape, birth, tone
