"""From panes to the whole opening: out to where the wall begins, and down over the leaf of a door."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.facade.leaves import Leaf
from limewash.facade.panes import Box, PaneGroup
from limewash.facade.tracing import Kind
from limewash.facade.upright import Upright

Array = NDArray[np.float64]

_LEAF_SURENESS = 0.8
"""A plain leaf says less than panes do. [-]"""
_OTHER = 0.06
"""A difference of colour at which what lies beside a leaf is something else. [-]"""
_RIM_PX = 3
"""So near its edge the colours of both sides mix. [px]"""
LEAST_SEEN_PX = 1.5
"""A frame that shows less than this beside the glass was not found there. [px]"""


@dataclass(frozen=True, eq=False)
class Opening:
    """A window, door or garage door in the upright picture.

    Attributes
    ----------
    kind : Kind
    box : Box
        By its outer edge: boards around it belong to it. [px]
    half_round : bool
    legs_px : float
        Height of the upright sides below the round part. [px]
    sureness : float
        How surely it is what its panes or its leaf say, 0 to 1. [-]
    """

    kind: Kind
    box: Box
    half_round: bool
    legs_px: float
    sureness: float


def open_up(upright: Upright, group: PaneGroup) -> Opening | None:
    """The opening that a group of panes belongs to; None for a single pane of a window that is not seen whole."""
    box = group.box
    if box.width > 1.15 * box.height and not _is_round(group):
        leaf = _leaf(upright, box)
        if leaf is not None:
            return _door(upright, leaf, _sureness(group))
    if group.count == 1 and not _is_round(group) and not _stands_alone(upright, box):
        return None
    margins = _round_margins(upright, box) if _is_round(group) else _margins(upright, box)
    whole = box.grown(*margins)
    if _is_round(group):
        return _half_round(group, whole, margins)
    return Opening(Kind.WINDOW, whole, False, 0.0, _sureness(group))


def open_leaf(upright: Upright, leaf: Leaf) -> Opening | None:
    """The door that a plain leaf belongs to; None where neither beside it the wall begins.

    Boards of the leaf's own colour are within the leaf already: then the wall begins at once.
    """
    reach = _door_reach(upright, leaf.box)
    sides = [_margin(upright, leaf.box, side, reach) for side in ("left", "right")]
    if any(margin is not None for margin in sides):
        return _door(upright, leaf.box, _LEAF_SURENESS * leaf.fill)
    if not all(_wall_at_once(upright, leaf.box, side, reach) for side in ("left", "right")):
        return None
    return Opening(_door_kind(leaf.box), leaf.box, False, 0.0, _LEAF_SURENESS * leaf.fill)


def _wall_at_once(upright: Upright, leaf: Box, side: str, reach: float) -> bool:
    """Whether right beside a leaf something else begins and goes on."""
    profile = _profile(upright.colour, leaf, side, round(reach))[_RIM_PX:]
    rows, columns = slice(round(leaf.top), round(leaf.bottom)), slice(round(leaf.left), round(leaf.right))
    own, wall = np.median(upright.colour[rows, columns].reshape(-1, 3), axis=0), np.median(profile, axis=0)
    strays = float(np.median(np.linalg.norm(profile - wall, axis=1)))
    return bool(np.linalg.norm(wall - own) > max(_OTHER, 2.0 * strays))


def _door_kind(leaf: Box) -> Kind:
    return Kind.DOOR if leaf.height > 1.35 * leaf.width else Kind.GARAGE


def _sureness(group: PaneGroup) -> float:
    glass = group.fill / group.hull_fill  # within their own outline: a half disc cannot fill a box
    return (0.35 * glass + 0.25 * group.scan_share + 0.15 * min(group.count, 4) / 4) / 0.75


def _stands_alone(upright: Upright, box: Box) -> bool:
    """Whether a wall begins on at least three sides of a pane."""
    reach = _reach(upright, box)
    return sum(_margin(upright, box, way, reach) is not None for way in ("left", "top", "right", "bottom")) >= 3


def _reach(upright: Upright, box: Box) -> float:
    """How wide frame and boards may be. [px]"""
    return float(np.clip(0.4 * min(box.width, box.height), 8.0, 0.035 * upright.size[0]))


def _is_round(group: PaneGroup) -> bool:
    ratio = group.box.width / group.box.height
    return group.hull_fill < 0.89 and group.top_share < 0.75 and 1.4 < ratio < 2.9


def _half_round(group: PaneGroup, whole: Box, margins: tuple[float, float, float, float]) -> Opening:
    """The crown is round about the middle of the glass's foot, as wide as the whole opening."""
    side = 0.5 * (margins[0] + margins[2])
    radius = 0.5 * whole.width
    foot = group.box.bottom + side
    legs = max(foot - (whole.bottom - margins[3]) - 0.45 * side, 0.0)
    box = Box(whole.left, foot - legs - radius, whole.right, foot)
    return Opening(Kind.WINDOW, box, True, legs, _sureness(group))


