"""Whether player and projector show the pattern pixel for pixel, told from lines that are one pixel wide.

A scaler that puts the picture at another size, or a keystone correction, lays each line between two pixels of the
panel here, on one of them there. Between two it blurs into a grey, so the lines survive in bands. How many bands
there are to a pixel of the video is how much larger or smaller than 1 the scale is; where that number changes over
the picture, the picture is bent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.scan.correspondence import Correspondence
from limewash.scan.takes import SPARSE, Takes

Map = NDArray[np.float32]
Floats = NDArray[np.float64]

_GREY_LIGHT = (128 / 255) ** 2.4  # of a display after Rec. ITU-R BT.1886
_LINES_LIGHT = 0.5
_DARKEST, _BRIGHTEST = -0.35, 1.7  # shares of the lines' contrast that scaling and noise can leave
_STRIPS = 24  # bands are counted in so many places
_FASTEST = 0.45  # bands to a pixel; beyond that they cannot be told from others
_FEWEST_BANDS = 1.5  # over what is seen; less than that is a slope, not a band
_DEEP = 0.12  # amplitude of the bands, as a share of what lines can lose; full ones have 0.4
_WHOLE = 0.7  # share of the contrast that arrives at half of all places: no bands
_LOST = 0.5  # share that is left at a tenth of the places at least: paint and shading never cost so much
_EXPLAINED = 0.3  # share of a strip's variation that the bands must explain
_SEEN_SHARE = 0.15  # of a column's pixels, as a share of what its best neighbours inside show


@dataclass(frozen=True)
class AxisScaling:
    """What happens along one side of the picture.

    Attributes
    ----------
    kept : float
        Median share of the lines' contrast that arrives; NaN where lines could not be seen. [-]
    bands : float
        Bands to a pixel of the video, which is |scale - 1|; NaN where there are none, or not everywhere alike. [1/px]
    bands_first, bands_last : float
        The same in the first and the last third across; they differ where the picture is bent. [1/px]
    lost_first_px, lost_last_px : float
        Outermost pixels of the video that nothing is seen of, at the low and at the high end. [px]
    """

    kept: float
    bands: float
    bands_first: float
    bands_last: float
    lost_first_px: float
    lost_last_px: float

    @property
    def bent(self) -> bool:
        """Whether bands were found that change over the picture."""
        return bool(np.isnan(self.bands) and np.isfinite(self.bands_first + self.bands_last))


def measure_scaling(takes: Takes, correspondence: Correspondence) -> tuple[AxisScaling, AxisScaling]:
    """Look at the checks of a clip, along x and along y; see `AxisScaling`."""
    seen = correspondence.seen
    kept = _kept_lines(takes, correspondence)
    return _axis(kept[0], seen), _axis(None if kept[1] is None else kept[1].T, seen.T)


def _axis(kept: Map | None, seen: NDArray[np.bool_]) -> AxisScaling:
    first, last = _lost(seen.sum(axis=0))
    if kept is None or not np.isfinite(kept).any():
        nan = float("nan")
        return AxisScaling(nan, nan, nan, nan, first, last)
    # Bands leave a quarter of the contrast at half of all places, however many there are. Where most of it arrives,
    # what looks like a band is dark paint, whose codes the phone bends in another way.
    whole = not float(np.nanmedian(kept)) < _WHOLE
    found = np.empty((0, 2)) if whole else _bands_by_strip(kept)
    place, bands = found[:, 0], found[:, 1]
    length = seen.shape[1]
    low = bands[place < 1 / 3]
    high = bands[place > 2 / 3]
    alike = len(bands) >= 4 and float(np.median(np.abs(bands - np.median(bands)))) < 1.0 / length
    ends = [float(np.median(part)) if len(part) >= 2 else float("nan") for part in (low, high)]
    return AxisScaling(
        kept=float(np.nanmedian(kept)),
        bands=float(np.median(bands)) if alike else float("nan"),
        bands_first=ends[0],
        bands_last=ends[1],
        lost_first_px=first,
        lost_last_px=last,
    )


def _kept_lines(takes: Takes, correspondence: Correspondence) -> tuple[Map | None, Map | None]:
    """How much of the lines arrives at each pixel of the video: 1 is all, 0 none; NaN where unseen.

    Only in the strips along which bands are looked for.
    """
    tone = phone_tone(takes)
    if tone is None or len(takes.check_counts) < 5 or not takes.check_counts[:5].all():
        return None, None
    return _kept_across(takes, correspondence, 0, tone), _kept_across(takes, correspondence, 1, tone)


def _kept_across(takes: Takes, correspondence: Correspondence, axis: int, tone: float) -> Map:
    """The same of the lines across one axis."""
    in_strips = np.zeros(correspondence.seen.shape[axis], dtype=np.bool_)
    for strip in _strips(len(in_strips)):
        in_strips[strip] = True
    seen = correspondence.seen & (in_strips[:, None] if axis == 0 else in_strips)
    at = _places(correspondence, seen)
    black = takes.mean("black", -1, at)
    span = takes.mean("white", -1, at) - black
    usable = span > _least_span(takes)
    lines = [takes.check(n, at) for n in (1 + 2 * axis, 2 + 2 * axis)]
    light = [
        np.where(usable, np.clip((p - black) / np.where(usable, span, 1.0), 0.0, 1.5) ** tone, np.nan)
        for p in lines
        if p is not None
    ]
    share = (0.5 * (light[0] + light[1]) - _GREY_LIGHT) / (_LINES_LIGHT - _GREY_LIGHT)
    kept = np.full(seen.shape, np.nan, dtype=np.float32)
    # Darker than all lines lost, brighter than none: somebody stood there, a car shone there.
    kept[seen] = np.where((share > _DARKEST) & (share < _BRIGHTEST), share, np.nan)
    return kept


def phone_tone(takes: Takes) -> float | None:
    """Exponent that leads from the phone's codes to light, by the check whose light is known; None without it."""
    grey = takes.check(0, SPARSE)
    if grey is None:
        return None
    black, white = (takes.mean(kind, -1, SPARSE) for kind in ("black", "white"))
    span = white - black
    usable = span > _least_span(takes)
    if not usable.any():
        return None
    level = np.clip((grey - black)[usable] / span[usable], 1e-3, 0.999)
    tone = float(np.log(_GREY_LIGHT) / np.log(np.median(level)))
    # Anything else is no grey: a clip of a pattern that stops before the checks may show a card there.
    return tone if 1.0 < tone < 4.0 else None


