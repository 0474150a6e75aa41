"""The correspondence turned round: what is known near a place of the photo."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Map = NDArray[np.float32]

AVERAGED = 0.5
"""What averaging leaves of the noise: neighbours err together to a part. [-]"""
MOST_CELLS = 65_000
"""Cell numbers must fit 16 bits, for which NumPy sorts by radix."""


@dataclass(frozen=True, eq=False)
class Samples:
    """Projector pixels that the camera saw, sorted by the cell of the photo in which it saw them.

    Attributes
    ----------
    photo, projector : ndarray of shape (N, 2)
        Where the camera saw it, and which pixel it is. [px]
    straight : ndarray of shape (N, 2)
        `photo` with the lens's distortion taken out. [px]
    weight : ndarray of shape (N,)
        Confidence.
    scale : float
        Photo pixels to a projector pixel, as a median.
    noise_px : float
        Noise of one coordinate. [projector px]
    cell_px : float
        Edge of a cell. [photo px]
    grid : (int, int)
        Columns and rows of cells.
    starts : ndarray of shape (cells + 1,)
        Where each cell's samples begin.
    """

    photo: Array
    projector: Array
    straight: Array
    weight: Array
    scale: float
    noise_px: float
    cell_px: float
    grid: tuple[int, int]
    starts: Indices

    def straightened(self, straight: Array) -> Samples:
        return replace(self, straight=straight)

    def along(self, chain: Array, *, closed: bool, band_px: float) -> Indices:
        """Numbers of the samples whose cells lie within `band_px` of a chain of photo points (some are further)."""
        columns, rows = self.grid
        cells = np.zeros((rows, columns), dtype=np.uint8)
        _stroke(cells, chain, closed, band_px, self.cell_px)
        wanted = np.flatnonzero(cells)
        begin, count = self.starts[wanted], self.starts[wanted + 1] - self.starts[wanted]
        if count.sum() == 0:
            return np.empty(0, dtype=np.intp)
        first = np.repeat(begin - np.concatenate([[0], np.cumsum(count)[:-1]]), count)
        return np.asarray(first + np.arange(count.sum()))


def gather(
    correspondence: Correspondence,
    chains: list[tuple[Array, bool]] | None = None,
    band_px: float = 0.0,
    *,
    stride: int = 1,
    like: Samples | None = None,
) -> Samples:
    """Turn a correspondence round.

    Parameters
    ----------
    correspondence : Correspondence
    chains : list of (ndarray of shape (N, 2), bool), optional
        Chains of photo points, closed or not: only samples in cells near them are kept. None keeps all.
    band_px : float
        What is near. [photo px]
    stride : int
        Average over so many rows and columns.
    like : Samples, optional
        Earlier samples of the same scan, whose scale and noise still hold.
    """
    width, height = correspondence.camera_size
    cell_px = max(4.0, float(np.ceil(np.sqrt(width * height / MOST_CELLS))))
    columns, rows = int(width // cell_px) + 1, int(height // cell_px) + 1
    scale, noise_px = (like.scale, like.noise_px) if like else _scale_and_noise(correspondence)
    across, down, confidence = correspondence.camera_x, correspondence.camera_y, correspondence.confidence
    if stride > 1:
        across, down, confidence = _blocks(across, down, confidence, stride, limit_px=(stride + 8.0 * noise_px) * scale)
        noise_px *= AVERAGED
    # Comparisons with NaN are false: the unseen drop out here too.
    seen = (confidence > 0) & (across > -0.5) & (across < width - 0.5) & (down > -0.5) & (down < height - 0.5)
    picked = np.flatnonzero(seen)
    x, y = across.ravel()[picked], down.ravel()[picked]
    cell = (((y + 0.5) / cell_px).astype(np.int32) * columns + ((x + 0.5) / cell_px).astype(np.int32)).astype(np.uint16)
    if chains is not None:
        wanted = np.zeros((rows, columns), dtype=np.uint8)
        for chain, closed in chains:
            _stroke(wanted, chain, closed, band_px, cell_px)
        keep = wanted.ravel()[cell] > 0
        picked, cell = picked[keep], cell[keep]
    order = np.argsort(cell, kind="stable")
    picked, cell = picked[order], cell[order]
    photo = np.stack([across.ravel()[picked], down.ravel()[picked]], axis=-1).astype(np.float64)
    v, u = np.divmod(picked, across.shape[1])
    return Samples(
        photo=photo,
        projector=np.stack([u, v], axis=-1) * float(stride) + (stride - 1) / 2.0,
        straight=photo,
        weight=confidence.ravel()[picked].astype(np.float64),
        scale=scale,
        noise_px=noise_px,
        cell_px=cell_px,
        grid=(columns, rows),
        starts=np.concatenate([[0], np.cumsum(np.bincount(cell, minlength=columns * rows))]),
    )


def _blocks(across: Map, down: Map, confidence: Map, size: int, *, limit_px: float) -> tuple[Map, Map, Map]:
    """Means over square blocks, NaN where a block has a gap or its samples lie too far apart to be one surface."""
    rows, columns = across.shape[0] // size, across.shape[1] // size
    stack = np.stack([across, down, confidence])[:, : rows * size, : columns * size]
    parts = [stack[:, i::size, j::size] for i in range(size) for j in range(size)]
    low, high = np.minimum.reduce(parts), np.maximum.reduce(parts)
    mean = sum(parts[1:], start=parts[0]) / np.float32(size * size)
    with np.errstate(invalid="ignore"):
        torn = (high[0] - low[0] > limit_px) | (high[1] - low[1] > limit_px)
    mean[0][torn] = np.nan
    return mean[0], mean[1], mean[2]


def _stroke(cells: NDArray[np.uint8], chain: Array, closed: bool, band_px: float, cell_px: float) -> None:
    """Mark the cells within a distance of a chain."""
    shift = 4
    points = np.round((chain + 0.5) / cell_px * 2**shift - 2.0 ** (shift - 1)).astype(np.int32)
    thickness = 2 * int(np.ceil(band_px / cell_px)) + 3
    cv2.polylines(cells, [points.reshape(-1, 1, 2)], closed, 1, min(thickness, 32_000), cv2.LINE_8, shift)


def _scale_and_noise(correspondence: Correspondence) -> tuple[float, float]:
    """Photo px to a projector px, and noise [projector px], from neighbours on every fourth row."""
    row = np.stack([correspondence.camera_x[::4], correspondence.camera_y[::4]]).astype(np.float64)
    hop = row[:, :, 8:] - row[:, :, :-8]  # long enough that noise does not matter
    length = np.hypot(hop[0], hop[1]) / 8.0
    length = length[np.isfinite(length)]
    scale = float(np.median(length)) if length.size else 1.0
    change = np.abs(np.diff(row, n=2, axis=2))
    change = change[np.isfinite(change)]
    # The second difference of independent noise has sqrt(6) times its spread.
    spread = 1.4826 * float(np.median(change)) / np.sqrt(6.0) if change.size else 0.0
    scale = max(scale, 1e-6)
    return scale, float(np.clip(spread / scale, 0.0, 1.5))
