"""A picture of the measured relief: how far in front of the wall everything stands."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.geometry import SceneGeometry

Picture = NDArray[np.uint8]

_GROUND, _INK = (24, 24, 28), (235, 235, 235)
_BAR_SHARE = 0.08  # height of the legend, of the picture's


def draw_relief(geometry: SceneGeometry) -> Picture:
    """Draw the relief as the projector sees it, with a legend, uint8 (H, W, 3) R'G'B'.

    Colour goes from far behind the wall plane to far in front of it; what the scan does not know is grey.
    """
    points = geometry.points_m()
    out_m = points[..., 2]
    seen = np.isfinite(out_m)
    low, high = (float(np.quantile(out_m[seen], share)) for share in (0.02, 0.98)) if seen.any() else (0.0, 1.0)
    step = _step(high - low)
    low, high = step * np.floor(low / step), step * np.ceil(high / step)
    level = np.clip((np.where(seen, out_m, low) - low) / (high - low), 0.0, 1.0)
    colour = _coloured(level.astype(np.float32))
    colour[~seen] = _GROUND
    # Shade by the normals, so that edges show as on a plaster cast.
    light = np.array([-0.4, 0.5, 0.77], dtype=np.float32)
    shade = np.nan_to_num(0.55 + 0.45 * np.clip(geometry.normal @ light, 0.0, 1.0), nan=0.8)
    colour = np.rint(colour * np.where(seen, shade, 1.0)[..., None]).astype(np.uint8)
    return np.vstack([colour, _legend(colour.shape[1], colour.shape[0], low, high, step, geometry.metric)])


def _step(span: float) -> float:
    """Of the legend: 1, 2 or 5 times a power of ten, so that there are about six."""
    rough = max(span, 1e-6) / 6.0
    power = 10.0 ** np.floor(np.log10(rough))
    return float(power * min((1.0, 2.0, 5.0, 10.0), key=lambda nice: abs(nice - rough / power)))


def _coloured(level: NDArray[np.float32]) -> Picture:
    table = cv2.applyColorMap(np.arange(256, dtype=np.uint8)[:, None], cv2.COLORMAP_VIRIDIS)[:, 0, ::-1]
    return np.asarray(table[np.rint(255.0 * level).astype(np.uint8)], dtype=np.uint8)


def _legend(width: int, height: int, low: float, high: float, step: float, metric: bool) -> Picture:
    tall = max(round(_BAR_SHARE * height), 48)
    strip = np.full((tall, width, 3), 12, dtype=np.uint8)
    left, right = round(0.05 * width), round(0.62 * width)
    top, bottom = round(0.2 * tall), round(0.5 * tall)
    strip[top:bottom, left:right] = _coloured(np.linspace(0.0, 1.0, right - left, dtype=np.float32))[None]
    grade, thick = tall / 110.0, max(1, round(tall / 60))
    for value in np.arange(low, high + 0.5 * step, step):
        x = round(left + (value - low) / (high - low) * (right - left))
        cv2.line(strip, (x, bottom), (x, bottom + round(0.08 * tall)), _INK, thick)
        text = f"{value:+.3g}" if abs(value) > 1e-9 else "0"
        (wide, _), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, grade, thick)
        cv2.putText(
            strip, text, (x - wide // 2, round(0.88 * tall)), cv2.FONT_HERSHEY_SIMPLEX, grade, _INK, thick, cv2.LINE_AA
        )
    unit = "m in front of (+) or behind (-) the wall" if metric else "lens distances in front of the wall (no tape)"
    cv2.putText(
        strip,
        unit,
        (right + round(0.02 * width), bottom),
        cv2.FONT_HERSHEY_SIMPLEX,
        grade,
        _INK,
        thick,
        cv2.LINE_AA,
    )
    return strip
