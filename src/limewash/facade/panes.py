"""Window panes in an upright picture: dark, of clean outline, and without an answer to the scan."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.facade.upright import Upright

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

DARK_SHARE = 0.3
"""Glass is darker than this share of the lit wall around it."""


@dataclass(frozen=True, eq=False)
class Box:
    """Upright rectangle by the outer edges of its pixels. [px]"""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    def grown(self, left: float, top: float, right: float, bottom: float) -> Box:
        return Box(self.left - left, self.top - top, self.right + right, self.bottom + bottom)

    def overlaps(self, other: Box) -> bool:
        """Whether both share more than three tenths of this one's width and of its height."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return across > 0.3 * self.width and down > 0.3 * self.height

    def joined(self, other: Box) -> Box:
        return Box(min(self.left, other.left), min(self.top, other.top),
                   max(self.right, other.right), max(self.bottom, other.bottom))  # fmt: skip


@dataclass(frozen=True, eq=False)
class PaneGroup:
    """Panes that belong to one opening.

    Attributes
    ----------
    box : Box
        Around all of them.
    count : int
    fill : float
        Share of the box that is glass.
    hull_fill : float
        Share of the box that their convex hull covers: 1 for a rectangle, 0.79 for a half disc.
    top_share : float
        Width of the hull near its top as a share of the box.
    scan_share : float
        Share of the glass that did not answer the scan.
    """

    box: Box
    count: int
    fill: float
    hull_fill: float
    top_share: float
    scan_share: float


def find_panes(upright: Upright, *, scanned: bool) -> list[PaneGroup]:
    """Groups of panes, from left to right."""
    mask = glass(upright, scanned=scanned)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    width = upright.size[0]
    boxes, numbers = [], []
    for n in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[n])
        if area < (0.0035 * width) ** 2 or min(w, h) < 0.003 * width or max(w, h) > 0.14 * width:
            continue
        if not 0.12 < w / h < 9.0 or area < 0.4 * w * h or x == 0 or y == 0:
            continue
        boxes.append(Box(x, y, x + w, y + h))
        numbers.append(n)
    groups = []
    for members in _gathered(boxes, 0.022 * width):
        inside = np.isin(labels, [numbers[i] for i in members])
        box = boxes[members[0]]
        for i in members[1:]:
            box = box.joined(boxes[i])
        groups.append(_group(box, inside, upright.lit, len(members)))
    return sorted((g for g in groups if _is_plausible(g, width)), key=lambda g: g.box.left)


def glass(upright: Upright, *, scanned: bool) -> Mask:
    """Where glass may be."""
    light = upright.colour.max(axis=-1) ** 2.2
    width = upright.size[0]
    window = 2 * round(0.05 * width) + 1
    # The typical light of the wall around, from lit places only.
    bright = upright.lit & (light > 0.02) if scanned else upright.inside
    weight = cv2.blur(bright.astype(np.float32), (window, window))
    around = cv2.blur(np.where(bright, light, 0.0).astype(np.float32), (window, window)) / np.maximum(weight, 1e-6)
    dark = (light < DARK_SHARE * around) & (weight > 0.25) & upright.inside
    mask = dark & ~upright.lit if scanned else dark
    return cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)) > 0


def _gathered(boxes: list[Box], most_px: float) -> list[list[int]]:
    """Indices of boxes that are neighbours in a row or a column, or overlap."""
    parent = list(range(len(boxes)))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    for i, a in enumerate(boxes):
        for j in range(i):
            if _are_neighbours(a, boxes[j], most_px):
                parent[root(i)] = root(j)
    groups: dict[int, list[int]] = {}
    for i in range(len(boxes)):
        groups.setdefault(root(i), []).append(i)
    return list(groups.values())


def _are_neighbours(a: Box, b: Box, most_px: float) -> bool:
    gap_x = max(a.left, b.left) - min(a.right, b.right)
    gap_y = max(a.top, b.top) - min(a.bottom, b.bottom)
    beside = gap_y < -0.4 * min(a.height, b.height) and gap_x < min(most_px, 0.75 * max(a.width, b.width))
    above = gap_x < -0.4 * min(a.width, b.width) and gap_y < min(0.6 * most_px, 0.5 * max(a.height, b.height))
    touching = gap_x < 0.25 * most_px and gap_y < 0.25 * most_px
    return beside or above or touching


def _group(box: Box, glass_mask: Mask, lit: Mask, count: int) -> PaneGroup:
    rows = slice(int(box.top), int(box.bottom))
    columns = slice(int(box.left), int(box.right))
    part = glass_mask[rows, columns]
    y, x = np.nonzero(part)
    corners = np.concatenate([np.column_stack([x + dx, y + dy]) for dx in (0, 1) for dy in (0, 1)])
    hull = cv2.convexHull(corners.astype(np.float32))
    size = part.shape[0] * part.shape[1]
    top = x[y < max(1, round(0.12 * part.shape[0]))]
    return PaneGroup(
        box=box,
        count=count,
        fill=float(part.mean()),
        hull_fill=float(cv2.contourArea(hull)) / size,
        top_share=float(np.ptp(top) + 1) / part.shape[1] if len(top) else 0.0,
        scan_share=float((~lit[rows, columns])[part].mean()),
    )


def _is_plausible(group: PaneGroup, width: int) -> bool:
    box = group.box
    is_box = group.fill > 0.5 and group.hull_fill > 0.88
    is_half_disc = 0.7 < group.hull_fill < 0.89 and group.fill > (0.4 if group.count >= 3 else 0.55)
    if not (is_box or is_half_disc):
        return False
    if min(box.width, box.height) < 0.012 * width:
        return False
    return group.count > 1 or 0.3 < box.width / box.height < 3.0
