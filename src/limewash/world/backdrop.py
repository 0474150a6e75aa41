"""What is seen where no surface is: sky, clouds, hills and trees far behind the house."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.world.lighting import Lighting

Array = NDArray[np.float64]
Picture = NDArray[np.float32]


def backdrop(light: Lighting, directions: Array) -> Picture:
    """Luminance R, G, B along unit directions (..., 3), looking towards the house. [cd/m2]

    The layers stand one before the other, each closer one less hazy: hills, a far row of trees, a nearer one.
    """
    dx, dy, dz = np.moveaxis(np.asarray(directions, dtype=np.float64), -1, 0)
    zenith, horizon, ground = light.sky[0:3], light.sky[3:6], light.sky[6:9]
    azimuth = np.arctan2(dx, -dz)
    out = _sky(light, dx, dy, dz)
    haze = 0.55 * horizon + 0.12 * zenith
    hills = 0.045 + 0.075 * _noise(azimuth * 2.2 + 40.0, 3.5) + 0.012 * _noise(azimuth * 9.0, 7.5)
    _cover(out, (hills - dy) / _SOFT, 0.6 * haze + 0.14 * zenith)
    for row, edge in enumerate(_WOODS):
        height = np.interp(azimuth, _AZIMUTH, edge) + 0.011 * (_noise(azimuth * 150.0, dy * 170.0) - 0.5)
        near = 0.5 + 0.5 * row
        leaves = 0.6 * _noise(azimuth * 90.0, dy * 110.0 + 20.0) + 0.4 * _noise(azimuth * 230.0, dy * 260.0)
        lit = 0.55 + 0.75 * np.clip(1.0 + (dy - height) / 0.05, 0.0, 1.0)  # the tops catch the sky
        tint = 0.7 + 0.6 * _noise(azimuth * 22.0, dy * 30.0 + 7.0)
        tone = lit * tint * (1.0 + 0.9 * near * (leaves - 0.5))
        _cover(out, (height - dy) / _SOFT, tone[..., None] * (near * ground + 0.22 * (1.0 - near) * haze))
    return out.astype(np.float32)


def _cover(out: Array, share: Array, colour: Array) -> None:
    """Lay a colour over the picture where the share passes 0."""
    out += _ramp(share)[..., None] * (colour - out)


def _wood(seed: int, trees: int, height: tuple[float, float]) -> Array:
    """Height of a row of round crowns, at each of the azimuths below."""
    rng = np.random.default_rng(seed)
    middle, half = rng.uniform(-np.pi, np.pi, trees), rng.uniform(0.011, 0.028, trees)
    top = rng.uniform(*height, trees)
    across = (_AZIMUTH[:, None] - middle) / half
    crowns = np.where(np.abs(across) < 1.0, top * (0.45 + 0.55 * np.sqrt(np.maximum(1.0 - across**2, 0.0))), 0.0)
    return np.asarray(np.maximum(crowns.max(axis=1), 0.4 * height[0]))


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
_SOFT = 0.0012
_AZIMUTH = np.linspace(-np.pi, np.pi, 8192)
_WOODS = (_wood(11, 520, (0.06, 0.1)), _wood(12, 380, (0.035, 0.075)))