def _least_span(takes: Takes) -> float:
    """From how far black and white must be apart to compare with [codes]."""
    span = takes.mean("white", -1, SPARSE) - takes.mean("black", -1, SPARSE)
    return max(8.0, 0.1 * float(np.quantile(span, 0.95)))


def _places(correspondence: Correspondence, which: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the camera pixels that see some pixels of the video."""
    width, height = correspondence.camera_size
    column = np.clip(np.rint(correspondence.camera_x[which]).astype(np.intp), 0, width - 1)
    row = np.clip(np.rint(correspondence.camera_y[which]).astype(np.intp), 0, height - 1)
    return row, column


def _strips(height: int) -> list[slice]:
    """Rows of narrow strips, spread over a picture."""
    tall = max(4, height // 120)
    tops = [round(middle * height) - tall // 2 for middle in np.linspace(0.04, 0.96, _STRIPS)]
    return [slice(max(top, 0), top + tall) for top in tops]


def _bands_by_strip(kept: Map) -> Floats:
    """Bands along strips: rows of (place across 0 to 1, bands to a pixel)."""
    height, width = kept.shape
    found = []
    for rows in _strips(height):
        known = np.isfinite(kept[rows])
        count = known.sum(axis=0)
        if (count > 0).sum() < 0.15 * width:
            continue
        mean = np.where(known, kept[rows], 0.0).sum(axis=0) / np.maximum(count, 1)
        bands = _bands(np.flatnonzero(count), mean[count > 0].astype(np.float64))
        if np.isfinite(bands):
            found.append((0.5 * (rows.start + rows.stop) / height, bands))
    return np.array(found).reshape(-1, 2)


def _bands(place: NDArray[np.intp], value: Floats) -> float:
    """Frequency of the strongest wave in values at places [1/px]; NaN where none stands out."""
    extent = int(place[-1] - place[0] + 1)
    level, value = value, value - value.mean()
    line = np.zeros(extent)
    line[place - place[0]] = value
    padded = 8 * 2 ** math.ceil(math.log2(extent))
    amplitude = 2.0 * np.abs(np.fft.rfft(line, padded)) / len(value)
    amplitude[: math.ceil(_FEWEST_BANDS * padded / extent)] = 0.0
    amplitude[math.floor(_FASTEST * padded) :] = 0.0
    best = int(np.argmax(amplitude))
    if (
        np.quantile(level, 0.1) > _LOST
        or amplitude[best] < _DEEP
        or 0.5 * amplitude[best] ** 2 < _EXPLAINED * float(np.mean(value**2))
    ):
        return float("nan")
    return float(best / padded)


def _lost(count: NDArray[np.intp]) -> tuple[float, float]:
    """Columns at both ends of which next to nothing is seen, though much is seen just inside of them."""
    full = float(np.quantile(count, 0.9))
    shown = np.flatnonzero(count > _SEEN_SHARE * full)
    if len(shown) == 0:
        return float("nan"), float("nan")
    return float(shown[0]), float(len(count) - 1 - shown[-1])
