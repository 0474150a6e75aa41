"""From luminance to a picture on a screen: exposure, glare in the lens, a soft shoulder."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.light.colour import LUMA_BT709, encode_srgb

Picture = NDArray[np.float32]


def exposure_for(picture: Picture, *, share: float = 0.985, level: float = 0.9) -> float:
    """Exposure that puts the brighter parts of a picture near white.

    Parameters
    ----------
    picture : ndarray of shape (h, w, 3)
        Linear R, G, B. [cd/m2]
    share : float
        Share of the pixels that stay below `level`.
    """
    luminance = picture @ np.asarray(LUMA_BT709, dtype=np.float32)
    return level / max(float(np.quantile(luminance, share)), 1e-6)


def develop(picture: Picture, *, exposure: float | None = None, glare: float = 0.05) -> NDArray[np.uint8]:
    """Turn a linear picture (h, w, 3) [cd/m2] into sRGB codes for people.

    Parameters
    ----------
    exposure : float, optional
        Factor that takes luminance to 1 = white; by default from the picture itself.
    glare : float
        Share of the light that the lens scatters around bright spots.
    """
    x = picture * np.float32(exposure_for(picture) if exposure is None else exposure)
    if glare > 0.0:
        x = x + np.float32(glare) * (_halo(x) - x)
    luma = (x @ np.asarray(LUMA_BT709, dtype=np.float32))[..., None]
    # The shoulder works on luminance, so that colours keep their hue; what is far too bright turns white.
    curve = _shoulder(luma)
    scaled = x * (curve / np.maximum(luma, 1e-9))
    over = np.clip((scaled.max(axis=2, keepdims=True) - 1.0), 0.0, 1.0)
    mixed = scaled + over * (curve - scaled) * 0.6
    codes = encode_srgb(np.clip(mixed, 0.0, 1.0)) * 255.0 + 0.5
    return codes.astype(np.uint8)


def _shoulder(x: Picture) -> Picture:
    """Straight up to 0.6, then bending towards 1."""
    knee = np.float32(0.6)
    above = np.maximum(x - knee, 0.0) / (1.0 - knee)
    return np.where(x < knee, x, knee + (1.0 - knee) * (above / (1.0 + above)) * 1.18).astype(np.float32)


def _halo(x: Picture) -> Picture:
    """Light spread over two scales, computed small."""
    height, width = x.shape[:2]
    small = cv2.resize(np.minimum(x, 12.0), (max(width // 4, 1), max(height // 4, 1)), interpolation=cv2.INTER_AREA)
    spread = 0.6 * cv2.GaussianBlur(small, (0, 0), width / 4 * 0.006) + 0.4 * cv2.GaussianBlur(
        small, (0, 0), width / 4 * 0.03
    )
    return np.asarray(cv2.resize(spread, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
