"""Brightness across a line of the photo: cut out, differentiated, and searched for an edge along the line."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from limewash.light.colour import decode_srgb

Array = NDArray[np.float64]

STEP_PX = 0.25
"""Distance of samples across the line."""
BLUR_PX = 0.8
"""Against noise; a symmetric blur does not move an edge."""

_LINEAR = decode_srgb(np.arange(256) / 255.0).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Profiles:
    """Samples across a line, at N places along it and D offsets.

    Attributes
    ----------
    share : ndarray of shape (N,)
        Where along the line, 0 to 1. [-]
    points, normals : ndarray of shape (N, 2)
        Places on the line, and unit normals. [px]
    offsets : ndarray of shape (D,)
        Along the normal. [px]
    light, slope : ndarray of float32 and shape (N, D, 3)
        Linear R, G, B, and their change along the normal. [-, 1/px]
    """

    share: Array
    points: Array
    normals: Array
    offsets: Array
    light: NDArray[np.float32]
    slope: NDArray[np.float32]


def cut_profiles(photo: NDArray[np.uint8], points: Array, tangents: Array, share: Array, reach_px: float) -> Profiles:
    """Sample a photo (H, W, 3) across a line given by points and tangents (N, 2), `reach_px` to both sides.

    Beyond the photo its border is repeated, which makes no edge there.
    """
    length = np.hypot(tangents[:, 0], tangents[:, 1])
    normals = np.column_stack([-tangents[:, 1], tangents[:, 0]]) / np.maximum(length, 1e-12)[:, None]
    half = max(round(reach_px / STEP_PX), 2)
    offsets: Array = np.arange(-half, half + 1, dtype=np.float64) * STEP_PX
    # One further on each side for the central difference.
    wide = np.arange(-half - 1, half + 2) * STEP_PX
    at = points[:, None, :] + wide[None, :, None] * normals[:, None, :]
    crop, corner = _crop(photo, at)
    rows, columns = at[..., 1] - corner[1], at[..., 0] - corner[0]
    values = np.stack(
        [map_coordinates(crop[..., c], [rows, columns], order=1, mode="nearest") for c in range(3)], axis=-1
    )
    slope = (values[:, 2:] - values[:, :-2]) / np.float32(2.0 * STEP_PX)
    return Profiles(share, points, normals, offsets, values[:, 1:-1], slope)


def _crop(photo: NDArray[np.uint8], at: Array) -> tuple[NDArray[np.float32], tuple[int, int]]:
    """The part of the photo around sample places, in linear light and blurred, and where its corner was."""
    height, width = photo.shape[:2]
    margin = 6
    left = int(np.clip(np.floor(at[..., 0].min()) - margin, 0, width - 2))
    right = int(np.clip(np.ceil(at[..., 0].max()) + margin + 1, left + 2, width))
    top = int(np.clip(np.floor(at[..., 1].min()) - margin, 0, height - 2))
    bottom = int(np.clip(np.ceil(at[..., 1].max()) + margin + 1, top + 2, height))
    linear = _LINEAR[photo[top:bottom, left:right]]
    return cv2.GaussianBlur(linear, (0, 0), BLUR_PX).astype(np.float32, copy=False), (left, top)


def strength(profiles: Profiles) -> Array:
    """How much of an edge there is at each sample, (N, D), 0 to 1, evened out along the line.

    Each profile is measured against its own strongest edge, so that a bright stretch of the wall does not outvote
    a dark one; against the typical edge of all profiles too, so that noise does not pass for an edge.
    """
    size = np.sqrt((profiles.slope.astype(np.float64) ** 2).sum(axis=-1))
    own = size.max(axis=1, keepdims=True)
    return np.asarray(size / (0.5 * own + 0.5 * np.median(own) + 1e-4))


def slope_along(profiles: Profiles, offset: Array) -> Array:
    """Change of colour (3,) that prevails along `offset` (N,). [1/px]"""
    return np.asarray(np.median(profiles.slope[np.arange(len(offset)), _column(profiles, offset)], axis=0), np.float64)


def clearness(profiles: Profiles, offset: Array) -> float:
    """How sure the edge along `offset` (N,) is: its mean by the mean's own standard error. [-]"""
    along = profiles.slope[np.arange(len(offset)), _column(profiles, offset)] @ prevailing(profiles, offset)
    independent = max(len(offset) / 3.0, 1.0)  # the blur ties neighbours together
    return float(along.mean() / (along.std() / np.sqrt(independent) + 1e-5))


def prevailing(profiles: Profiles, offset: Array) -> Array:
    """Colour (3,), of length 1, in which it mostly gets lighter across the line at `offset` (N,)."""
    colour = slope_along(profiles, offset)
    return np.asarray(colour / max(float(np.linalg.norm(colour)), 1e-12))


def _column(profiles: Profiles, offset: Array) -> NDArray[np.intp]:
    column = np.round((offset - profiles.offsets[0]) / STEP_PX)
    return np.asarray(np.clip(column, 0, len(profiles.offsets) - 1), dtype=np.intp)


def beside(profiles: Profiles, offset: Array, near_px: float, far_px: float) -> Array:
    """Logarithm of the light (3,) that prevails in a band beside a line of offsets (N,), given by two distances.

    Positive distances are on the side of the normals. Darkest is two thousandths of full light.
    """
    away = profiles.offsets[None, :] - offset[:, None]
    band = (away >= min(near_px, far_px)) & (away <= max(near_px, far_px))
    light = profiles.light[band] if band.any() else profiles.light.reshape(-1, 3)
    return np.asarray(np.log(np.median(light, axis=0) + 2e-3), dtype=np.float64)


def best_curve(score: Array, offsets: Array, level_px: float, *, prior_px: float) -> Array:
    """Offsets (N,) of the smooth curve through a score (N, D) that gathers most: one step a sample at most.

    The nearer to `level_px`, the better, with a spread of `prior_px`.
    """
    value = score * np.exp(-0.5 * ((offsets - level_px) / prior_px) ** 2)[None, :]
    count, width = value.shape
    total = value[0].copy()
    came = np.zeros((count, width), dtype=np.int8)
    for i in range(1, count):
        padded = np.pad(total, 1, constant_values=-np.inf)
        options = np.stack([padded[:-2] - 0.03, padded[1:-1], padded[2:] - 0.03])  # a bend costs a little
        came[i] = options.argmax(axis=0) - 1
        total = options.max(axis=0) + value[i]
    at = int(total.argmax())
    chosen = np.empty(count, dtype=np.intp)
    for i in range(count - 1, -1, -1):
        chosen[i] = at
        at += int(came[i, at])
    return np.asarray(offsets[chosen])
