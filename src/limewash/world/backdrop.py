"""What is seen where no surface is: sky, clouds, hills and trees far behind the house."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.world.lighting import Lighting

Array = NDArray[np.float64]
Picture = NDArray[np.float32]


def backdrop(light: Lighting, directions: Array) -> Picture:
    """Luminance R, G, B along unit directions (..., 3), looking towards the house. [cd/m2]

    The hazy layers stand one before the other: far hills, a wood, hedges; each closer one is darker.
    """
    dx, dy, dz = np.moveaxis(np.asarray(directions, dtype=np.float64), -1, 0)
    zenith, horizon, ground = light.sky[0:3], light.sky[3:6], light.sky[6:9]
    azimuth = np.arctan2(dx, -dz)
    out = _sky(light, dx, dy, dz)
    soft = 0.0012
    far = 0.055 + 0.075 * _noise(azimuth * 2.2 + 40.0, 3.5) + 0.015 * _noise(azimuth * 9.0, 7.5)
    wood = 0.050 + 0.035 * _noise(azimuth * 5.0, 0.5) + 0.022 * _noise(azimuth * 26.0, 1.5)
    wood += 0.008 * _noise(azimuth * 110.0, 2.5)
    haze = 0.55 * horizon + 0.12 * zenith
    layers = ((far, 0.62 * haze + 0.12 * zenith), (wood, 0.16 * haze + 0.5 * ground + 0.03 * zenith))
    for number, (edge, colour) in enumerate(layers):
        cover = _ramp((edge - dy) / soft)
        leafy = 1.0 + 0.35 * number * (_noise(azimuth * 120.0, dy * 160.0) - 0.5)
        depth = 0.75 + 0.35 * np.clip(dy / 0.08, -0.5, 1.0)
        out += cover[..., None] * ((leafy * depth)[..., None] * colour - out)
    return out.astype(np.float32)


def _sky(light: Lighting, dx: Array, dy: Array, dz: Array) -> Array:
    """A gradient from the horizon up, with thin clouds that take the horizon's colour."""
    zenith, horizon = light.sky[0:3], light.sky[3:6]
    high = np.clip(dy * 1.35, 0.0, 1.0)[..., None] ** 0.55
    out = horizon + (zenith - horizon) * high
    u, v = dx / (dy + 0.25), dz / (dy + 0.25)
    form = np.zeros_like(dy)
    for octave, weight in enumerate((0.5, 0.26, 0.14, 0.1)):
        form += weight * _noise(u * 1.3 * 2.2**octave + 3.0 + octave, v * 3.4 * 2.2**octave)
    cover = (0.7 * _ramp((form - 0.5) / 0.32) * np.clip(dy * 6.0, 0.0, 1.0))[..., None]
    return np.asarray(out + cover * (1.12 * (0.3 * zenith + 0.7 * horizon) - out))


def _ramp(x: Array) -> Array:
    t = np.clip(x + 0.5, 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def _noise(x: Array | float, y: Array | float) -> Array:
    """Smooth noise in [0, 1] with features of about one unit."""
    x, y = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    i, j = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    fx, fy = x - i, y - j
    fx, fy = fx * fx * (3.0 - 2.0 * fx), fy * fy * (3.0 - 2.0 * fy)
    low = _TABLE[j % 64, i % 256] * (1.0 - fx) + _TABLE[j % 64, (i + 1) % 256] * fx
    high = _TABLE[(j + 1) % 64, i % 256] * (1.0 - fx) + _TABLE[(j + 1) % 64, (i + 1) % 256] * fx
    return np.asarray(low * (1.0 - fy) + high * fy)


_TABLE = np.random.default_rng(5).uniform(0.0, 1.0, (64, 256))
