"""The front of the house, and planes parallel to it.

Two views of parallel planes are tied together by one number each: if H takes photo points to the projector through the
front, then every plane parallel to it does so by H + depth * e * l, where e is the camera's image in the projector (the
epipole) and l the front's vanishing line in the photo. H, e and l are measured once, from everything that was traced;
after that a window, a post or a garage front is found by a single robust number, however few points of it were seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limewash.facade.nearness import Nearness
from limewash.facade.plane_fit import Frame, PlaneFit, polished
from limewash.facade.samples import Samples
from limewash.facade.sides import LEAST_SUPPORT, Sides

Array = NDArray[np.float64]
Found = Sequence[tuple[Sides, list[PlaneFit]]]

FAR_PX = 4.0
"""Only planes that are shifted by more than this tell the directions of depth. [projector px]"""
PARALLEL_SHARE, PARALLEL_PX = 0.25, 1.0
"""A plane is taken as parallel at first if its shift changes along a path by no more than this share of itself and so
many px. [-, projector px]"""
LEAST_VOTES = 50.0
AGREEING = 0.7
"""Of the planes to which nearly as much is parallel as to the best one, the one with most scan points is the front."""
ENOUGH = 30_000
LEAST_ON = 300
PER_PLANE = 12
LEVEL_PRIOR = 0.5
"""How much depth may be expected to shift more at the photo's edge than in its middle. [-]"""


@dataclass(frozen=True, eq=False)
class Front:
    """The front's plane and how parallel planes lie to it.

    Attributes
    ----------
    matrix : ndarray of shape (3, 3)
        Homography from straightened photo px to projector px, positive in its third row's result.
    epipole : ndarray of shape (3,)
        Homogeneous projector px, scaled so that depth 1 shifts the middle of the photo by about 1 px, and signed so
        that more depth is nearer (if `sign` is not 0).
    level : ndarray of shape (3,)
        The front's vanishing line, 1 in the middle of the photo.
    sign : int
        1 if it is known that larger depth is nearer, 0 if the direction is not known.
    fit : PlaneFit
        The front itself.
    """

    matrix: Array
    epipole: Array
    level: Array
    sign: int
    fit: PlaneFit

    def depths(self, points: Array, targets: Array) -> Array:
        """Depth of straightened photo points (N, 2) that the projector lights with pixels `targets`, (N,). [px]"""
        base, reach, weight = self._epipolar(points)
        length = np.maximum(np.hypot(reach[:, 0], reach[:, 1]), 1e-12)
        shift = np.einsum("nc,nc->n", targets - base, reach) / length
        # From base to base + shift: (w base + depth level e) / (w + depth level e_w), solved for depth.
        rate = self._level_at(points) * (length - shift * self.epipole[2])
        return np.asarray(shift * weight / np.where(np.abs(rate) < 1e-12, np.nan, rate))

    def plane(self, depth: float) -> PlaneFit:
        """The parallel plane at a depth."""
        matrix = self.matrix + depth * np.outer(self.epipole, self.level)
        return replace(self.fit, matrix=matrix / matrix[2, 2], bend=np.zeros((3, 2)), fixed=True)

    def way(self, targets: Array) -> Array:
        """Unit direction in which depth shifts projector points (N, 2)."""
        way = self.epipole[:2] - targets * self.epipole[2]
        return np.asarray(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None])

    def with_sign(self, votes: float) -> Front:
        """Decide which way is nearer by votes that took larger depth as nearer; too few leave it open."""
        if abs(votes) < LEAST_VOTES:
            return self
        return replace(self, sign=1, epipole=self.epipole * np.sign(votes))

    def _epipolar(self, points: Array) -> tuple[Array, Array, Array]:
        """Where the front puts points, the way from there to the epipole, and the third coordinate."""
        mapped = np.column_stack([points, np.ones(len(points))]) @ self.matrix.T
        weight = mapped[:, 2]
        base = mapped[:, :2] / weight[:, None]
        return base, self.epipole[:2] - base * self.epipole[2], weight

    def _level_at(self, points: Array) -> Array:
        return np.asarray(points @ self.level[:2] + self.level[2])


