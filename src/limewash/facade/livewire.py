"""A line that finds its own way along edges, from where it was begun to where the pointer is."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.geometry.path import Cubic, Line, Path2, Point, Segment
from limewash.jit import kernel

Array = NDArray[np.float64]

REACH_PX = 320
"""Largest distance from the start, along x or y. [px]"""
DEAREST = 60
"""Cost of a step where there is no edge; 1 on the strongest."""
_DIAGONAL = 1.4142135623730951
_SUBSTEPS = 4
"""Costs are kept as whole numbers of quarter units, so that they can be sorted by counting."""


@dataclass
class LiveWire:
    """All cheapest ways from one start, so that following the pointer costs nothing.

    Attributes
    ----------
    photo : ndarray of uint8, shape (H, W, 3)
    start : (float, float)
        Where the line was begun. [px]
    """

    photo: NDArray[np.uint8]
    start: Point
    _corner: tuple[int, int] = field(init=False)
    _came: NDArray[np.int8] = field(init=False)

    def __post_init__(self) -> None:
        height, width = self.photo.shape[:2]
        x, y = round(self.start[0]), round(self.start[1])
        if not (0 <= x < width and 0 <= y < height):
            raise InputError(f"the line must begin inside the photo, got ({x}, {y})")
        left, top = max(x - REACH_PX, 0), max(y - REACH_PX, 0)
        part = self.photo[top : min(y + REACH_PX + 1, height), left : min(x + REACH_PX + 1, width)]
        self._corner = (left, top)
        self._came = _ways(step_costs(part), x - left, y - top)

    def to(self, point: Point) -> Array:
        """The way to a point as pixels (N, 2) from the start; a point out of reach is first brought near. [px]"""
        height, width = self._came.shape
        x = int(np.clip(round(point[0]) - self._corner[0], 0, width - 1))
        y = int(np.clip(round(point[1]) - self._corner[1], 0, height - 1))
        return walked_back(self._came, x, y) + np.array(self._corner, dtype=np.float64)


def step_costs(part: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Cost of entering each pixel, (h, w): small on edges."""
    soft = cv2.GaussianBlur(part, (0, 0), 1.0).astype(np.float32)
    dx = cv2.Sobel(soft, cv2.CV_32F, 1, 0, scale=0.125)
    dy = cv2.Sobel(soft, cv2.CV_32F, 0, 1, scale=0.125)
    edge = np.sqrt((dx**2 + dy**2).sum(axis=-1))
    # Against the strongest edges nearby, so that a faint edge far from strong ones leads too.
    around = cv2.blur(cv2.dilate(edge, np.ones((15, 15), np.uint8)), (61, 61))
    strong = np.clip(edge / (0.6 * around + 2.0), 0.0, 1.0)
    crest = edge / (cv2.dilate(edge, np.ones((9, 9), np.uint8)) + 1e-3)
    share = strong * crest**2  # only the crest of an edge is cheap, so that bends are not cut
    return np.asarray(np.round(1.0 + (DEAREST - 1.0) * (1.0 - share) ** 2), dtype=np.int64)


@kernel
def _ways(cost: NDArray[np.int64], x0: int, y0: int) -> NDArray[np.int8]:
    """For each pixel, from which of its eight neighbours the cheapest way comes; -1 at the start.

    Dijkstra's method with one bucket for each total cost, in a ring that is as long as the dearest step.
    """
    height, width = cost.shape
    size = height * width
    ring = 2 * _SUBSTEPS * (DEAREST + 1)
    best = np.full(size, np.int64(1) << 60)
    came = np.full((height, width), np.int8(-1))
    head = np.full(ring, -1)  # first entry of each bucket
    entry_pixel = np.empty(8 * size + 1, dtype=np.int32)
    entry_next = np.empty(8 * size + 1, dtype=np.int32)
    start = y0 * width + x0
    best[start] = 0
    entry_pixel[0], entry_next[0] = start, -1
    head[0] = 0
    used, waiting, total = 1, 1, 0
    while waiting > 0:
        bucket = total % ring
        entry = head[bucket]
        if entry < 0:
            total += 1
            continue
        head[bucket] = entry_next[entry]
        waiting -= 1
        pixel = entry_pixel[entry]
        if best[pixel] != total:
            continue  # a cheaper way was found after this entry was made
        y, x = pixel // width, pixel % width
        for k in range(8):
            way = k if k < 4 else k + 1  # the middle of the 3 x 3 neighbours is the pixel itself
            nx, ny = x + way % 3 - 1, y + way // 3 - 1
            if nx < 0 or ny < 0 or nx >= width or ny >= height:
                continue
            length = _DIAGONAL if way % 2 == 0 else 1.0
            reached = total + np.int64(np.round(length * _SUBSTEPS * cost[ny, nx]))
            if reached < best[ny * width + nx]:
                best[ny * width + nx] = reached
                came[ny, nx] = way
                entry_pixel[used] = ny * width + nx
                entry_next[used] = head[reached % ring]
                head[reached % ring] = used
                used += 1
                waiting += 1
    return came


