"""Which parts of the camera's picture the projector lights: the rest, often half of it, need not be looked at."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.pattern import PatternPlan
from limewash.scan.tiles import BLOCK, block_means

Mask = NDArray[np.bool_]

_STANDS_OUT = 3.0  # times the spread of blocks without light
_FAINTEST = 0.01  # share of the strong light, from which on a block counts as lit all the same


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
        light = block_means(sums[white]) * np.float32(weights[white])
        light -= block_means(sums[black]) * np.float32(weights[black])
        around = cv2.blur(light, (3, 3))
        # Without light it is as often negative as not, and as far. Where the exposure wandered it is so for another
        # cause, and may be so by more than a dark roof returns.
        dark = around[around < 0.0]
        spread = float(np.sqrt(np.mean(np.square(dark)))) if dark.size else 0.0
        least = min(_STANDS_OUT * spread, _FAINTEST * max(float(np.quantile(around, 0.95)), 0.0))
        lit |= (around > least).astype(np.uint8)
        lit |= (light > 3.0 * least).astype(np.uint8)  # a mean of nine blocks spreads a third as far
    return np.asarray(cv2.dilate(lit, np.ones((3, 3), np.uint8)) > 0)
