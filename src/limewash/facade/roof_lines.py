"""Roof lines of an upright picture: gables and eaves, from straight edges with darkness above them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.facade.panes import Box
from limewash.facade.upright import Upright, find_lines

Array = NDArray[np.float64]

_STEEPEST_RAD = np.radians(65.0)
_FLATTEST_RAD = np.radians(12.0)
_LEVEL_RAD = np.radians(2.5)


@dataclass(frozen=True, eq=False)
class RoofLine:
    """A chain of points (2 or 3, from the left) in the upright picture, and how sure it is, 0 to 1. [px]"""

    points: Array
    confidence: float


def find_roof_lines(upright: Upright, openings: Sequence[Box]) -> list[RoofLine]:
    """Gables and level eaves, the surest first; an eave is one only if an opening lies below it."""
    width = upright.size[0]
    light = (np.clip(upright.colour.max(axis=-1), 0.0, 1.0) * 255).astype(np.uint8)
    pieces = _leftmost_first(find_lines(light, 0.012 * width))
    pieces = pieces[[_is_lit_below(upright, line) for line in pieces]] if len(pieces) else pieces
    lines = _merged(pieces, width)
    gables = _gables(lines, width)
    eaves = [line for line in _eaves(lines, width) if _is_over(line, openings)]
    eaves = [line for line in eaves if not any(_touches(line, gable) for gable in gables)]
    return sorted([*gables, *eaves], key=lambda roof: -roof.confidence)


def _is_over(eave: RoofLine, openings: Sequence[Box]) -> bool:
    """Whether an opening lies below the line, and none across it."""
    (left, y0), (right, y1) = eave.points
    y = 0.5 * (y0 + y1)
    beside = [box for box in openings if min(right, box.right) - max(left, box.left) > 0.5 * box.width]
    return any(box.top > y for box in beside) and not any(box.top + 3.0 < y < box.bottom + 3.0 for box in beside)


def _leftmost_first(lines: Array) -> Array:
    turned = lines[:, 0] > lines[:, 2]
    lines = lines.copy()
    lines[turned] = lines[turned][:, [2, 3, 0, 1]]
    return lines


def _merged(lines: Array, width: int) -> Array:
    """Pieces of one straight edge, joined over gaps."""
    order = np.argsort(-np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1]))
    kept: list[Array] = []
    for line in lines[order]:
        for i, other in enumerate(kept):
            if _continues(line, other, width):
                ends = np.concatenate([line.reshape(2, 2), other.reshape(2, 2)])
                kept[i] = np.concatenate([ends[ends[:, 0].argmin()], ends[ends[:, 0].argmax()]])
                break
        else:
            kept.append(line)
    return np.array(kept).reshape(-1, 4)


def _continues(line: Array, other: Array, width: int) -> bool:
    u, v = _along(line), _along(other)
    if abs(u[0] * v[1] - u[1] * v[0]) > np.sin(np.radians(1.5)):
        return False
    off = [abs(float((end - other[:2]) @ np.array([-v[1], v[0]]))) for end in line.reshape(2, 2)]
    if max(off) > 0.0022 * width:
        return False
    gap = max(line[0], other[0]) - min(line[2], other[2])
    return bool(gap < 0.025 * width)


def _along(line: Array) -> Array:
    d = line[2:] - line[:2]
    return np.asarray(d / max(float(np.hypot(*d)), 1e-9))


def _is_lit_below(upright: Upright, line: Array) -> bool:
    """Whether a lit surface lies below the line, and something darker, or nothing, above."""
    width = upright.size[0]
    u = _along(line)
    down = np.array([-u[1], u[0]])
    length = float(np.hypot(*(line[2:] - line[:2])))
    at = line[:2] + np.linspace(0.08, 0.92, max(int(length / 2), 8))[:, None] * (line[2:] - line[:2])
    below = _median_light(upright, at, down, np.linspace(0.0015, 0.005, 4) * width)
    above = _median_light(upright, at, -down, np.linspace(0.0025, 0.010, 5) * width)
    lit = _share_lit(upright, at + 0.004 * width * down)
    # Slanted edges are rare on a house and come in pairs, so little contrast will do.
    most = 0.75 if abs(u[1]) < np.sin(_FLATTEST_RAD) else 0.95
    return lit > 0.7 and below > 0.3 and above < most * below


def _median_light(upright: Upright, at: Array, way: Array, far: Array) -> float:
    spots = (at[:, None] + far[None, :, None] * way).reshape(-1, 2)
    x = np.clip(np.round(spots[:, 0]), 0, upright.size[0] - 1).astype(np.intp)
    y = np.clip(np.round(spots[:, 1]), 0, upright.size[1] - 1).astype(np.intp)
    return float(np.median(upright.colour[y, x].mean(axis=-1)))


def _share_lit(upright: Upright, at: Array) -> float:
    x = np.clip(np.round(at[:, 0]), 0, upright.size[0] - 1).astype(np.intp)
    y = np.clip(np.round(at[:, 1]), 0, upright.size[1] - 1).astype(np.intp)
    return float(upright.lit[y, x].mean())


def _gables(lines: Array, width: int) -> list[RoofLine]:
    """Pairs of rising and falling edges that meet at the top, each edge used once."""
    if not len(lines):
        return []
    angle = np.arctan2(lines[:, 3] - lines[:, 1], lines[:, 2] - lines[:, 0])
    length = np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])
    long = length > 0.035 * width
    rising = np.nonzero(long & (angle > -_STEEPEST_RAD) & (angle < -_FLATTEST_RAD))[0]
    falling = np.nonzero(long & (angle > _FLATTEST_RAD) & (angle < _STEEPEST_RAD))[0]
    pairs = []
    for i in rising:
        for j in falling:
            peak = _peak(lines[i], lines[j])
            if peak is None or abs(angle[i] + angle[j]) > np.radians(7.0):
                continue
            short, tall = sorted((length[i], length[j]))
            gap = max(np.hypot(*(lines[i][2:] - peak)), np.hypot(*(lines[j][:2] - peak)))
            if short < 0.4 * tall or gap > 0.22 * tall + 0.008 * width:
                continue
            likeness = short / tall * (1.0 - abs(angle[i] + angle[j]) / np.radians(14.0))
            pairs.append((float(likeness * (short + tall)), i, j, peak))
    found: list[RoofLine] = []
    used: list[int] = []
    for score, i, j, peak in sorted(pairs, key=lambda pair: -pair[0]):
        points = np.array([lines[i][:2], peak, lines[j][2:]])
        if i in used or j in used or any(_is_same(points, other.points, width) for other in found):
            continue
        used += [int(i), int(j)]
        found.append(RoofLine(points, float(np.clip(0.55 + score / (0.6 * width), 0.0, 0.97))))
    return found


def _peak(left: Array, right: Array) -> Array | None:
    """Where two edges meet, if above both and between them."""
    u, v = left[2:] - left[:2], right[2:] - right[:2]
    turn = float(u[0] * v[1] - u[1] * v[0])
    if abs(turn) < 1e-6:
        return None
    d = right[:2] - left[:2]
    peak = left[:2] + u * float(d[0] * v[1] - d[1] * v[0]) / turn
    is_between = left[0] + 0.5 * u[0] < peak[0] < right[2] - 0.5 * v[0]
    return np.asarray(peak) if is_between else None


def _is_same(points: Array, other: Array, width: int) -> bool:
    """A bargeboard has several edges, one below the other: the surest stands for all."""
    peaks_apart = abs(points[1, 0] - other[1, 0])
    return bool(peaks_apart < 0.03 * width and abs(points[1, 1] - other[1, 1]) < 0.06 * width)


def _eaves(lines: Array, width: int) -> list[RoofLine]:
    if not len(lines):
        return []
    angle = np.arctan2(lines[:, 3] - lines[:, 1], lines[:, 2] - lines[:, 0])
    length = np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])
    found: list[RoofLine] = []
    for i in np.argsort(-length):
        if abs(angle[i]) > _LEVEL_RAD or length[i] < 0.14 * width:
            continue
        points = lines[i].reshape(2, 2)
        near = [o for o in found if abs(o.points[:, 1].mean() - points[:, 1].mean()) < 0.04 * width]
        if not near:
            found.append(RoofLine(points, float(np.clip(0.45 + length[i] / width, 0.0, 0.9))))
    return found


def _touches(eave: RoofLine, gable: RoofLine) -> bool:
    """Whether an eave is only the foot of a gable's triangle."""
    triangle = gable.points.astype(np.float32).reshape(-1, 1, 2)
    middle = eave.points.mean(axis=0)
    return cv2.pointPolygonTest(triangle, (float(middle[0]), float(middle[1])), measureDist=False) >= 0
