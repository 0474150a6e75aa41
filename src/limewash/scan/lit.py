"""Which parts of the camera's picture the projector lights: the rest, often half of it, need not be looked at."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.pattern import PatternPlan

Map = NDArray[np.float32]
Mask = NDArray[np.bool_]
Tile = tuple[int, int, int, int]  # first row, row after the last, first column, column after the last

BLOCK = 16  # side of the blocks that are told apart [camera px]
_STANDS_OUT = 3.0  # times the spread of blocks without light
_FAINTEST = 0.01  # share of the strong light, from which on a block counts as lit all the same
_TILE_BLOCKS = (4, 32)  # rows and columns of a tile at most: so much stays in the processor's cache


def lit_blocks(sums: NDArray[np.uint16], weights: NDArray[np.float64], plan: PatternPlan) -> Mask:
    """Whether white shows against black in a block of pixels, or in one beside it.

    Many pixels are asked together, so that what is far below the noise of one counts as lit; and each white with a
    black of its own, so that a car's light on one of them hides nothing.

    Parameters
    ----------
    sums, weights, plan
        As `decode_stack` takes them.

    Returns
    -------
    ndarray of bool, shape (ceil(height / BLOCK), ceil(width / BLOCK))
    """
    whites, blacks = ([n for n, hold in enumerate(plan.body) if hold.kind == kind] for kind in ("white", "black"))
    lit = np.zeros((-(-sums.shape[1] // BLOCK), -(-sums.shape[2] // BLOCK)), dtype=np.uint8)
    for white, black in zip(whites, blacks, strict=False):
        light = _block_means(sums[white]) * np.float32(weights[white])
        light -= _block_means(sums[black]) * np.float32(weights[black])
        around = cv2.blur(light, (3, 3))
        # Without light it is as often negative as not, and as far. Where the exposure wandered it is so for another
        # cause, and may be so by more than a dark roof returns.
        dark = around[around < 0.0]
        spread = float(np.sqrt(np.mean(np.square(dark)))) if dark.size else 0.0
        least = min(_STANDS_OUT * spread, _FAINTEST * max(float(np.quantile(around, 0.95)), 0.0))
        lit |= (around > least).astype(np.uint8)
        lit |= (light > 3.0 * least).astype(np.uint8)  # a mean of nine blocks spreads a third as far
    return np.asarray(cv2.dilate(lit, np.ones((3, 3), np.uint8)) > 0)


def blocks_of(mask: Mask) -> Mask:
    """Blocks with a marked pixel in them, shape as `lit_blocks`."""
    marks = np.where(mask, np.uint16(255 * BLOCK * BLOCK), np.uint16(0))  # a mean over one is no less than 255
    return np.asarray(_block_means(marks) > 0.0)


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


def _block_means(picture: NDArray[np.uint16]) -> Map:
    """Means over blocks; those at the right and below may reach beyond the picture, and repeat its edge there."""
    height, width = picture.shape
    below, beside = -height % BLOCK, -width % BLOCK
    whole = cv2.copyMakeBorder(picture, 0, below, 0, beside, cv2.BORDER_REPLICATE) if below or beside else picture
    size = (whole.shape[1] // BLOCK, whole.shape[0] // BLOCK)
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
