"""Planes parallel to the front beside a path: each is a peak in the depths of the samples there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limewash.facade.front import Front
from limewash.facade.plane_fit import PlaneFit
from limewash.facade.sides import Flags, Sides

Array = NDArray[np.float64]

MOST_PEAKS = 3
LEAST_SHARE = 0.08
LEAST_SAMPLES = 25
"""A peak must hold so much of a side, and so many samples. [-]"""
SHARPEST_PX = 0.06
"""Narrowest peak: a scan without noise would else fall apart into single samples. [projector px]"""


def parallel_planes(sides: Sides, front: Front) -> list[PlaneFit]:
    """Planes parallel to the front that are seen beside a path, on each side the best supported first."""
    depth = front.depths(sides.source, sides.target)
    reach_px = front.fit.reach_px
    usable = np.isfinite(depth) & (np.abs(_across(sides, front)) < 2.0 * reach_px)
    planes = []
    for side in sides.allowed:
        mine = usable & (sides.side == side)
        for peak in _peaks(depth[mine], sides.weight[mine], max(sides.noise_px, SHARPEST_PX)):
            plane = _settled(sides, front, peak, mine)
            if plane is not None:
                planes.append(plane)
    return planes


def _across(sides: Sides, front: Front) -> Array:
    """How far each sample lies beside its epipolar line. [projector px]"""
    base = front.fit.map(sides.source)
    gap, way = sides.target - base, front.way(sides.target)
    return np.asarray(gap[:, 0] * way[:, 1] - gap[:, 1] * way[:, 0])


def _peaks(depth: Array, weight: Array, noise_px: float) -> list[float]:
    """Depths around which most of the weight lies."""
    if len(depth) < LEAST_SAMPLES:
        return []
    low, high = np.percentile(depth, [0.5, 99.5])
    step = noise_px / 2.0
    count = int(min((high - low) / step + 16.0, 20_000.0))
    edges = low - 8.0 * step + np.arange(count + 1) * max(step, (high - low + 16.0 * step) / count)
    heap, _ = np.histogram(depth, edges, weights=weight)
    kernel = np.exp(-0.5 * (np.arange(-5, 6) / 2.0) ** 2)
    smooth = np.convolve(heap, kernel / kernel.sum(), mode="same")
    middles, found = (edges[:-1] + edges[1:]) / 2.0, []
    for _ in range(MOST_PEAKS):
        best = int(np.argmax(smooth))
        near = np.abs(middles - middles[best]) < 3.0 * noise_px
        if heap[near].sum() < LEAST_SHARE * weight.sum():
            break
        found.append(float(middles[best]))
        smooth = np.where(near, 0.0, smooth)
    return found


def _settled(sides: Sides, front: Front, depth: float, among: Flags) -> PlaneFit | None:
    """The plane at a peak, moved as a whole to the middle of its samples; None if too few lie on it."""
    noise_px = max(sides.noise_px, SHARPEST_PX)
    plane = front.plane(depth)
    source, target, weight = sides.source[among], sides.target[among], sides.weight[among]
    for cut_px in (4.0 * noise_px, 3.2 * noise_px, 3.2 * noise_px):
        gap = target - plane.map(source)
        length = np.hypot(gap[:, 0], gap[:, 1])
        robust = weight * (1.0 - np.minimum(length / cut_px, 1.0) ** 2) ** 2
        if np.count_nonzero(robust) < LEAST_SAMPLES:
            return None
        move = robust @ gap / robust.sum()
        shifted = np.array([[1.0, 0.0, move[0]], [0.0, 1.0, move[1]], [0.0, 0.0, 1.0]]) @ plane.matrix
        plane = replace(plane, matrix=shifted / shifted[2, 2])
    return plane
