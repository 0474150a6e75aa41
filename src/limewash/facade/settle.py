"""Settling the map on the house by check points that people moved until they sat: from map pixels to house pixels.

`map_px` is where the map has a point, `house_px` the projector pixel that really meets it on the house.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RBFInterpolator
from scipy.spatial import ConvexHull, QhullError

from limewash.errors import InputError
from limewash.geometry.homography import apply_homography, fit_homography
from limewash.scan.correspondence import Correspondence

Points = NDArray[np.float64]
Matrix = NDArray[np.float64]
Method = Literal["flat", "parts", "smooth"]

_BACK_ROUNDS = 60
_BACK_PX = 1e-6
_ROWS_AT_ONCE = 64
_MARGIN_SHARE = 0.15
"""A part's own plane holds within the hull of its points and fades out over this share of the hull's size."""


class Placed(Protocol):
    """What is needed of a check point."""

    @property
    def map_px(self) -> tuple[float, float]: ...
    @property
    def house_px(self) -> tuple[float, float]: ...
    @property
    def part(self) -> str: ...


class Settling:
    """The correction that check points ask for.

    Parameters
    ----------
    points : sequence
        Check points, as `limewash.facade.checkpoints.CheckPoint`. None: nothing moves.
    method : "flat", "parts" or "smooth"
        One plane for all (more points than it needs are met in the mean); a plane for each named part and a
        thin plate between the parts; a thin plate through every point.

    Raises
    ------
    InputError
        If two points lie on each other, or the points of a plane lie on one line.

    Notes
    -----
    One point shifts the map, two also turn and size it, three shear it, four or more fix a plane's perspective.
    """

    def __init__(self, points: Sequence[Placed], method: Method) -> None:
        self.method = method
        self._map = np.array([p.map_px for p in points], dtype=np.float64).reshape(-1, 2)
        self._house = np.array([p.house_px for p in points], dtype=np.float64).reshape(-1, 2)
        _check_apart(self._map, "on the map")
        _check_apart(self._house, "on the house")
        self._base = plane_through(self._map, self._house)
        self._plate = _plate(self._map, self._house - apply_homography(self._base, self._map))
        self._parts = _parts(points) if method == "parts" else []

    def apply(self, points_px: ArrayLike) -> Points:
        """House pixels of map pixels (..., 2). [px]"""
        p = np.asarray(points_px, dtype=np.float64)
        flat = p.reshape(-1, 2)
        moved = apply_homography(self._base, flat)
        if self.method != "flat":
            moved = moved + self._bent(flat, moved)
        return moved.reshape(p.shape)

    def back(self, points_px: ArrayLike) -> Points:
        """Map pixels of house pixels (..., 2): the inverse of `apply`. [px]"""
        p = np.asarray(points_px, dtype=np.float64)
        target = p.reshape(-1, 2)
        inverse = np.asarray(np.linalg.inv(self._base), dtype=np.float64)
        guess = apply_homography(inverse, target)
        if self.method == "flat":
            return guess.reshape(p.shape)
        for _ in range(_BACK_ROUNDS):
            bent = self.apply(guess) - apply_homography(self._base, guess)
            better = apply_homography(inverse, target - bent)
            step = float(np.nanmax(np.abs(better - guess), initial=0.0))
            guess = better
            if step < _BACK_PX:
                break
        return guess.reshape(p.shape)

    def left_over_px(self) -> NDArray[np.float64]:
        """How far each check point still is from where it should sit, shape (N,). [px]"""
        off: NDArray[np.float64] = np.linalg.norm(self.apply(self._map) - self._house, axis=1)
        return off

    def _bent(self, flat: Points, moved: Points) -> Points:
        """What is added to the one plane."""
        plate = np.zeros_like(flat) if self._plate is None else np.asarray(self._plate(flat), dtype=np.float64)
        if not self._parts:
            return plate
        shares = np.stack([part.share(flat) for part in self._parts])
        total = np.maximum(shares.sum(axis=0), 1.0)
        bent: Points = plate * (1.0 - np.minimum(shares.sum(axis=0), 1.0))[:, None]
        for share, part in zip(shares / total, self._parts, strict=True):
            bent += share[:, None] * (apply_homography(part.plane, flat) - moved)
        return bent


@dataclass(frozen=True, eq=False)
class _Part:
    """A flat part of the house: its plane, and where it holds (half-planes a x + b y + c <= 0 of its hull)."""

    plane: Matrix
    edges: NDArray[np.float64]
    margin_px: float

    def share(self, points: Points) -> NDArray[np.float64]:
        """1 in the hull, falling to 0 over the margin."""
        outside = np.maximum((points @ self.edges[:, :2].T + self.edges[:, 2]).max(axis=1), 0.0)
        t = np.clip(1.0 - outside / self.margin_px, 0.0, 1.0)
        share: NDArray[np.float64] = t * t * (3.0 - 2.0 * t)
        return share


def plane_through(source: Points, target: Points) -> Matrix:
    """The plane's map that so many point pairs (N, 2) fix: shift, likeness, affine or homography, as a 3x3 matrix.

    Raises
    ------
    InputError
        If three or more points lie on one line where a plane needs them not to.
    """
    count = len(source)
    matrix = np.eye(3)
    if count >= 4:
        return fit_homography(source, target)
    if count == 3:
        system = np.column_stack([source, np.ones(3)])
        if np.linalg.cond(system - [*source.mean(axis=0), 0.0]) > 1e6:
            raise InputError("three check points lie on one line; put one of them elsewhere")
        matrix[:2] = np.linalg.solve(system, target).T
    elif count == 2:
        a, b = source[1] - source[0], target[1] - target[0]
        ratio = complex(b[0], b[1]) / complex(a[0], a[1])
        matrix[:2, :2] = [[ratio.real, -ratio.imag], [ratio.imag, ratio.real]]
        matrix[:2, 2] = target[0] - matrix[:2, :2] @ source[0]
    elif count == 1:
        matrix[:2, 2] = target[0] - source[0]
    return matrix


def settled_correspondence(correspondence: Correspondence, settling: Settling) -> Correspondence:
    """The scan as it would have been where the map now sits: each house pixel sees what its map pixel saw."""
    width, height = correspondence.projector_size
    camera = np.empty((height, width, 2), dtype=np.float32)
    confidence = np.empty((height, width), dtype=np.float32)
    for top in range(0, height, _ROWS_AT_ONCE):
        rows = np.arange(top, min(top + _ROWS_AT_ONCE, height), dtype=np.float64)
        pixels = np.stack(np.meshgrid(np.arange(width, dtype=np.float64), rows), axis=-1)
        source = settling.back(pixels)
        camera[top : top + len(rows)] = correspondence.sample(source)
        nearest = np.clip(np.rint(source), 0, [width - 1, height - 1]).astype(np.intp)
        confidence[top : top + len(rows)] = correspondence.confidence[nearest[..., 1], nearest[..., 0]]
    seen = np.isfinite(camera).all(axis=-1)
    return Correspondence(
        camera[..., 0],
        camera[..., 1],
        np.where(seen, confidence, np.float32(0.0)),
        correspondence.camera_size,
        correspondence.projector_size,
    )


def _plate(source: Points, rest: Points) -> RBFInterpolator | None:
    """A thin plate through what the plane leaves over; None where it leaves nothing or there are too few points."""
    if len(source) < 4 or float(np.abs(rest).max()) < 1e-9:
        return None
    return RBFInterpolator(source, rest, kernel="thin_plate_spline", degree=1)


def _parts(points: Sequence[Placed]) -> list[_Part]:
    found = []
    for name in sorted({p.part for p in points}):
        own = [p for p in points if p.part == name]
        if len(own) < 3:
            continue  # two points enclose nothing: the thin plate meets them
        source = np.array([p.map_px for p in own], dtype=np.float64)
        try:
            hull = ConvexHull(source)
            plane = plane_through(source, np.array([p.house_px for p in own], dtype=np.float64))
        except (QhullError, InputError):
            raise InputError(f"the check points of {name or 'a part'} lie on one line; put one elsewhere") from None
        margin = _MARGIN_SHARE * float(np.sqrt(hull.volume))
        found.append(_Part(plane, np.asarray(hull.equations, dtype=np.float64), margin))
    return found


def _check_apart(points: Points, where: str) -> None:
    if len(points) > 1:
        gaps = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)) + 1e9 * np.eye(len(points))
        if gaps.min() < 0.5:
            raise InputError(f"two check points lie on each other {where}; move one of them")
