"""How sharp the projector's picture is, region by region, told from how much light and dark the fringe keeps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.scan.scaling import phone_tone
from limewash.scan.surface import Surfaces
from limewash.scan.takes import Takes

Floats = NDArray[np.float64]

_DISPLAY = 2.4 / 2.2  # the fringe is drawn for an exponent of 2.2; a display after Rec. ITU-R BT.1886 has 2.4
_USUAL_TONE = 2.2
_PHONE_BLUR_PX = 0.8  # of a phone in focus: lens, size of the pixel, video compression [camera px]
_EVERY = 2  # camera pixel along rows and columns is looked at
_FEWEST = 100  # of those make a region


@dataclass(frozen=True)
class Focus:
    """Blur of the projected picture.

    Attributes
    ----------
    blur_px : ndarray of shape (3, 3)
        Standard deviation in each ninth of the projector's picture, what the phone blurs taken off; NaN where too
        little of it is seen. [projector px]
    phone_px : float
        What the phone's own blur is taken to be. [projector px]
    """

    blur_px: Floats
    phone_px: float


def measure_focus(takes: Takes, surfaces: Surfaces) -> Focus:
    """Compare the fringe's light and dark with the full black and white; see `Focus`.

    Light that is scattered widely (off the ground, in the lens) weakens the fringe too and counts as blur here.
    """
    plan = takes.plan
    few = slice(None, None, _EVERY), slice(None, None, _EVERY)
    span = takes.mean("white", -1, few) - takes.mean("black", -1, few)
    x, y, amplitude = surfaces.x[few], surfaces.y[few], surfaces.amplitude[few]
    good = np.isfinite(x) & (span > max(8.0, 0.15 * float(np.quantile(span, 0.95))))
    across, rows = (np.clip(3.0 * s[good] / n, 0, 2) for s, n in zip((x, y), plan.size, strict=True))
    ratio = amplitude[good] / span[good]
    region = 3 * rows.astype(np.intp) + across.astype(np.intp)
    period_px = float(np.sqrt(plan.axes[0].period_px * plan.axes[1].period_px))
    across_x, across_y, down_x, down_y = (part[few][good] for part in surfaces.slope)
    stretch = np.sqrt(np.abs(across_x * down_y - across_y * down_x))
    phone_px = _PHONE_BLUR_PX * float(np.median(stretch)) if good.any() else float("nan")
    tone = phone_tone(takes) or _USUAL_TONE
    blur = np.full(9, np.nan)
    for n in range(9):
        if (region == n).sum() >= _FEWEST:
            total_px = _blur_of(_modulation(float(np.median(ratio[region == n])), _DISPLAY / tone), period_px)
            own_px = _PHONE_BLUR_PX * float(np.median(stretch[region == n]))
            blur[n] = np.sqrt(max(total_px**2 - own_px**2, 0.0))
    return Focus(blur.reshape(3, 3), phone_px)


def _modulation(ratio: float, exponent: float) -> float:
    """Modulation of the light, 0 to 1, whose codes have a first harmonic of `ratio` of the span from black to white."""
    turn = 2.0 * np.pi * (np.arange(256) + 0.5) / 256
    tried = np.linspace(0.02, 1.0, 99)
    codes = (0.5 + 0.5 * tried[:, None] * np.cos(turn)) ** exponent
    return float(np.interp(ratio, 2.0 * (codes * np.cos(turn)).mean(axis=1), tried))


def _blur_of(modulation: float, period_px: float) -> float:
    """Standard deviation of the Gaussian that leaves a sinusoid that modulation [px]."""
    return period_px / (2.0 * np.pi) * float(np.sqrt(-2.0 * np.log(modulation)))