def measure_front(found: Found, shared: Sequence[PlaneFit], nearness: Nearness, thin: Samples) -> Front | None:
    """Measure the front's plane, the epipole and the vanishing line; None if there is no plane to start from.

    The front is a large plane to which most of what is traced is parallel.
    """
    weighed = [(sides, p, float(np.count_nonzero(sides.on(p)))) for sides, planes in found for p in planes]

    def agreement(front: PlaneFit) -> float:
        return sum(weight for sides, plane, weight in weighed if _parallel(sides, plane, front, nearness))

    if not shared:
        return None
    rated = [(agreement(plane), plane) for plane in shared]
    enough = AGREEING * max(rating for rating, _ in rated)
    start = max((plane for rating, plane in rated if rating >= enough), key=lambda plane: _extent(plane, thin))
    picked = slice(None, None, max(1, len(thin.straight) // ENOUGH))
    fit = polished(start, thin.straight[picked], thin.projector[picked], thin.weight[picked])
    matrix = fit.matrix if _third(fit.matrix, thin) > 0.0 else -fit.matrix
    middle = np.append(thin.straight.mean(axis=0), 1.0)
    far = [_far_points(sides, plane, fit, nearness) for sides, plane, weight in weighed if weight >= LEAST_ON]
    far = [pair for pair in far if len(pair[0])]
    epipole = _epipole(nearness.epipole, fit, far)
    front = Front(matrix, epipole, np.array([0.0, 0.0, 1.0]), 0, fit)
    front = _scaled(front, middle)
    level = [
        _far_points(sides, plane, fit, nearness)
        for sides, plane, weight in weighed
        if weight >= LEAST_ON and _parallel(sides, plane, fit, nearness)
    ]
    return _scaled(replace(front, level=_level(front, [p for p in level if len(p[0])], thin)), middle)


def _parallel(sides: Sides, plane: PlaneFit, front: PlaneFit, nearness: Nearness) -> bool:
    """Whether a plane's distance from the front changes little along a path."""
    points = sides.straight[:: max(1, sides.count // PER_PLANE)]
    shift = nearness.shift(plane.map(points), front.map(points))
    slack = PARALLEL_SHARE * abs(float(np.median(shift))) + PARALLEL_PX + 2.0 * sides.noise_px
    return bool(np.ptp(shift) <= slack)


def _extent(plane: PlaneFit, thin: Samples) -> int:
    """How much of the whole scan lies on a plane."""
    picked = slice(None, None, max(1, len(thin.straight) // ENOUGH))
    return int(np.count_nonzero(plane.residual(thin.straight[picked], thin.projector[picked]) < plane.reach_px))


def _third(matrix: Array, thin: Samples) -> float:
    return float(np.median(thin.straight @ matrix[2, :2] + matrix[2, 2]))


def _scaled(front: Front, middle: Array) -> Front:
    """Scale level and epipole so that depth 1 shifts the middle by 1 px."""
    level = front.level / float(front.level @ middle)
    mapped = front.matrix @ middle
    rate = float(np.hypot(*(front.epipole[:2] - mapped[:2] / mapped[2] * front.epipole[2]))) / float(mapped[2])
    return replace(front, level=level, epipole=front.epipole / rate)


def _far_points(sides: Sides, plane: PlaneFit, fit: PlaneFit, nearness: Nearness) -> tuple[Array, Array]:
    """Some straightened photo points where a plane is seen, and where it puts them, if it is far from the front."""
    there = np.flatnonzero(np.nanmax(np.nan_to_num(sides.support(plane)), axis=1) >= LEAST_SUPPORT)
    points = sides.straight[there[:: max(1, len(there) // PER_PLANE)]]
    place = plane.map(points)
    if len(points) == 0 or abs(float(np.median(nearness.shift(place, fit.map(points))))) < FAR_PX:
        return np.empty((0, 2)), np.empty((0, 2))
    return points, place


def _epipole(start: Array, fit: PlaneFit, far: list[tuple[Array, Array]]) -> Array:
    """Where the lines from front to far planes meet, by least squares with robust weights."""
    if not far:
        return start
    place = np.vstack([p for _, p in far])
    base = fit.map(np.vstack([points for points, _ in far]))
    frame = Frame.around(place)
    a, b = frame.into(base), frame.into(place)
    lines = np.cross(np.column_stack([a, np.ones(len(a))]), np.column_stack([b, np.ones(len(b))]))
    shift = np.hypot(lines[:, 0], lines[:, 1])
    lines /= shift[:, None]
    found = np.append(start[:2] - frame.centre * start[2], start[2] * frame.scale)
    for _ in range(10):
        way = found[:2] - a * found[2]
        reach = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)
        miss = np.abs(lines @ found) / reach  # the angle by which a line misses
        weight = shift / reach / (1.0 + (miss / 0.02) ** 2)
        _, vectors = np.linalg.eigh((lines * weight[:, None] ** 2).T @ lines)
        found = vectors[:, 0] * np.sign(vectors[:, 0] @ found)
    return np.append(found[:2] * frame.scale + frame.centre * found[2], found[2])


def _level(front: Front, far: list[tuple[Array, Array]], thin: Samples) -> Array:
    """The vanishing line from how the depth of parallel planes seems to change along them."""
    if not far:
        return front.level
    frame = Frame.around(thin.straight)
    rows, wanted = [], []
    for points, place in far:
        seeming = front.depths(points, place)
        depth = float(np.median(seeming))
        local = frame.into(points)
        rows.append((local - local.mean(axis=0)) * depth)
        wanted.append(seeming - seeming.mean())
    a, b = np.vstack(rows), np.concatenate(wanted)
    slope = np.linalg.solve(a.T @ a + np.eye(2) / LEVEL_PRIOR**2, a.T @ b)
    # 1 + slope . (p - centre) / scale, as a linear form of p
    return np.append(slope / frame.scale, 1.0 - slope @ frame.centre / frame.scale)
