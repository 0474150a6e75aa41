"""How far a found correspondence is from the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.scan.correspondence import Correspondence
from limewash.world.truth import Truth

_FAR_PX = 3.0
_EDGE_ON, _SLANTED = 0.05, 0.2  # of the camera pixels that a projector pixel fills elsewhere
_AROUND = 3  # how far the pixels around are asked [projector px]

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Accuracy:
    """Errors of a found correspondence, in PROJECTOR pixels.

    Attributes
    ----------
    median_px, rmse_px, p95_px : float
        Of the distance, over all pixels that were found and that the camera truly sees. NaN if there are none.
    over3_share : float
        Share of those that are off by more than 3 px.
    coverage : float
        Share of what the camera truly sees that was found.
    false_coverage : float
        Share of what was found that is glass, hidden, sky or outside the camera's picture in truth.
    """

    median_px: float
    rmse_px: float
    p95_px: float
    over3_share: float
    coverage: float
    false_coverage: float

    def table(self) -> list[tuple[str, str]]:
        """Rows of words and figures for printing."""
        return [
            ("median error", f"{self.median_px:.3f} px"),
            ("RMS error", f"{self.rmse_px:.3f} px"),
            ("95th percentile", f"{self.p95_px:.3f} px"),
            ("errors over 3 px", f"{100 * self.over3_share:.2f} %"),
            ("coverage of what the camera sees", f"{100 * self.coverage:.1f} %"),
            ("found where nothing can be seen", f"{100 * self.false_coverage:.2f} %"),
        ]


def accuracy(found: Correspondence, truth: Correspondence) -> Accuracy:
    """Compare a found correspondence with the truth.

    Raises
    ------
    InputError
        If the two are of different projector or camera sizes.
    """
    seen, both = truth.seen, truth.seen & found.seen
    errors = errors_px(found, truth)
    errors = errors[np.isfinite(errors)]
    found_count = int(found.seen.sum())
    return Accuracy(
        median_px=float(np.median(errors)) if errors.size else float("nan"),
        rmse_px=float(np.sqrt(np.mean(errors**2))) if errors.size else float("nan"),
        p95_px=float(np.percentile(errors, 95)) if errors.size else float("nan"),
        over3_share=float(np.mean(errors > _FAR_PX)) if errors.size else float("nan"),
        coverage=float(both.sum() / max(int(seen.sum()), 1)),
        false_coverage=1.0 - float(both.sum()) / found_count if found_count else 0.0,
    )


def errors_px(found: Correspondence, truth: Correspondence) -> NDArray[np.float64]:
    """Distance of each found pixel from the truth, shape (H, W); NaN where either is unknown. [projector px]

    A found camera pixel is right for a projector pixel when that projector pixel is what truly lights it there;
    the error is how far the one that truly does is away, which is how far a line drawn on the photo would land
    off. On one surface that is the difference in the camera, taken back by the truth's own growth on the plane
    of that surface. Near a depth edge what is seen there may belong to the surface next to it: where the own plane
    gives more than a pixel, the pixels around are asked as well, each for what lies within a pixel of it.

    NaN also on surfaces that the camera sees edge-on, where a twentieth of its usual light or less comes from a
    projector pixel: there a hair's breadth in the camera is many projector pixels. On those that it sees at a slant,
    with less than a fifth, more than 3 pixels are counted by the usual size of a pixel in the camera: the plane
    says nothing any more so far from its own narrow strip.

    A truth without growth (not from a virtual house) is differenced from pixel to pixel instead, on the side
    where it changes least.
    """
    for name in ("projector_size", "camera_size"):
        if getattr(found, name) != getattr(truth, name):
            raise InputError(f"{name} differs: found {getattr(found, name)}, truth {getattr(truth, name)}")
    growth = truth.growth.astype(np.float64) if isinstance(truth, Truth) else _differences(truth)
    dx = found.camera_x.astype(np.float64) - truth.camera_x
    dy = found.camera_y.astype(np.float64) - truth.camera_y
    errors = np.hypot(*_taken_back(dx, dy, growth))
    rows, columns = np.nonzero(errors > 1.0)
    errors[rows, columns] = np.fmin(errors[rows, columns], _by_neighbours(found, truth, growth, rows, columns))
    area, usual = _areas(growth)
    by_usual = np.hypot(dx, dy) / np.sqrt(usual)
    errors = np.where((errors > _FAR_PX) & (area < _SLANTED * usual), np.fmin(errors, by_usual), errors)
    errors[area < _EDGE_ON * usual] = np.nan
    return errors


def _areas(growth: Array) -> tuple[Array, float]:
    """Camera pixels that each projector pixel fills, and what they usually are."""
    area = np.abs(growth[..., 0, 0] * growth[..., 1, 1] - growth[..., 0, 1] * growth[..., 1, 0])
    known = area[np.isfinite(area)]
    return area, float(np.median(known)) if known.size else float("nan")


def _taken_back(dx: Array, dy: Array, growth: Array) -> tuple[Array, Array]:
    """Differences in the camera as differences in the projector, by growth (..., 2, 2)."""
    a, b = growth[..., 0, 0], growth[..., 0, 1]
    c, d = growth[..., 1, 0], growth[..., 1, 1]
    det = a * d - b * c
    det = np.where(np.abs(det) < 1e-9, np.nan, det)
    return (d * dx - b * dy) / det, (a * dy - c * dx) / det


def _by_neighbours(found: Correspondence, truth: Correspondence, growth: Array, rows: Index, columns: Index) -> Array:
    """Distance to the nearest place, within a pixel of the pixels around, that is truly seen where found says."""
    high, wide = truth.camera_x.shape
    best = np.full(len(rows), np.inf)
    for down in range(-_AROUND, _AROUND + 1):
        for right in range(-_AROUND, _AROUND + 1):
            r, c = rows + down, columns + right
            inside = (r >= 0) & (r < high) & (c >= 0) & (c < wide)
            r, c = np.clip(r, 0, high - 1), np.clip(c, 0, wide - 1)
            dx = found.camera_x[rows, columns].astype(np.float64) - truth.camera_x[r, c]
            dy = found.camera_y[rows, columns].astype(np.float64) - truth.camera_y[r, c]
            x, y = _taken_back(dx, dy, growth[r, c])
            own = inside & (np.abs(x) <= 1.0) & (np.abs(y) <= 1.0)
            best = np.where(own, np.fmin(best, np.hypot(x + right, y + down)), best)
    return best


def _differences(truth: Correspondence) -> NDArray[np.float64]:
    """Change of the camera pixel from one projector pixel to the next, (H, W, 2, 2), robust at depth edges."""
    grid = np.stack([truth.camera_x, truth.camera_y], axis=-1).astype(np.float64)
    out = np.empty((*grid.shape, 2))
    for place, axis in enumerate((1, 0)):
        step = np.diff(grid, axis=axis)
        gap = np.full_like(np.take(grid, [0], axis=axis), np.nan)
        before, after = np.concatenate([gap, step], axis=axis), np.concatenate([step, gap], axis=axis)
        size = [np.nan_to_num(np.linalg.norm(part, axis=-1), nan=np.inf) for part in (before, after)]
        best = np.where((size[0] < size[1])[..., None], before, after)
        typical = np.nanmedian(best.reshape(-1, 2), axis=0)
        out[..., place] = np.where(np.isfinite(best), best, typical)
    return out
