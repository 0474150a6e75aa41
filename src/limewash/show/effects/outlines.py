"""Light on the lines of the house: edges, trim, roof line."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.show.effects.chance import chance, waver
from limewash.show.effects.patch import Draws, Flat, Part, Patch, read_loop, soft_step
from limewash.show.effects.registry import CurveLight, Light, Moment, Param, effect

_WIDTH = Param(default=0.035, lo=0.01, hi=0.3, unit="m", help="Width of the bright core")
_GLOW = Param(default=0.16, lo=0.02, hi=1.0, unit="m", help="How far the soft glow reaches")


def stroke(patch: Patch, width_m: float, glow_m: float) -> Flat:
    """A bright core with a glow that ends at twice `glow_m`, 0 to 1."""

    def make() -> Flat:
        core = patch.away_m * np.float32(2.0 / width_m)
        halo = patch.away_m * np.float32(1.0 / glow_m)
        end = np.maximum(np.float32(1.0) - patch.away_m * np.float32(1.0 / (2.0 * glow_m)), np.float32(0.0))
        bright = np.float32(0.62) / (np.float32(1.0) + core * core * core * core)
        soft = np.float32(0.38) / (np.float32(1.0) + np.float32(4.0) * halo * halo)
        return np.asarray((bright + soft) * end * end, dtype=np.float32)

    return patch.still("stroke", make)


def _lag_m(patch: Patch) -> Flat:
    """How far the glow aside lags behind the core: a light on the move then has a round head and a thin tail."""
    return patch.still("lag", lambda: patch.away_m * np.float32(1.1))


def _reach(how: object) -> float:
    assert isinstance(how, dict)
    return 2.0 * float(how["glow_m"])


@effect(
    title="A pen of light draws the outlines",
    draws=Draws.LINES,
    colours=("candle", "white"),
    reach_m=_reach,
    width_m=_WIDTH,
    glow_m=_GLOW,
    draw_s=Param(default=5.0, lo=0.5, hi=60.0, unit="s", help="Time until all outlines are whole"),
    rest=Param(default=0.5, lo=0.0, hi=1.0, unit="-", help="Brightness of what is drawn, against the pen's tip"),
)
def drawn_outline(
    patch: Patch, now: Moment, *, width_m: float, glow_m: float, draw_s: float, rest: float
) -> CurveLight:
    """Every outline is drawn from its start to its end, the pen's tip brightest, and then stays."""
    lengths = np.array([max(o.length_m, 1e-3) for o in patch.outlines], dtype=np.float32)

    def make() -> tuple[Part, Flat, Flat]:
        profile = patch.cover * stroke(patch, width_m, glow_m)
        part = patch.part(profile > np.float32(0.001))
        return part, part.of((patch.along_m + _lag_m(patch)) / lengths[patch.line]), part.of(profile)

    part, along, profile = patch.still("strokes", make)
    place = np.linspace(0.0, 1.0, 1024)
    # The tip runs a little past the end, so that its own light is gone when the drawing is done.
    tip = 1.3 * (1.0 - (1.0 - min(now.t_s / draw_s, 1.0)) ** 1.6)
    behind = tip - place
    drawn = soft_step(0.0, 0.015, behind)
    fresh = np.exp(-np.maximum(behind, 0.0) / 0.07)
    return CurveLight(along, drawn * (rest + (1.0 - rest) * fresh), fresh, part, profile)


