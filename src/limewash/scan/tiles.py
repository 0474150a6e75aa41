"""Tiles of the camera's picture: so much as stays in the processor's cache, made of the blocks worth looking at."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]
Mask = NDArray[np.bool_]
Tile = tuple[int, int, int, int]  # first row, row after the last, first column, column after the last

BLOCK = 16  # side of the blocks that are told apart [camera px]
_TILE_BLOCKS = (4, 32)  # rows and columns of a tile at most


def blocks_of(mask: Mask) -> Mask:
    """Blocks with a marked pixel in them, shape (ceil(height / BLOCK), ceil(width / BLOCK))."""
    marks = np.where(mask, np.uint16(255 * BLOCK * BLOCK), np.uint16(0))  # a mean over one is no less than 255
    return np.asarray(block_means(marks) > 0.0)


def tiles_of(blocks: Mask, shape: tuple[int, int]) -> list[Tile]:
    """Tiles of a picture, shape (height, width), that hold all marked blocks and little else."""
    high, wide = _TILE_BLOCKS
    tiles = []
    for row in range(0, len(blocks), high):
        some = blocks[row : row + high].any(axis=0)
        edges = np.flatnonzero(np.diff(some.astype(np.int8), prepend=0, append=0))
        for first, last in edges.reshape(-1, 2).tolist():
            parts = -(-(last - first) // wide)
            columns = [first + (last - first) * k // parts for k in range(parts + 1)]
            for left, right in pairwise(columns):
                bottom = min((row + high) * BLOCK, shape[0])
                tiles.append((row * BLOCK, bottom, left * BLOCK, min(right * BLOCK, shape[1])))
    return tiles


def block_means(picture: NDArray[np.uint16]) -> Map:
    """Means over blocks; those at the right and below may reach beyond the picture, and repeat its edge there."""
    height, width = picture.shape
    below, beside = -height % BLOCK, -width % BLOCK
    whole = cv2.copyMakeBorder(picture, 0, below, 0, beside, cv2.BORDER_REPLICATE) if below or beside else picture
    size = (whole.shape[1] // BLOCK, whole.shape[0] // BLOCK)
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
