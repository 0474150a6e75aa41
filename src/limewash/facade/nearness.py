"""Which of two surfaces is nearer, from the correspondence alone.

Camera and projector stand apart, so a surface in front of the main wall is shifted in projector pixels against
where the wall would be. All shifts point towards or away from one place, the camera's own image in the projector
(the epipole). That tells "nearer or farther" up to one sign for the whole scan. The sign follows from what is
the same on every house: surfaces that are not upright (roofs, steps, ground, porch roofs) lean back, so that their
lower part is the nearer one; and from what the traced paths tell (`limewash.facade.votes`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.facade.plane_fit import PlaneFit
from limewash.facade.samples import Samples

Array = NDArray[np.float64]

LEAST_SHIFT_PX = 1.5
"""A shift below this tells nothing about depth. [projector px]"""
ENOUGH = 30_000
LEAST_SHARE = 0.01
"""So much of the scan must lie off the main wall before its shifts count. [-]"""


@dataclass(frozen=True, eq=False)
class Nearness:
    """Measures along the direction in which surfaces shift with depth.

    Attributes
    ----------
    epipole : ndarray of shape (3,)
        Homogeneous projector px.
    """

    epipole: Array

    def way(self, points: Array) -> Array:
        """Unit direction from projector points (N, 2) to the epipole."""
        way = self.epipole[:2] - points * self.epipole[2]
        return np.asarray(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None])

    def shift(self, points: Array, base: Array) -> Array:
        """How far projector points (N, 2) are shifted against `base` (N, 2) towards the epipole. [px]"""
        return np.asarray(np.einsum("nc,nc->n", points - base, self.way(base)))


def find_epipole(wall: PlaneFit, samples: Samples) -> Nearness | None:
    """Where all shifts off the main wall point; None if nearly everything is on the wall. The sign is still open."""
    picked = slice(None, None, max(1, len(samples.straight) // ENOUGH))
    base, target = wall.map(samples.straight[picked]), samples.projector[picked]
    shift = target - base
    size = np.hypot(shift[:, 0], shift[:, 1])
    # Beyond the largest sensible shift it is an outlier of the scan.
    off = (size > max(LEAST_SHIFT_PX, 2.0 * wall.reach_px)) & (size < 0.15 * np.ptp(target, axis=0).max())
    if np.count_nonzero(off) < max(50.0, LEAST_SHARE * len(size)):
        return None
    centre, scale = target.mean(axis=0), target.std()
    p, q = (base[off] - centre) / scale, (target[off] - centre) / scale
    lines = np.cross(np.column_stack([p, np.ones(len(p))]), np.column_stack([q, np.ones(len(q))]))
    lines /= np.hypot(lines[:, 0], lines[:, 1])[:, None]
    weight = np.minimum(size[off] / LEAST_SHIFT_PX, 4.0)
    epipole = np.zeros(3)
    for _ in range(12):
        _, vectors = np.linalg.eigh((lines * weight[:, None]).T @ lines)
        epipole = vectors[:, 0]
        # How far the shift's direction is off, as an angle: the distance to the epipole does not matter.
        way = epipole[:2] - p * epipole[2]
        miss = np.abs(lines @ epipole) / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)
        weight = np.minimum(size[off] / LEAST_SHIFT_PX, 4.0) / (1.0 + (miss / 0.1) ** 2) ** 2
    return Nearness(np.append(epipole[:2] * scale + centre * epipole[2], epipole[2]))
