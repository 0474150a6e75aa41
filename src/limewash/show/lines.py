"""For every pixel, the nearest point of a set of outlines: how far, and where along which one."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.facade.map import MapPath
from limewash.jit import kernel
from limewash.show.wall import Field, Wall

Index = NDArray[np.int32]

_SHORTEST_PX, _LONGEST_PX = 0.75, 12.0


@dataclass(frozen=True, eq=False)
class Outline:
    """One outline of a set.

    Attributes
    ----------
    id : str
        As in the tracing.
    points_px : ndarray of shape (N, 2)
        Its corners; a closed one returns to its start. [px]
    along_m : ndarray of shape (N,)
        Length from the start to each corner, on the wall. [m]
    """

    id: str
    closed: bool
    points_px: NDArray[np.float64]
    along_m: NDArray[np.float64]

    @property
    def length_m(self) -> float:
        return float(self.along_m[-1])


@dataclass(frozen=True, eq=False)
class LineFields:
    """Fields of shape (H, W) about the nearest of `outlines`.

    Attributes
    ----------
    outlines : tuple of Outline
    which : ndarray of int32
        Index into `outlines`.
    away_px : ndarray of float32
        Distance to it, exact; half-way between two outlines the farther may be taken, by at most 2 %. [px]
    along_m : ndarray of float32
        Length along it up to the nearest point. [m]
    share : ndarray of float32
        The same as a share of its whole length, 0 to 1.
    above : ndarray of float32
        How far up in the picture the pixel lies from that point, as a share of `away_px`: 1 right above,
        0 beside, -1 right below.
    level : ndarray of float32
        1 where the outline runs level in the picture, 0 where it runs upright.
    """

    outlines: tuple[Outline, ...]
    which: Index
    away_px: Field
    along_m: Field
    share: Field
    above: Field
    level: Field


def outline_of(path: MapPath, wall: Wall) -> Outline:
    """A path of the map with its length measured on the wall."""
    points = path.points
    if path.closed:
        points = np.vstack([points, points[:1]])
    points = _in_even_pieces(points)
    steps = np.hypot(*np.diff(wall.at(points), axis=0).T)
    return Outline(path.id, path.closed, points, np.concatenate([[0.0], np.cumsum(steps)]))


def line_fields(outlines: tuple[Outline, ...], size: tuple[int, int]) -> LineFields:
    """Compute the fields for a picture of `size` (width, height) [px]; at least one outline."""
    start = np.concatenate([o.points_px[:-1] for o in outlines])
    end = np.concatenate([o.points_px[1:] for o in outlines])
    begin_m = np.concatenate([o.along_m[:-1] for o in outlines])
    finish_m = np.concatenate([o.along_m[1:] for o in outlines])
    counts = np.array([len(o.points_px) - 1 for o in outlines])
    first = np.concatenate([[0], np.cumsum(counts)])
    which = np.repeat(np.arange(len(outlines)), counts).astype(np.int32)
    closed = np.array([o.closed for o in outlines])
    pieces = np.column_stack([start, end, begin_m, finish_m]).astype(np.float32)
    labels, piece_of_label = _nearest_drawn(start, end, size)
    out = [np.empty((size[1], size[0]), dtype=np.float32) for _ in range(4)]
    near = np.empty((size[1], size[0]), dtype=np.int32)
    _measure(labels, piece_of_label, pieces, which, first.astype(np.int32), closed, near, *out)
    away_px, along_m, above, level = out
    lengths = np.array([max(o.length_m, 1e-6) for o in outlines], dtype=np.float32)
    share = np.minimum(along_m / lengths[near], np.float32(1.0))
    return LineFields(outlines, near, away_px, along_m, share, above, level)


def _in_even_pieces(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Join what is very short, and cut what is long: metres do not run evenly along a line in perspective."""
    kept = [0]
    for k in range(1, len(points) - 1):
        if np.hypot(*(points[k] - points[kept[-1]])) >= _SHORTEST_PX:
            kept.append(k)
    corners = points[[*kept, len(points) - 1]]
    counts = np.maximum(1, np.ceil(np.hypot(*np.diff(corners, axis=0).T) / _LONGEST_PX)).astype(int)
    place = np.concatenate([[0.0], np.cumsum(np.repeat(1.0 / counts, counts))])
    along = np.arange(len(corners))
    return np.column_stack([np.interp(place, along, corners[:, 0]), np.interp(place, along, corners[:, 1])])


