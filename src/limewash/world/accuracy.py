"""How far a found correspondence is from the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.scan.correspondence import Correspondence
from limewash.world.truth import Truth

_FAR_PX = 3.0


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
    errors = errors_px(found, truth)[both]
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

    The difference in the camera is taken back to the projector by the truth's own growth on the surface at
    that pixel. A truth without it (not from a virtual house) is differenced from pixel to pixel instead, on
    the side where it changes least.
    """
    for name in ("projector_size", "camera_size"):
        if getattr(found, name) != getattr(truth, name):
            raise InputError(f"{name} differs: found {getattr(found, name)}, truth {getattr(truth, name)}")
    growth = truth.growth.astype(np.float64) if isinstance(truth, Truth) else _differences(truth)
    dx = found.camera_x.astype(np.float64) - truth.camera_x
    dy = found.camera_y.astype(np.float64) - truth.camera_y
    (a, b), (c, d) = np.moveaxis(growth[..., 0, :], -1, 0), np.moveaxis(growth[..., 1, :], -1, 0)
    det = a * d - b * c
    det = np.where(np.abs(det) < 1e-9, np.nan, det)
    return np.asarray(np.hypot((d * dx - b * dy) / det, (a * dy - c * dx) / det))


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
