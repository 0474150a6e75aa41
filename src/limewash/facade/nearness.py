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
from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]

LEAST_SHIFT_PX = 1.5
"""A shift below this tells nothing about depth. [projector px]"""
LEAST_VOTES = 50.0
LEAST_SHARE = 0.01
"""So much of the scan must lie off the main wall before its shifts count. [-]"""


@dataclass(frozen=True, eq=False)
class Nearness:
    """Measures along the direction in which surfaces shift with depth.

    Attributes
    ----------
    epipole : ndarray of shape (3,)
        Homogeneous projector px.
    sign : int
        1 or -1 so that `shift` grows towards the camera; 0 if not known.
    """

    epipole: Array
    sign: int

    def way(self, points: Array) -> Array:
        """Unit direction in which depth shifts projector points (N, 2), before the sign."""
        way = self.epipole[:2] - points * self.epipole[2]
        return np.asarray(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None])

    def shift(self, points: Array, base: Array) -> Array:
        """How much nearer projector points (N, 2) are than `base` (N, 2), in px along the epipolar direction."""
        return np.asarray(np.einsum("nc,nc->n", points - base, self.way(base))) * (self.sign or 1)

    def with_sign(self, votes: float) -> Nearness:
        """Decide the sign by a sum of votes that took `sign` as 1; too few leave it open."""
        return Nearness(self.epipole, int(np.sign(votes)) if abs(votes) >= LEAST_VOTES else 0)


def find_epipole(wall: PlaneFit, samples: Samples) -> Nearness | None:
    """Where all shifts off the main wall point; None if nearly everything is on the wall. The sign is still open."""
    base = wall.map(samples.straight)
    shift = samples.projector - base
    size = np.hypot(shift[:, 0], shift[:, 1])
    # Beyond the largest sensible shift it is an outlier of the scan.
    off = (size > max(LEAST_SHIFT_PX, 2.0 * wall.reach_px)) & (size < 0.15 * np.ptp(samples.projector, axis=0).max())
    if np.count_nonzero(off) < max(50.0, LEAST_SHARE * len(size)):
        return None
    centre, scale = samples.projector.mean(axis=0), samples.projector.std()
    p, q = (base[off] - centre) / scale, (samples.projector[off] - centre) / scale
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
    return Nearness(np.append(epipole[:2] * scale + centre * epipole[2], epipole[2]), 0)


def lean_votes(
    nearness: Nearness, wall: PlaneFit, correspondence: Correspondence, straight: NDArray[np.float64]
) -> float:
    """Votes of surfaces that lean: positive if "nearer" grows downwards in the projector's picture.

    Parameters
    ----------
    straight : ndarray of shape (h, w, 2)
        Straightened photo px of every `STRIDE`-th projector pixel, NaN where unseen.
    """
    h, w = straight.shape[:2]
    stride = correspondence.projector_size[0] / w
    grid = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1) * stride
    base = wall.map(straight.reshape(-1, 2))
    shift = nearness.shift(grid.reshape(-1, 2), base).reshape(h, w)
    change = shift[1:] - shift[:-1]
    both = np.minimum(np.abs(shift[1:]), np.abs(shift[:-1])) > LEAST_SHIFT_PX
    smooth = np.isfinite(change) & both & (np.abs(change) < 0.5 * stride)
    return float(np.sum(np.clip(change[smooth], -0.5, 0.5)))