def _margins(upright: Upright, box: Box) -> tuple[float, float, float, float]:
    """How far frame and boards reach beyond a box: left, top, right, bottom. [px]

    Boards are about as wide on all sides, so where something stands before one side the others tell.
    """
    reach = _reach(upright, box)
    left, top, right, bottom = (_margin(upright, box, way, reach) for way in ("left", "top", "right", "bottom"))
    plain = all(_margin(upright, box, way, reach, looks=(1.0,)) is not None for way in ("left", "right"))
    left, right = _sides(left, right, top, bottom, reach, plain=plain)
    side = 0.5 * (left + right)
    # A cornice or a sill does not belong to the frame: it makes these two look larger, never smaller.
    top, bottom = (m if m is not None and 0.6 * side < m < 1.1 * side else side for m in (top, bottom))
    return left, top, right, bottom


def _round_margins(upright: Upright, box: Box) -> tuple[float, float, float, float]:
    """As `_margins` for a half disc: beside its foot and above its crown."""
    reach = float(np.clip(0.4 * box.width, 8.0, 0.035 * upright.size[0]))
    foot = Box(box.left, box.bottom - 0.3 * box.height, box.right, box.bottom)
    middle = 0.5 * (box.left + box.right)
    crown = Box(middle - 0.12 * box.width, box.top, middle + 0.12 * box.width, box.bottom)
    left, right, bottom = (_margin(upright, foot, way, reach) for way in ("left", "right", "bottom"))
    left, right = _sides(left, right, _margin(upright, crown, "top", reach), bottom, reach, plain=False)
    left = right = side = min(left, right)  # a round frame is alike all around; stones about it make it look wider
    return left, side, right, bottom if bottom is not None and 0.6 * side < bottom < 1.6 * side else side


def _sides(
    left: float | None, right: float | None, top: float | None, bottom: float | None, reach: float, *, plain: bool
) -> tuple[float, float]:
    """Left and right. A frame that lies back in the wall shows the wall's depth on one side and is hidden on the other.

    That is believed where both are `plain`: nothing but wall beyond them. What stands before one side makes it look
    far wider, or leaves it without an end: then the others tell.
    """
    usual = 0.25 * reach
    if left is None or right is None:
        known = [m for m in (left, right) if m is not None and m > 0.5 * usual]
        known = known or [m for m in (top, bottom) if m is not None and m > 0.5 * usual]
        both = min(known, default=usual)
        return both, both
    believed = plain and min(left, right) >= LEAST_SEEN_PX and max(left, right) <= 0.7 * reach
    if max(left, right) > 1.9 * min(left, right) and not believed:
        both = min(left, right) if min(left, right) > 0.5 * usual else max(left, right)
        return both, both
    return left, right


def _margin(
    upright: Upright, box: Box, side: str, reach: float, looks: tuple[float, ...] = (1.0, 0.7, 0.5)
) -> float | None:
    """Distance from a side at which the wall begins for good; None if nothing like a wall is reached. [px]

    Where something else begins within the reach, a shorter look may still end on the wall.
    """
    whole = _profile(upright.colour, box, side, round(reach))
    found = (_wall_begins(whole[: max(round(share * len(whole)), 6)]) for share in looks)
    return next((margin for margin in found if margin is not None), None)