def _nearest_drawn(start: NDArray[np.float64], end: NDArray[np.float64], size: tuple[int, int]) -> tuple[Index, Index]:
    """Label of the nearest pixel that a piece runs through (close to exact), and the piece of each label.

    Pieces that leave the picture are held at its border, so that the search starts from there.
    """
    width, height = size
    blank = np.full((height, width), 255, dtype=np.uint8)
    piece_at = np.zeros((height, width), dtype=np.int32)
    counts = np.maximum(1, np.ceil(2.0 * np.hypot(*(end - start).T)).astype(int)) + 1
    piece = np.repeat(np.arange(len(start)), counts)
    place = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    t = (place / np.repeat(counts - 1, counts))[:, None]
    points = start[piece] * (1.0 - t) + end[piece] * t
    x, y = np.clip(np.rint(points), 0, [width - 1, height - 1]).astype(np.intp).T
    blank[y, x] = 0
    piece_at[y, x] = piece
    _, labels = cv2.distanceTransformWithLabels(blank, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL)
    piece_of_label = np.zeros(int(labels.max()) + 1, dtype=np.int32)
    piece_of_label[labels[y, x]] = piece_at[y, x]
    return np.asarray(labels, dtype=np.int32), piece_of_label


@kernel
def _measure(
    labels: Index,
    piece_of_label: Index,
    pieces: NDArray[np.float32],
    which: Index,
    first: Index,
    closed: NDArray[np.bool_],
    near: Index,
    away_px: Field,
    along_m: Field,
    above: Field,
    level: Field,
) -> None:
    """Exact distance to the nearest piece, starting from the drawn pixel and walking while it gets nearer."""
    for i in range(labels.shape[0]):
        for j in range(labels.shape[1]):
            best = piece_of_label[labels[i, j]]
            line = which[best]
            low, high = first[line], first[line + 1]
            best_d2 = np.float32(1e30)
            best_t = best_dy = np.float32(0.0)
            for way in (-1, 1):
                at = best
                for k in range(4000):
                    ax, ay = pieces[at, 0], pieces[at, 1]
                    ux, uy = pieces[at, 2] - ax, pieces[at, 3] - ay
                    px, py = np.float32(j) - ax, np.float32(i) - ay
                    size2 = ux * ux + uy * uy
                    t = (px * ux + py * uy) / size2 if size2 > 0 else np.float32(0.0)
                    t = min(max(t, np.float32(0.0)), np.float32(1.0))
                    dx, dy = px - t * ux, py - t * uy
                    d2 = dx * dx + dy * dy
                    if d2 < best_d2:
                        best_d2, best_t, best_dy = d2, t, dy
                        best = at
                    elif k >= 3:
                        break
                    at += way
                    if at < low or at >= high:
                        if not closed[line]:
                            break
                        at = high - 1 if at < low else low
            d = np.sqrt(best_d2)
            ux, uy = pieces[best, 2] - pieces[best, 0], pieces[best, 3] - pieces[best, 1]
            near[i, j] = line
            away_px[i, j] = d
            along_m[i, j] = pieces[best, 4] + best_t * (pieces[best, 5] - pieces[best, 4])
            above[i, j] = -best_dy / d if d > 0 else np.float32(0.0)
            level[i, j] = abs(ux) / np.sqrt(ux * ux + uy * uy) if ux != 0 else np.float32(0.0)
