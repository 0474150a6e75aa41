"""What the projector's light reaches, in the camera's picture, and what keeps it from the rest.

Where light is missing between two places that are lit, the projector's own pixels on both sides tell why. If they
follow on each other, the projector does not know of the gap: the place lies in the shadow of something. If as many of
them are missing as the gap is wide, their light arrived and did not come back: glass, or paint that is too dark.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.correspondence import Correspondence

Map = NDArray[np.float32]
Labels = NDArray[np.uint8]

NOTHING, SURE, UNSURE, SHADOW, DARK = range(5)
"""Labels of a cell: no light known, lit, lit but uncertain, in shadow, lit but dark or glass."""

SURE_CONFIDENCE = 0.5
_WIDEST = 0.15  # of the picture's width; a wider gap lies between two things, not within one
_SHADOW, _DARK_LOW, _DARK_HIGH = 0.35, 0.65, 1.5  # projector pixels missing in a gap, over those that would fit


@dataclass(frozen=True)
class Reach:
    """What became of the light.

    Attributes
    ----------
    labels : ndarray of uint8, shape (rows, columns)
        A label for each cell of the camera's picture.
    cell : int
        Camera pixels along a cell's side.
    seen_share, sure_share : float
        Share of the projector's picture that is seen, and seen with certainty. [-]
    inside_share : float
        Share of the projector's picture that is lost between places that are seen: on glass, on dark paint, out of
        the camera's sight. [-]
    shadow_share, dark_share : float
        Share of the front, as the camera sees it, that lies in shadow, and that is dark or glass. [-]
    """

    labels: Labels
    cell: int
    seen_share: float
    sure_share: float
    inside_share: float
    shadow_share: float
    dark_share: float


def find_reach(correspondence: Correspondence) -> Reach:
    """Judge the gaps in a correspondence, see `Reach`."""
    seen = correspondence.seen
    x, y, sure, cell = _on_camera(correspondence)
    labels = np.where(np.isfinite(x), np.where(sure, SURE, UNSURE), NOTHING).astype(np.uint8)
    widest = max(4, round(_WIDEST * x.shape[1]))
    across, down = _gaps(x, y, widest), _gaps(x.T, y.T, widest)
    by_row, by_column = across[0], down[0].T
    narrow = across[1] <= down[1].T
    unlit = labels == NOTHING
    shadow = unlit & np.where(narrow, by_row == SHADOW, by_column == SHADOW)
    # A pane is shut in on all sides; sky between two roofs is not.
    dark = unlit & ~shadow & (by_row == DARK) & (by_column == DARK)
    labels[shadow], labels[dark] = SHADOW, DARK
    front = max(int((labels != NOTHING).sum()), 1)
    return Reach(
        labels=labels,
        cell=cell,
        seen_share=float(seen.mean()),
        sure_share=float((correspondence.confidence > SURE_CONFIDENCE).mean()),
        inside_share=_inside_share(seen),
        shadow_share=float((labels == SHADOW).sum() / front),
        dark_share=float((labels == DARK).sum() / front),
    )


def _gaps(x: Map, y: Map, widest: int) -> tuple[Labels, NDArray[np.int32]]:
    """Labels and lengths of the gaps along rows."""
    labels = np.zeros(x.shape, dtype=np.uint8)
    gap = np.full(x.shape, x.size, dtype=np.int32)
    step = np.hypot(np.diff(x, axis=1), np.diff(y, axis=1))
    known = step[np.isfinite(step)]
    if known.size:
        x, y = np.ascontiguousarray(x), np.ascontiguousarray(y)
        label_gaps(x, y, widest, float(np.median(known)), labels, gap)
    return labels, gap


def _inside_share(seen: NDArray[np.bool_]) -> float:
    """Share of pixels that are not seen though others are on all four sides of them."""
    ahead = [np.logical_or.accumulate(seen, axis=axis) for axis in (0, 1)]
    behind = [np.flip(np.logical_or.accumulate(np.flip(seen, axis), axis=axis), axis) for axis in (0, 1)]
    return float((ahead[0] & ahead[1] & behind[0] & behind[1] & ~seen).mean())


def _on_camera(correspondence: Correspondence) -> tuple[Map, Map, NDArray[np.bool_], int]:
    """Projector position by cells of the camera's picture, NaN where unseen; whether it is sure; a cell's side."""
    step = np.abs(np.diff(correspondence.camera_x[::3], axis=1))
    known = step[np.isfinite(step)]
    cell = max(1, math.ceil(1.25 * float(np.median(known)))) if known.size else 1
    width, height = (-(-side // cell) for side in correspondence.camera_size)
    x, y = (np.full((height, width), np.nan, dtype=np.float32) for _ in range(2))
    sure = np.zeros((height, width), dtype=np.bool_)
    certain = correspondence.confidence > SURE_CONFIDENCE
    put_on_camera(correspondence.camera_x, correspondence.camera_y, certain, cell, x, y, sure)
    return x, y, sure, cell


@kernel
def put_on_camera(
    camera_x: Map,
    camera_y: Map,
    certain: NDArray[np.bool_],
    cell: int,
    x: Map,
    y: Map,
    sure: NDArray[np.bool_],
) -> None:
    """Note in each cell which projector pixel it sees, and whether that is certain; those that are go first."""
    height, width = x.shape
    for v in range(camera_x.shape[0]):
        for u in range(camera_x.shape[1]):
            if np.isnan(camera_x[v, u]):
                continue
            row = min(max(int(np.rint(camera_y[v, u])) // cell, 0), height - 1)
            col = min(max(int(np.rint(camera_x[v, u])) // cell, 0), width - 1)
            if certain[v, u] or not sure[row, col]:
                x[row, col], y[row, col], sure[row, col] = u, v, certain[v, u]


@kernel
def label_gaps(x: Map, y: Map, widest: int, usual: float, labels: Labels, gap: NDArray[np.int32]) -> None:
    """Label the gaps along rows and note their lengths; `usual` is the step from cell to cell [projector px]."""
    rows, columns = x.shape
    for row in range(rows):
        last = -1
        for col in range(columns):
            if not np.isfinite(x[row, col]):
                continue
            long = col - last - 1
            if last >= 0 and 1 <= long <= widest:
                missing = np.hypot(x[row, col] - x[row, last], y[row, col] - y[row, last]) - usual
                share = missing / (usual * long)
                label = np.uint8(NOTHING)
                if share < _SHADOW:
                    label = np.uint8(SHADOW)
                elif _DARK_LOW < share < _DARK_HIGH:
                    label = np.uint8(DARK)
                for c in range(last + 1, col):
                    gap[row, c] = long
                    labels[row, c] = label
            last = col
