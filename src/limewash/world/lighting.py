"""Light that comes from no projector: sun, sky, street lamps, lit rooms; and what is seen where no wall is."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.world.model import House, Lamp
from limewash.world.textures import noise

Array = NDArray[np.float64]


class Lighting(NamedTuple):
    """Lights of a moment, in BT.709 linear RGB whose luma is the photometric quantity.

    Attributes
    ----------
    sun : ndarray of shape (6,)
        Direction towards it, then its illuminance on a face turned to it. [lx]
    sky : ndarray of shape (12,)
        Luminance of zenith, of horizon, of the ground far off, of the hills before the horizon. [cd/m2]
    lamps : ndarray of shape (N, 7)
        Place [m], luminous intensity [cd], and 1 for lamps that shine downwards only.
    glow : ndarray of shape (3,)
        Luminance of the windows of lit rooms. [cd/m2]
    clouds : float
        Strength of clouds, 0 to 1.
    """

    sun: Array
    sky: Array
    lamps: Array
    glow: Array
    clouds: float


def night(house: House) -> Lighting:
    """Show time: a dim even sky of `night_lx`, the street lamps, no lit rooms."""
    level = house.sky.night_lx / np.pi
    zenith, horizon = _tinted((0.45, 0.62, 1.0), 0.7 * level), _tinted((0.75, 0.72, 0.8), 1.5 * level)
    ground, hills = _tinted((0.6, 0.65, 0.6), 0.12 * level), _tinted((0.5, 0.6, 0.9), 0.25 * level)
    lamps = _lamps([lamp for lamp in house.lamps if not lamp.dusk_only])
    return Lighting(np.zeros(6), np.concatenate([zenith, horizon, ground, hills]), lamps, np.zeros(3), 0.0)


def daylight(house: House) -> Lighting:
    """A clear day: sun and blue sky."""
    sun = np.concatenate([_sun_direction(house), _tinted((1.0, 0.93, 0.80), 72_000.0)])
    zenith, horizon = _tinted((0.28, 0.52, 1.0), 3200.0), _tinted((0.72, 0.86, 1.0), 7600.0)
    ground, hills = _tinted((0.5, 0.6, 0.4), 3000.0), _tinted((0.42, 0.58, 0.62), 3000.0)
    return Lighting(sun, np.concatenate([zenith, horizon, ground, hills]), np.zeros((0, 7)), np.zeros(3), 1.0)


def dusk(house: House) -> Lighting:
    """Some minutes after sunset: blue light from above, a warm rim behind the house, lamps and rooms lit."""
    zenith, horizon = _tinted((0.16, 0.30, 0.78), 1.6), _tinted((1.0, 0.60, 0.40), 5.6)
    ground, hills = _tinted((0.5, 0.6, 0.6), 0.35), _tinted((0.30, 0.32, 0.52), 0.5)
    glow = _tinted((1.0, 0.66, 0.30), 11.0)
    sky = np.concatenate([zenith, horizon, ground, hills])
    return Lighting(np.zeros(6), sky, _lamps(list(house.lamps)), glow, 0.6)


def _sun_direction(house: House) -> Array:
    azimuth, height = np.radians(house.sky.sun_azimuth_deg), np.radians(house.sky.sun_height_deg)
    return np.array([np.sin(azimuth) * np.cos(height), np.sin(height), np.cos(azimuth) * np.cos(height)])


def _lamps(lamps: list[Lamp]) -> Array:
    rows = np.zeros((len(lamps), 7))
    for row, lamp in zip(rows, lamps, strict=True):
        row[:3] = lamp.place_m
        solid_angle = 2 * np.pi if lamp.down_only else 4 * np.pi
        row[3:6] = _tinted(_warmth(lamp.colour_k), lamp.lumens / solid_angle)
        row[6] = float(lamp.down_only)
    return rows


def _warmth(colour_k: float) -> tuple[float, float, float]:
    """Rough linear RGB of a black body: red 1, green and blue from a fit good to a few per cent, 1900-6500 K."""
    t = np.log(colour_k / 6500.0)
    return 1.0, float(np.exp(0.62 * t)), float(np.exp(1.95 * t + 0.35 * t * t * np.sign(t)))


def _tinted(tint: tuple[float, float, float], level: float) -> Array:
    """A colour scaled so that its luma is `level`."""
    rgb = np.asarray(tint)
    return np.asarray(rgb * level / (rgb @ np.array([0.2126, 0.7152, 0.0722])))


@kernel
def backdrop(sky: Array, clouds: float, dx: float, dy: float, dz: float) -> tuple[float, float, float]:
    """Luminance R, G, B seen along a unit direction that meets nothing: sky, clouds, hills, far ground."""
    azimuth = np.arctan2(dx, -dz)
    near = 0.045 + 0.035 * noise(azimuth * 3.1 + 9.0, 0.5) + 0.02 * noise(azimuth * 11.0, 1.5)
    near += 0.006 * noise(azimuth * 160.0, 2.5)
    far = 0.07 + 0.06 * noise(azimuth * 2.0 + 40.0, 3.5)
    if dy < near or dy < far:
        mix = 0.0 if dy < near else 0.55
        depth = min(max(dy / 0.08 + 0.4, 0.0), 1.0) if dy > -0.02 else 0.0
        i = 9 if dy > -0.02 else 6
        return (
            sky[i] * (0.7 + 0.3 * depth) * (1 - mix) + sky[3] * mix * 0.7,
            sky[i + 1] * (0.7 + 0.3 * depth) * (1 - mix) + sky[4] * mix * 0.7,
            sky[i + 2] * (0.7 + 0.3 * depth) * (1 - mix) + sky[5] * mix * 0.7,
        )
    t = min(max(dy * 1.35, 0.0), 1.0) ** 0.55
    cover = 0.0
    if clouds > 0.0:
        u, v = dx / (dy + 0.22), dz / (dy + 0.22)
        form = 0.5 * noise(u * 1.6 + 3.0, v * 3.4) + 0.3 * noise(u * 4.1, v * 7.0) + 0.2 * noise(u * 9.0, v * 15.0)
        cover = clouds * 0.75 * min(max((form - 0.5) * 2.6, 0.0), 1.0)
    white = 1.25 * (0.25 * sky[0] + 0.75 * sky[3]), 1.25 * (0.25 * sky[1] + 0.75 * sky[4]), 1.25 * (0.25 * sky[2] + 0.75 * sky[5])
    return (
        (sky[3] + (sky[0] - sky[3]) * t) * (1 - cover) + white[0] * cover,
        (sky[4] + (sky[1] - sky[4]) * t) * (1 - cover) + white[1] * cover,
        (sky[5] + (sky[2] - sky[5]) * t) * (1 - cover) + white[2] * cover,
    )
