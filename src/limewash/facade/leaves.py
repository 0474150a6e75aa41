"""Doors without glass in an upright picture: a leaf of one colour that reaches down to where the wall ends."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.facade.panes import Box
from limewash.facade.upright import Upright

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

LEAST_FILL = 0.88
"""A leaf, with what is within it, fills so much of its box. [-]"""
_SEED_PX = 10
_LIKE = 0.055
"""How far the light may stray on a leaf, as encoded: shade and the slopes of panels. [-]"""
_PLAIN = 0.025
_DARKEST = 0.12
_BRIDGED_PX = (1, 3, 7)
"""Joints between panels are bridged, but what parts a leaf from boards beside it may be as narrow as a joint. [px]"""
_LARGEST = 0.2
"""Nothing wider or higher than this is a door, as a share of the picture's width. [-]"""
_WALL_GOES_ON = 0.06
"""A difference of colour at which what lies below is no longer taken for the wall. [-]"""


@dataclass(frozen=True, eq=False)
class Leaf:
    """One plain upright rectangle.

    Attributes
    ----------
    box : Box
        [px]
    fill : float
        Share of the box that is of the leaf's colour. [-]
    """

    box: Box
    fill: float


def find_leaves(upright: Upright) -> list[Leaf]:
    """Plain rectangles of a door's shape below which the wall does not go on; of those that overlap, the largest."""
    soft = cv2.medianBlur((np.clip(upright.colour, 0.0, 1.0) * 255.0).astype(np.uint8), 3)
    colour = soft.astype(np.float32) / np.float32(255.0)
    found = [leaf for leaf in _rectangles(upright, colour) if _stands_on_ground(colour, leaf.box)]
    kept: list[Leaf] = []
    for leaf in sorted(found, key=lambda one: -one.box.width * one.box.height):
        if not any(leaf.box.overlaps(other.box) for other in kept):
            kept.append(leaf)
    return kept


def _rectangles(upright: Upright, colour: Picture) -> list[Leaf]:
    """Around seeds on plain lit places: all of the seed's colour that hangs together, where it fills its box."""
    width, height = upright.size
    tried = np.zeros((height, width), dtype=np.bool_)
    found = []
    for y in range(height // 4, height - _SEED_PX, _SEED_PX):
        for x in range(_SEED_PX, width - _SEED_PX, _SEED_PX):
            patch = colour[y - 4 : y + 5, x - 4 : x + 5].reshape(-1, 3)
            tone = np.asarray(np.median(patch, axis=0), dtype=np.float64)
            plain = np.median(np.linalg.norm(patch - tone, axis=1)) <= _PLAIN and tone.max() >= _DARKEST
            if tried[y, x] or not plain or not upright.lit[y - 3 : y + 4, x - 3 : x + 4].all():
                continue
            found += _around(colour, (x, y), tone, tried)
    return found


def _around(colour: Picture, seed: tuple[int, int], tone: Array, tried: NDArray[np.bool_]) -> list[Leaf]:
    """Leaves that a seed may lie on, by narrow and wide bridges.

    What the widest bridges reach is marked as tried: looked at piece by piece, walls give doors that are none.
    """
    height, width = tried.shape
    reach = round(_LARGEST * width)
    left, top = max(seed[0] - reach, 0), max(seed[1] - reach, 0)
    part = (slice(top, min(seed[1] + reach, height)), slice(left, min(seed[0] + reach, width)))
    same = (np.linalg.norm(colour[part] - tone, axis=-1) < _LIKE).astype(np.uint8)
    found = []
    for bridged in _BRIDGED_PX:
        piece = _piece(same, (seed[0] - left, seed[1] - top), bridged)
        x, y, w, h = cv2.boundingRect(piece)
        if bridged == max(_BRIDGED_PX):
            tried[part] |= piece > 0
        if min(x, y) == 0 or x + w == same.shape[1] or y + h == same.shape[0] or w == 0:
            continue  # nothing, or it runs out of what is looked at
        leaf = Leaf(Box(left + x, top + y, left + x + w, top + y + h), _filled(piece > 0) / (w * h))
        if _is_like_a_door(leaf, (width, height)):
            found.append(leaf)
    return found


def _piece(same: NDArray[np.uint8], seed: tuple[int, int], bridged_px: int) -> NDArray[np.uint8]:
    """All that hangs together with a place, over bridges, without what hangs on by a thread."""
    wide, thread = np.ones((bridged_px, bridged_px), np.uint8), np.ones((max(bridged_px, 3),) * 2, np.uint8)
    whole = cv2.morphologyEx(cv2.morphologyEx(same, cv2.MORPH_CLOSE, wide), cv2.MORPH_OPEN, thread)
    labels = cv2.connectedComponents(whole, connectivity=4)[1]
    label = labels[seed[1], seed[0]]
    return np.asarray((labels == label) & (label > 0), dtype=np.uint8)


def _filled(piece: NDArray[np.bool_]) -> int:
    """Pixels of a piece with its holes: panels of another shade, a letter slot, a wreath."""
    outlines, _ = cv2.findContours(piece.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    whole = np.zeros(piece.shape, dtype=np.uint8)
    cv2.drawContours(whole, outlines, -1, 1, cv2.FILLED)
    return int(whole.sum())


def _is_like_a_door(leaf: Leaf, size: tuple[int, int]) -> bool:
    """A door is upright, a garage door lies; both are larger than a shutter and fill their outline."""
    box = leaf.box
    shape = 0.5 < box.height / box.width < 1.0 or 1.6 < box.height / box.width < 3.2
    return shape and leaf.fill >= LEAST_FILL and box.width > 0.025 * size[0] and box.height > 0.08 * size[1]


def _stands_on_ground(colour: Picture, box: Box) -> bool:
    """Whether what lies below is neither the leaf itself nor the wall beside it, as below windows and shutters."""
    gap, deep = 0.04 * box.height, 0.12 * box.height
    inset = 0.15 * box.width
    below = _tone(colour, Box(box.left + inset, box.bottom + gap, box.right - inset, box.bottom + deep))
    rows = (box.top + 0.3 * box.height, box.top + 0.7 * box.height)
    near, far = (0.3, 0.6) if box.height > box.width else (0.12, 0.25)
    sides = [
        _tone(colour, Box(box.left - far * box.width, rows[0], box.left - near * box.width, rows[1])),
        _tone(colour, Box(box.right + near * box.width, rows[0], box.right + far * box.width, rows[1])),
        _tone(colour, box),
    ]
    return below is not None and all(
        side is not None and float(np.linalg.norm(below - side)) > _WALL_GOES_ON for side in sides
    )


def _tone(colour: Picture, box: Box) -> Array | None:
    """The middle colour of a part of the picture; None outside it."""
    height, width = colour.shape[:2]
    part = colour[
        max(round(box.top), 0) : min(round(box.bottom), height), max(round(box.left), 0) : min(round(box.right), width)
    ]
    return np.asarray(np.median(part.reshape(-1, 3), axis=0), dtype=np.float64) if part.size else None