@effect(
    title="Lights wander along the outlines",
    draws=Draws.LINES,
    colours=("white", "candle", "ember"),
    reach_m=_reach,
    width_m=_WIDTH,
    glow_m=_GLOW,
    spacing_m=Param(default=2.4, lo=0.4, hi=20.0, unit="m", help="Distance from one light to the next"),
    speed_m_s=Param(default=0.8, lo=0.05, hi=4.0, unit="m/s", help="How fast they go"),
    tail_m=Param(default=1.2, lo=0.1, hi=10.0, unit="m", help="Length of the glowing tail"),
)
def wandering_light(
    patch: Patch,
    now: Moment,
    *,
    width_m: float,
    glow_m: float,
    spacing_m: float,
    speed_m_s: float,
    tail_m: float,
) -> Light:
    """Lights run along every outline, each with a tail that cools as it fades."""
    lengths = np.array([max(o.length_m, 1e-3) for o in patch.outlines])
    # A whole number of lights on each outline, so that a closed one has no seam.
    lights = np.maximum(1.0, np.rint(lengths / spacing_m))
    pitch = (lengths / lights).astype(np.float32)
    turns = patch.still("turns", lambda: (patch.along_m + _lag_m(patch)) / pitch[patch.line])
    shift = chance(now.seed, np.arange(len(lights))) - now.t_s * speed_m_s * lights / lengths
    profile = stroke(patch, width_m, glow_m)
    behind = 1.0 - np.arange(1024) / 1024  # share of a spacing behind the head; the head itself is at 0 and 1
    age = behind * spacing_m / min(tail_m, 0.9 * spacing_m)
    head = 1.0 - soft_step(0.0, 0.06, 1.0 - behind)
    loop = np.maximum(np.exp(-2.2 * age) * soft_step(1.6, 0.6, age), head * (behind > 0.9))
    amount = profile * read_loop(turns, patch.line, shift, loop)
    return Light(amount, read_loop(turns, patch.line, shift, np.clip(age, 0.0, 1.0) * (1.0 - head)))


@effect(
    title="A string of lamps",
    draws=Draws.LINES,
    colours=("candle", "berry", "gold", "pine"),
    reach_m=lambda how: 3.0 * how["lamp_m"],
    spacing_m=Param(default=0.42, lo=0.1, hi=3.0, unit="m", help="Distance from lamp to lamp"),
    lamp_m=Param(default=0.09, lo=0.02, hi=0.5, unit="m", help="Size of a lamp with its glow"),
    swing_s=Param(default=3.0, lo=1.0, hi=20.0, unit="s", help="Time in which a lamp brightens and dims"),
    depth=Param(default=0.5, lo=0.0, hi=1.0, unit="-", help="How far it dims"),
)
def lamp_string(patch: Patch, now: Moment, *, spacing_m: float, lamp_m: float, swing_s: float, depth: float) -> Light:
    """Lamps hang along the outlines at even distances and brighten and dim, each in its own time."""
    lengths = np.array([max(o.length_m, 1e-3) for o in patch.outlines])
    counts = np.maximum(1.0, np.rint(lengths / spacing_m))

    def hang() -> tuple[Part, Flat, NDArray[np.int32], Flat]:
        pitch = (lengths / counts).astype(np.float32)[patch.line]
        place = np.floor(patch.along_m / pitch)
        aside = patch.along_m - (place + np.float32(0.5)) * pitch
        away2 = (aside * aside + patch.away_m * patch.away_m) * np.float32(1.0 / lamp_m**2)
        end = np.maximum(np.float32(1.0) - away2 * np.float32(1.0 / 9.0), np.float32(0.0))
        shape = end * end / (np.float32(1.0) + np.float32(5.0) * away2 * away2)
        lamp = place.astype(np.int32) % np.int32(64) + np.int32(64) * patch.line
        tones = np.floor(chance(now.seed, np.arange(64 * len(lengths))) * 4.0) / 3.0
        part = patch.part(shape > np.float32(0.002))
        return part, part.of(shape), lamp[part.slots], tones.astype(np.float32)[lamp[part.slots]]

    part, shape, lamp, tone = patch.still("lamps", hang)
    who = np.arange(64 * len(lengths))
    bright = 1.0 - depth * waver(now.seed + 1, who, now.t_s, 1.0 / swing_s)
    return Light(shape * bright.astype(np.float32)[lamp], tone, part)
