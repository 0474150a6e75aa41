"""Pictures with edges at known places: each pixel's exact share of a half plane or disc, blurred and with noise."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from limewash.light.colour import encode_srgb

Picture = NDArray[np.uint8]


def cover_of(shape: BaseGeometry, size: tuple[int, int]) -> NDArray[np.float64]:
    """Share of each pixel's square that a shape covers, (H, W); pixel centres are integers (areas by shapely)."""
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    squares = shapely.box(x - 0.5, y - 0.5, x + 0.5, y + 0.5)
    cover: NDArray[np.float64] = shapely.area(shapely.intersection(squares, shape))
    return cover


def picture_of(
    cover: NDArray[np.float64],
    *,
    inside: tuple[float, float, float] = (0.7, 0.65, 0.5),
    outside: tuple[float, float, float] = (0.12, 0.14, 0.2),
    blur_px: float = 0.7,
    noise: float = 0.0,
    seed: int = 1,
) -> Picture:
    """An 8-bit sRGB picture of linear colours inside and outside, blurred in linear light, then with noise."""
    soft = gaussian_filter(cover, blur_px) if blur_px > 0 else cover
    linear = soft[..., None] * np.array(inside) + (1.0 - soft[..., None]) * np.array(outside)
    rng = np.random.default_rng(seed)
    codes = 255.0 * encode_srgb(linear) + rng.normal(0.0, noise, linear.shape)
    return np.clip(np.round(codes), 0, 255).astype(np.uint8)


def half_plane(through: tuple[float, float], angle_rad: float, reach: float = 1000.0) -> Polygon:
    """Everything to the left of a line through a point."""
    along = np.array([np.cos(angle_rad), np.sin(angle_rad)])
    across = np.array([-along[1], along[0]])
    p = np.asarray(through)
    return Polygon([p - reach * along, p + reach * along, p + reach * (along + across), p + reach * (across - along)])