def _wall_begins(profile: Array) -> float | None:
    tail = max(len(profile) // 4, 3)
    wall = np.median(profile[-tail:], axis=0)
    apart = np.linalg.norm(profile - wall, axis=1)
    # Bricks and boards differ among themselves: what the wall itself does, no frame need have done.
    limit = max(0.045 * float(np.linalg.norm(wall)), 1.5 * float(np.percentile(apart[-tail:], 80.0, method="lower")))
    different = np.nonzero(_without_specks(apart > limit))[0]
    if not len(different) or different[-1] >= len(profile) - tail:
        return None
    return float(different[-1] + 1)


def _without_specks(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Grooves between boards, a pixel or two wide, are no boundary."""
    opened = cv2.morphologyEx(mask.astype(np.uint8)[None], cv2.MORPH_OPEN, np.ones((1, 3), np.uint8))
    return np.asarray(opened[0] > 0)


def _profile(colour: NDArray[np.float32], box: Box, side: str, reach: int) -> Array:
    """Typical colours (reach, 3) outwards from a side, over its middle part."""
    height, width = colour.shape[:2]
    inset_x, inset_y = 0.15 * box.width, 0.15 * box.height
    columns = slice(max(round(box.left + inset_x), 0), max(round(box.right - inset_x), 1))
    rows = slice(max(round(box.top + inset_y), 0), max(round(box.bottom - inset_y), 1))
    steps = np.arange(reach)
    if side in ("left", "right"):
        at = np.clip(box.left - 1 - steps if side == "left" else box.right + steps, 0, width - 1).astype(np.intp)
        return np.asarray(np.median(colour[rows, at], axis=0), dtype=np.float64)
    at = np.clip(box.top - 1 - steps if side == "top" else box.bottom + steps, 0, height - 1).astype(np.intp)
    return np.asarray(np.median(colour[at, columns], axis=1), dtype=np.float64)


def _leaf(upright: Upright, panes: Box) -> Box | None:
    """The leaf of one colour that a row of panes is set in, if it goes on well below them."""
    colour, lit = upright.colour, upright.lit
    height, width = lit.shape
    gap = max(round(0.2 * panes.height), 2)
    columns = slice(round(panes.left), round(panes.right))
    below = slice(round(panes.bottom) + gap, min(round(panes.bottom + 2.0 * panes.height), height))
    tone = np.median(colour[below, columns].reshape(-1, 3), axis=0)
    spread = float(np.median(np.linalg.norm(colour[below, columns].reshape(-1, 3) - tone, axis=1)))
    limit = float(np.clip(3.0 * spread, 0.045, 0.07))
    same = (np.linalg.norm(colour - tone, axis=-1) < limit) & lit
    rows = same[:, columns].mean(axis=1) > 0.55
    bottom = _run(rows, round(panes.bottom) + gap, 1, round(0.02 * width))
    if bottom - panes.bottom < 1.5 * panes.height:
        return None
    strip = same[round(panes.bottom) + gap : bottom].mean(axis=0) > 0.5
    left = _run(strip, round(panes.left) + 2, -1, round(0.012 * width))
    right = _run(strip, round(panes.right) - 2, 1, round(0.012 * width))
    top = _run(rows, round(panes.top) - 2, -1, 2)
    if not panes.width <= right - left < 2.6 * panes.width:
        return None  # a plain wall below a window is no leaf
    return Box(left, min(top, panes.top), right + 1, bottom + 1)


def _run(mask: NDArray[np.bool_], start: int, step: int, most_gap: int) -> int:
    """Last place that is set, walking from `start` over gaps of at most `most_gap`."""
    last, at, gap = start, start, 0
    while 0 <= at < len(mask) and gap <= most_gap:
        if mask[at]:
            last, gap = at, 0
        else:
            gap += 1
        at += step
    return last


def _door(upright: Upright, leaf: Box, sureness: float) -> Opening:
    """Boards around a leaf are sought beside its upper half, where bushes and rails seldom stand."""
    reach = _door_reach(upright, leaf)
    upper = Box(leaf.left, leaf.top, leaf.right, leaf.top + 0.5 * leaf.height)
    sides = [m for m in (_margin(upright, upper, side, reach) for side in ("left", "right")) if m is not None]
    side = min(sides, default=min(0.1 * leaf.width, 0.006 * upright.size[0]))
    top = _margin(upright, upper, "top", reach)
    top = top if top is not None and 0.5 * side < top < 1.6 * side else side
    return Opening(_door_kind(leaf), leaf.grown(side, top, side, 0.0), False, 0.0, sureness)


def _door_reach(upright: Upright, leaf: Box) -> float:
    return float(np.clip(0.45 * leaf.width, 8.0, 0.03 * upright.size[0]))
