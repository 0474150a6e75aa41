"""Light that comes from no projector: sun, sky, street lamps, lit rooms."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limewash.light.colour import LUMA_BT709
from limewash.world.model import House, Lamp

Array = NDArray[np.float64]


class Lighting(NamedTuple):
    """Lights of a moment, in BT.709 linear RGB whose luma is the photometric quantity.

    Attributes
    ----------
    sun : ndarray of shape (6,)
        Direction towards it, then its illuminance on a face turned to it. [lx]
    sky : ndarray of shape (12,)
        Luminance of zenith, of horizon, of the far ground, of what stands across the street. [cd/m2]
    lamps : ndarray of shape (N, 7)
        Place [m], luminous intensity [cd], and 1 for lamps that shine downwards only.
    glow : ndarray of shape (3,)
        Luminance of the windows of lit rooms. [cd/m2]
    """

    sun: Array
    sky: Array
    lamps: Array
    glow: Array


def night(house: House) -> Lighting:
    """Show time: a dim sky that gives `night_lx` on open level ground, the street lamps, no lit rooms."""
    level = house.sky.night_lx / np.pi
    zenith, horizon = _tinted((0.40, 0.58, 1.0), 0.7 * level), _tinted((0.62, 0.66, 0.9), 1.3 * level)
    ground, across = _tinted((0.5, 0.6, 0.6), 0.12 * level), _tinted((0.5, 0.6, 0.9), 0.3 * level)
    lamps = _lamps([lamp for lamp in house.lamps if not lamp.dusk_only])
    return Lighting(np.zeros(6), np.concatenate([zenith, horizon, ground, across]), lamps, np.zeros(3))


def daylight(house: House) -> Lighting:
    """A clear day: sun and blue sky."""
    sun = np.concatenate([_sun_direction(house), _tinted((1.0, 0.94, 0.83), 70_000.0)])
    zenith, horizon = _tinted((0.15, 0.41, 1.0), 3300.0), _tinted((0.62, 0.81, 1.0), 8500.0)
    ground, across = _tinted((0.44, 0.60, 0.30), 2300.0), _tinted((0.55, 0.66, 0.62), 2600.0)
    return Lighting(sun, np.concatenate([zenith, horizon, ground, across]), np.zeros((0, 7)), np.zeros(3))


def dusk(house: House) -> Lighting:
    """Some minutes after sunset: blue light from above, a warm rim behind the house, lamps and rooms lit."""
    zenith, horizon = _tinted((0.10, 0.26, 0.85), 1.0), _tinted((0.92, 0.70, 0.72), 2.5)
    ground, across = _tinted((0.38, 0.50, 0.52), 0.22), _tinted((0.26, 0.32, 0.56), 0.4)
    glow = _tinted((1.0, 0.58, 0.22), 8.0)
    return Lighting(np.zeros(6), np.concatenate([zenith, horizon, ground, across]), _lamps(list(house.lamps)), glow)


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
    """Linear RGB of a warm lamp, roughly: red 1, green and blue falling as its colour temperature does."""
    t = np.log(colour_k / 6500.0)
    return 1.0, float(np.exp(0.62 * t)), float(np.exp(1.95 * t))


def _tinted(tint: tuple[float, float, float], level: float) -> Array:
    """A colour scaled so that its luma is `level`."""
    rgb = np.asarray(tint)
    return np.asarray(rgb * level / (rgb @ np.asarray(LUMA_BT709)))