def walked_back(came: NDArray[np.int8], x: int, y: int) -> Array:
    """Pixels (N, 2) from the start to (x, y)."""
    chain = [(x, y)]
    while came[y, x] >= 0:
        way = int(came[y, x])
        x, y = x - (way % 3 - 1), y - (way // 3 - 1)
        chain.append((x, y))
    return np.array(chain[::-1], dtype=np.float64)


def smoothed(chain: Array, *, tolerance_px: float = 1.2) -> Path2:
    """A chain of pixels as few lines and curves, within `tolerance_px` of it.

    Corners are where the chain turns sharply; between them a line if it fits, else cubic curves.

    Raises
    ------
    InputError
        If the chain has fewer than two points.
    """
    if len(chain) < 2:
        raise InputError("the line goes nowhere: move the pointer away from where it began")
    segments: list[Segment] = []
    corners = _corners(chain, tolerance_px)
    for first, last in pairwise(corners):
        segments += _fitted(chain[first : last + 1], tolerance_px, 5)
    return Path2(tuple(segments), closed=False)


def _corners(chain: Array, tolerance_px: float) -> list[int]:
    """Indices of the ends and of sharp turns, seen from 8 px away."""
    arm, count = 8, len(chain)
    found = [0]
    if count > 2 * arm:
        before = chain[arm:-arm] - chain[: -2 * arm]
        after = chain[2 * arm :] - chain[arm:-arm]
        turn = np.abs(np.arctan2(_cross(before, after), (before * after).sum(axis=1)))
        sharp = np.nonzero(turn > np.radians(38.0))[0]
        while len(sharp):
            peak = int(sharp[np.argmax(turn[sharp])])
            found.append(peak + arm)
            sharp = sharp[np.abs(sharp - peak) > max(2 * arm, 2 * tolerance_px)]
    return [*sorted(found), count - 1]


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _fitted(points: Array, tolerance_px: float, halvings: int) -> list[Segment]:
    start, end = points[0], points[-1]
    along = end - start
    size = float(np.hypot(*along))
    off = np.abs(_cross(along, points - start)) / max(size, 1e-9)
    if len(points) < 4 or off.max() <= tolerance_px:
        return [Line(_point(start), _point(end))] if size > 0 else []
    cubic, worst = _one_cubic(points)
    if worst <= tolerance_px or halvings == 0 or len(points) < 12:
        return [cubic]
    middle = len(points) // 2
    return [
        *_fitted(points[: middle + 1], tolerance_px, halvings - 1),
        *_fitted(points[middle:], tolerance_px, halvings - 1),
    ]


def _one_cubic(points: Array) -> tuple[Cubic, float]:
    """Least-squares cubic with fixed ends, parameters by length, and its greatest distance."""
    step = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    t = step / step[-1]
    outer = ((1 - t) ** 3)[:, None] * points[0] + (t**3)[:, None] * points[-1]
    inner = np.column_stack([3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t)])
    controls = np.linalg.lstsq(inner, points - outer, rcond=None)[0]
    worst = float(np.hypot(*(outer + inner @ controls - points).T).max())
    return Cubic(_point(points[0]), _point(controls[0]), _point(controls[1]), _point(points[-1])), worst


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
