"""The photo as if one stood straight before the wall: plumb lines upright, level lines level."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.geometry.homography import apply_homography
from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

WIDTH_PX = 1280
_LEAN_RAD = np.radians(14.0)
"""Lines that lean more on the picture's axes are no level or plumb ones."""


@dataclass(frozen=True, eq=False)
class Upright:
    """An upright picture of the house and the way to it.

    Attributes
    ----------
    colour : ndarray of float32, shape (h, w, 3)
        R, G, B as encoded in the photo, 0 to 1.
    lit : ndarray of bool, shape (h, w)
        Where the scan reached; everywhere without a scan.
    inside : ndarray of bool, shape (h, w)
        Where the photo is.
    to_upright : ndarray of shape (3, 3)
        Homography from photo pixels.
    scale : float
        Pixels of this picture for one of the photo, in its middle. [-]
    """

    colour: Picture
    lit: NDArray[np.bool_]
    inside: NDArray[np.bool_]
    to_upright: Array
    scale: float

    @property
    def size(self) -> tuple[int, int]:
        height, width = self.lit.shape
        return width, height

    @property
    def to_upright_at_scale(self) -> Array:
        """The same homography without the picture's reduction: lengths in the middle stay about what they are."""
        grown = np.diag([1.0 / self.scale, 1.0 / self.scale, 1.0])
        return np.asarray(grown @ self.to_upright)

    def to_photo(self, points: Array) -> Array:
        """Points (N, 2) of the upright picture in photo pixels."""
        return apply_homography(np.asarray(np.linalg.inv(self.to_upright)), points)


def find_lines(grey: NDArray[np.uint8], shortest_px: float) -> Array:
    """Straight edges of a picture, (N, 4): x0, y0, x1, y1. [px]"""
    found = cv2.createLineSegmentDetector().detect(grey)[0]
    if found is None:
        return np.empty((0, 4))
    lines = np.asarray(found, dtype=np.float64).reshape(-1, 4)
    return lines[np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1]) >= shortest_px]


def make_upright(photo: NDArray[np.uint8], correspondence: Correspondence | None) -> Upright:
    """Turn a photo (H, W, 3) upright by the vanishing points of its own lines, and the scan's cover with it."""
    scale = min(WIDTH_PX / photo.shape[1], 1.0)
    small = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    shrink = np.array([[scale, 0.0, 0.5 * scale - 0.5], [0.0, scale, 0.5 * scale - 0.5], [0.0, 0.0, 1.0]])
    grey = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    turn = _turning(find_lines(grey, 0.02 * small.shape[1]), grey.shape)
    shift, size = _frame(turn, (small.shape[1], small.shape[0]))
    whole = shift @ turn
    colour = cv2.warpPerspective(small, whole, size, flags=cv2.INTER_LINEAR).astype(np.float32) / 255.0
    inside = cv2.warpPerspective(np.ones(small.shape[:2], np.uint8), whole, size, flags=cv2.INTER_NEAREST) > 0
    to_upright = whole @ shrink
    lit = inside if correspondence is None else _cover(correspondence, to_upright, size)
    return Upright(colour, lit, inside, to_upright, scale)


def _turning(lines: Array, shape: tuple[int, ...]) -> Array:
    """Homography that makes plumb lines upright and level lines level, of about scale 1 in the middle."""
    height, width = shape
    centre = np.array([(width - 1) / 2.0, (height - 1) / 2.0])
    norm = np.array([[1.0 / width, 0.0, -centre[0] / width], [0.0, 1.0 / width, -centre[1] / width], [0.0, 0.0, 1.0]])
    ends = (lines.reshape(-1, 2, 2) - centre) / width
    angle = np.arctan2(ends[:, 1, 1] - ends[:, 0, 1], ends[:, 1, 0] - ends[:, 0, 0])
    level = _vanishing(ends[np.abs(np.sin(angle)) < np.sin(_LEAN_RAD)], np.array([1.0, 0.0, 0.0]))
    plumb = _vanishing(ends[np.abs(np.cos(angle)) < np.sin(_LEAN_RAD)], np.array([0.0, 1.0, 0.0]))
    # Columns x must vanish for points on plumb lines through the middle, rows y for level ones.
    middle = np.array([0.0, 0.0, 1.0])
    horizon = np.cross(level, plumb)
    rows = np.stack([np.cross(plumb, middle), np.cross(level, middle), horizon])
    rows /= horizon[2]
    rows[0] /= rows[0, 0]
    rows[1] /= rows[1, 1]
    return np.asarray(np.linalg.inv(norm) @ rows @ norm)


def _vanishing(ends: Array, usual: Array) -> Array:
    """Common point of lines (N, 2, 2), with doubt: far lines count less and few lines leave it at infinity."""
    if len(ends) < 8:
        return usual
    p, q = (np.concatenate([ends[:, k], np.ones((len(ends), 1))], axis=1) for k in (0, 1))
    normal = np.cross(p, q)
    length = np.hypot(normal[:, 0], normal[:, 1])
    normal /= np.maximum(length, 1e-12)[:, None]
    point, weight = usual, length
    for _ in range(12):
        scatter = (normal * weight[:, None]).T @ normal + 0.002 * weight.sum() * (np.eye(3) - np.outer(usual, usual))
        point = np.linalg.eigh(scatter)[1][:, 0]
        point = point * np.sign(point @ usual)
        middle = 0.5 * (p + q)
        toward = point[:2] - point[2] * middle[:, :2]
        along = (q - p)[:, :2]
        lean = np.abs(toward[:, 0] * along[:, 1] - toward[:, 1] * along[:, 0])
        lean /= np.hypot(*toward.T) * np.hypot(*along.T) + 1e-12
        weight = length / (1.0 + (lean / np.radians(1.0)) ** 2) ** 2
    return np.asarray(point)


def _frame(turn: Array, size: tuple[int, int]) -> tuple[Array, tuple[int, int]]:
    """Shift and size of a picture that holds the turned one, cut where perspective would blow it up."""
    width, height = size
    corners = np.array([[0.0, 0.0], [width - 1.0, 0.0], [width - 1.0, height - 1.0], [0.0, height - 1.0]])
    moved = apply_homography(turn, corners)
    spare = 0.15 * np.array([width, height])
    low = np.maximum(moved.min(axis=0), -spare)
    high = np.minimum(moved.max(axis=0), np.array([width, height]) + spare)
    shift = np.array([[1.0, 0.0, -low[0]], [0.0, 1.0, -low[1]], [0.0, 0.0, 1.0]])
    return shift, (int(high[0] - low[0]) + 1, int(high[1] - low[1]) + 1)


def _cover(correspondence: Correspondence, to_upright: Array, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Where samples of the scan land, gaps of a pixel or two closed."""
    rows, columns = np.nonzero(correspondence.seen)
    camera = np.column_stack([correspondence.camera_x[rows, columns], correspondence.camera_y[rows, columns]])
    at = np.round(apply_homography(to_upright, camera)).astype(np.intp)
    inside = (at >= 0).all(axis=1) & (at[:, 0] < size[0]) & (at[:, 1] < size[1])
    cover = np.zeros((size[1], size[0]), dtype=np.uint8)
    cover[at[inside, 1], at[inside, 0]] = 1
    return cv2.morphologyEx(cover, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) > 0
