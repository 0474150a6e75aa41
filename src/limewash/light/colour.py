"""Transfer curves and luma of BT.709 and sRGB."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

# As Rec. ITU-R BT.709 prints them. The curve has a step of 2e-4 at the join, below one 10-bit code; decoders
# use the printed constants too, so more digits would make us differ from them.
_ALPHA = 1.099
_BETA = 0.018

LUMA_BT709 = (0.2126, 0.7152, 0.0722)
"""Weights of linear R, G, B in relative luminance (and of R', G', B' in luma), Rec. ITU-R BT.709."""


def encode_bt709(linear: ArrayLike) -> NDArray[np.float64]:
    """Opto-electronic transfer of Rec. ITU-R BT.709: linear light 0 to 1 to signal 0 to 1, any shape."""
    x = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    return np.where(x < _BETA, 4.5 * x, _ALPHA * np.power(x, 0.45) - (_ALPHA - 1.0))


def decode_bt709(signal: ArrayLike) -> NDArray[np.float64]:
    """Inverse of `encode_bt709`."""
    v = np.clip(np.asarray(signal, dtype=np.float64), 0.0, 1.0)
    return np.where(v < 4.5 * _BETA, v / 4.5, np.power((v + (_ALPHA - 1.0)) / _ALPHA, 1.0 / 0.45))


def decode_bt1886(signal: ArrayLike) -> NDArray[np.float64]:
    """Reference display of Rec. ITU-R BT.1886 with zero black: signal 0 to 1 to linear light, V ** 2.4.

    This is what a projector in its plain video mode is taken to do with a film.
    """
    return np.power(np.clip(np.asarray(signal, dtype=np.float64), 0.0, 1.0), 2.4)


def encode_bt1886(light: ArrayLike) -> NDArray[np.float64]:
    """Inverse of `decode_bt1886`: the signal that makes the projector show this light."""
    return np.power(np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0), 1.0 / 2.4)


def encode_srgb(linear: ArrayLike) -> NDArray[np.float64]:
    """IEC 61966-2-1 encoding of linear light 0 to 1, for pictures that people look at on a screen."""
    x = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055)


def decode_srgb(signal: ArrayLike) -> NDArray[np.float64]:
    """Inverse of `encode_srgb`."""
    v = np.clip(np.asarray(signal, dtype=np.float64), 0.0, 1.0)
    return np.where(v <= 0.04045, v / 12.92, np.power((v + 0.055) / 1.055, 2.4))
