"""Exact anti-aliased filling: how much of each pixel's square lies inside a polygon."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


def cover_of(rings: list[Array], size: tuple[int, int]) -> tuple[int, int, NDArray[np.uint8]]:
    """Cover of an area by its boundary rings.

    Parameters
    ----------
    rings : list of ndarray of shape (N, 2)
        Closed rings (the first point is not repeated), pixel centres at integers; holes run the other way round
        than what is around them. [px]
    size : (int, int)
        Width and height of the picture. [px]

    Returns
    -------
    left, top : int
        Pixel of the first entry of `cover`.
    cover : ndarray of uint8, shape (h, w)
        0 to 255, cut to the pixels that are covered at all; shape (0, 0) if none is.

    Notes
    -----
    Each edge adds, in every pixel it passes, the signed area between itself and the pixel's right side; a running
    sum along the row spreads it to all pixels further right. Nothing is sampled, so the sum over all pixels is the
    polygon's area, up to the rounding to 8 bits. Where an area overlaps itself it counts once.
    """
    width, height = size
    points = np.vstack(rings) + 0.5  # a pixel's square begins half a pixel before its centre
    low = np.clip(np.floor(points.min(axis=0)), 0, (width, height)).astype(np.intp)
    high = np.clip(np.ceil(points.max(axis=0)), 0, (width, height)).astype(np.intp)
    shape = (int(high[1] - low[1]), int(high[0] - low[0]))
    if min(shape) <= 0:
        return 0, 0, np.zeros((0, 0), dtype=np.uint8)
    edges = [np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in rings]
    pieces = _cut(_cut(np.concatenate(edges) + 0.5 - low, 1, shape[0]), 0, shape[1])
    share = np.minimum(np.abs(_swept(pieces, shape)), 1.0)
    return _trimmed(int(low[0]), int(low[1]), np.round(share * 255.0).astype(np.uint8))


def _cut(edges: Array, axis: int, limit: int) -> Array:
    """Divide edges (M, 2 ends, 2) at the whole numbers 0 to `limit` of one coordinate."""
    start, stop = edges[:, 0, axis], edges[:, 1, axis]
    first = np.clip(np.floor(np.minimum(start, stop)) + 1.0, 0, limit + 1).astype(np.intp)
    last = np.clip(np.ceil(np.maximum(start, stop)) - 1.0, -1, limit).astype(np.intp)
    cuts = np.maximum(last - first + 1, 0)
    edge = np.repeat(np.arange(len(edges)), cuts + 1)
    number = np.arange(len(edge)) - np.repeat(np.cumsum(cuts + 1) - cuts - 1, cuts + 1)
    way = stop - start
    step = np.where(way < 0.0, -1, 1)
    nearest = np.where(way < 0.0, last, first)[edge]
    with np.errstate(divide="ignore", invalid="ignore"):
        begin = (nearest + step[edge] * (number - 1) - start[edge]) / way[edge]
        end = (nearest + step[edge] * number - start[edge]) / way[edge]
    begin = np.where(number == 0, 0.0, begin)[:, None]
    end = np.where(number == cuts[edge], 1.0, end)[:, None]
    a, b = edges[edge, 0], edges[edge, 1]
    return np.stack([a + (b - a) * begin, a + (b - a) * end], axis=1)


def _swept(pieces: Array, shape: tuple[int, int]) -> Array:
    """Signed winding share of each pixel from pieces that each lie within one pixel."""
    height, width = shape
    middle = pieces.mean(axis=1)
    row = np.floor(middle[:, 1]).astype(np.intp)
    inside = (row >= 0) & (row < height)
    column = np.clip(np.floor(middle[inside, 0]), -1, width).astype(np.intp)
    rise = (pieces[:, 1, 1] - pieces[:, 0, 1])[inside]
    # Left of the picture an edge counts in full, right of it not at all.
    beyond = np.where(column < 0, 0.0, np.where(column >= width, 1.0, middle[inside, 0] - column))
    cell = row[inside] * (width + 2) + np.maximum(column, 0)
    count = height * (width + 2)
    total = np.bincount(cell, rise * (1.0 - beyond), count) + np.bincount(cell + 1, rise * beyond, count + 1)[:count]
    return np.asarray(np.cumsum(total.reshape(height, width + 2)[:, :width], axis=1))


def _trimmed(left: int, top: int, cover: NDArray[np.uint8]) -> tuple[int, int, NDArray[np.uint8]]:
    rows, columns = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
    if len(rows) == 0:
        return 0, 0, np.zeros((0, 0), dtype=np.uint8)
    cut = cover[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return left + int(columns[0]), top + int(rows[0]), np.ascontiguousarray(cut)
