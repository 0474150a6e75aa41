"""The sky laid over the house: morning and northern light."""

from __future__ import annotations

import numpy as np

from limewash.show.effects.chance import drift
from limewash.show.effects.patch import Draws, Flat, Patch, soft_step
from limewash.show.effects.registry import Moment, Param, SheetLight, effect


@effect(
    title="Morning through the boards",
    draws=Draws.AREAS,
    colours=("gold", "amber", "rose", "violet", "deep blue"),
    rise_s=Param(default=10.0, lo=1.0, hi=120.0, unit="s", help="Time until the sun is up"),
    sun_x=Param(default=0.5, lo=0.0, hi=1.0, unit="-", help="Where it rises, from the left end to the right"),
    row_m=Param(default=0.18, lo=0.03, hi=2.0, unit="m", help="Height of a board"),
    relief=Param(default=0.35, lo=0.0, hi=1.0, unit="-", help="How strongly the boards' lips catch the light"),
)
def morning_wall(patch: Patch, now: Moment, *, rise_s: float, sun_x: float, row_m: float, relief: float) -> SheetLight:
    """A sunrise climbs up the wall: gold below, rose and blue above, each board's lip catching the light."""
    sheet = patch.sheet(0.08)
    x, y = sheet.x_m, sheet.y_m[:, None]
    height, width = y.max() - y.min(), x.max() - x.min()
    up = float(soft_step(0.0, 1.0, now.t_s / rise_s))
    sun_y = y.min() + (up * 1.0 - 0.55) * height
    away = np.hypot((x - (x.min() + sun_x * width)) * 0.75, y - sun_y) / height
    light = (0.15 + 0.85 * up) * (0.28 + 0.95 / (1.0 + (away / 0.42) ** 2.4)) * float(soft_step(0.0, 0.12, up + 0.02))
    tone = np.clip(away / (0.55 + 0.75 * up), 0.0, 1.0)
    lips = patch.still("lips", lambda: patch.cover * _lips(patch, row_m, relief))
    return SheetLight(sheet, light, tone, lips)


def _lips(patch: Patch, row_m: float, relief: float) -> Flat:
    board = patch.y_m * np.float32(1.0 / row_m)
    up = board - np.floor(board)
    # Smooth over at least a pixel and a half, or the lips would alias into bands.
    soft = np.maximum(np.float32(0.08), np.float32(1.5 / row_m) * patch.pixel_m)
    lip = np.minimum(up / soft, (np.float32(1.0) - up) / np.maximum(soft, np.float32(0.85)))
    bright: Flat = np.float32(1.0 - relief) + np.float32(relief) * np.clip(lip, 0.0, 1.0, dtype=np.float32)
    return bright


_HEM = np.linspace(-0.1, 1.6, 256)
_BODY = soft_step(-0.06, 0.07, _HEM) * np.exp(-2.4 * np.maximum(_HEM, 0.0)) * soft_step(1.5, 0.6, _HEM)


@effect(
    title="Northern curtain",
    draws=Draws.AREAS,
    colours=("mint", "pine", "sky", "violet"),
    tall_m=Param(default=3.2, lo=0.5, hi=20.0, unit="m", help="How tall the rays stand"),
    fold_m=Param(default=1.6, lo=0.3, hi=10.0, unit="m", help="Width of a fold of the curtain"),
    sway_s=Param(default=5.0, lo=1.5, hi=60.0, unit="s", help="Time in which the curtain sways"),
)
def northern_curtain(patch: Patch, now: Moment, *, tall_m: float, fold_m: float, sway_s: float) -> SheetLight:
    """Curtains of northern light sway over the wall, bright at the hem and fading upwards in rays."""
    sheet = patch.sheet(0.05)
    x, y = sheet.x_m, sheet.y_m[:, None]
    low, height = float(y.min()), float(y.max() - y.min())
    dark = np.ones((len(sheet.y_m), len(x)))
    tone = np.zeros_like(dark)
    for k, (base, strength) in enumerate(((0.12, 1.0), (0.36, 0.75), (0.55, 0.5))):
        seed, t = now.seed + 17 * k, now.t_s / sway_s
        bend = drift(x / (1.7 * fold_m) + 0.15 * t, [0.5], 0.8 * t, seed=seed)[0] - 0.5
        hem = low + (base + 0.55 * bend) * height
        folds = drift(x / fold_m - 0.2 * t, [1.5], 1.2 * t, seed=seed + 5)[0]
        rays = drift(x / 0.15 + 2.0 * bend, [2.5], 1.6 * t, seed=seed + 9)[0]
        stand = tall_m * (0.55 + 0.7 * folds)
        v = (y - hem) / stand
        body = np.interp(v, _HEM, _BODY)
        shine = body * (strength * (0.15 + 0.85 * folds) * (0.45 + 0.55 * rays))
        dark *= 1.0 - np.minimum(shine, 1.0)
        tone += shine * np.clip(1.15 * v, 0.0, 1.0)
    light = 1.0 - dark
    return SheetLight(sheet, light, tone / np.maximum(light, 0.02))
