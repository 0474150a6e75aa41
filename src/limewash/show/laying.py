"""Lays the light of cues over each other, band by band.

A band is a few rows of the picture as three planes of linear red, green and blue. It stays in the processor's
near memory while all cues are laid onto it and until it is encoded; whole frames would not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.jit import kernel
from limewash.show.colours import STEPS
from limewash.show.effects.patch import CELL, Flat

Planes = NDArray[np.float32]
Index = NDArray[np.int32]
Dense = NDArray[np.float32]

BAND = 36
"""Rows of a band; even, as chroma needs it."""


@dataclass(frozen=True)
class Lay:
    """What is laid adds `gives` of its colour, takes `hides` of what is below, and gives `tints` of that back."""

    gives: np.float32
    hides: np.float32
    tints: np.float32


LAYS = {
    "add": Lay(np.float32(1.0), np.float32(0.0), np.float32(0.0)),
    "cover": Lay(np.float32(1.0), np.float32(1.0), np.float32(0.0)),
    "tint": Lay(np.float32(0.0), np.float32(1.0), np.float32(1.0)),
}


class Laid(Protocol):
    """One light of a moment, ready to be laid."""

    def onto(self, planes: Planes, top: int, width: int) -> None:
        """Lay it onto the band `planes`, float32 (3, pixels), whose first row is `top`."""
        ...


@dataclass(frozen=True, eq=False)
class LaidPixels:
    """Light given pixel by pixel; `index` rises."""

    index: Index
    cover: Flat
    amount: Flat
    tone: Flat
    row: Flat
    level: np.float32
    lay: Lay

    def onto(self, planes: Planes, top: int, width: int) -> None:
        base = top * width
        # Of the index's own type, or all of it would be copied.
        first, last = np.searchsorted(self.index, np.array([base, base + planes.shape[1]], dtype=np.int32))
        if first < last:
            part = slice(first, last)
            how = (self.level, self.lay.gives, self.lay.hides, self.lay.tints)
            given = (self.index[part], self.cover[part], self.amount[part], self.tone[part])
            _lay_pixels(planes, base, *given, self.row, *how)


@dataclass(frozen=True, eq=False)
class LaidCurve:
    """Light read from a curve; `lit` as `coloured` gives it, `index` rises."""

    index: Index
    cover: Flat
    at: Flat
    lit: Flat
    lay: Lay

    def onto(self, planes: Planes, top: int, width: int) -> None:
        base = top * width
        # Of the index's own type, or all of it would be copied.
        first, last = np.searchsorted(self.index, np.array([base, base + planes.shape[1]], dtype=np.int32))
        if first < last:
            part = slice(first, last)
            how = (self.lay.gives, self.lay.hides, self.lay.tints)
            _lay_curve(planes, base, self.index[part], self.cover[part], self.at[part], self.lit, *how)


@dataclass(frozen=True, eq=False)
class LaidSheet:
    """Smooth light: known at the corners of the picture's cells, float32 (rows, columns, 4), and even between.

    `cover` has the picture's shape; `extent` (cell rows, 2) tells between which cells of a row it is not 0.
    """

    cover: Dense
    extent: Index
    corners: Dense
    lay: Lay

    def onto(self, planes: Planes, top: int, width: int) -> None:
        how = (self.lay.gives, self.lay.hides, self.lay.tints)
        _lay_sheet(planes, top, self.cover, self.extent, self.corners, np.empty(4 * width + 4 * CELL, np.float32), *how)


def coloured(amount: ArrayLike, tone: ArrayLike, row: Flat, level: np.float32) -> Flat:
    """Light and its strength, (red, green, blue, strength) one after the other, for amounts and tones of one shape.

    Parameters
    ----------
    amount, tone : array_like
        0 to 1; what is beyond is held.
    row : ndarray of shape (3 * STEPS,)
        The cue's row of colours.
    level : float32
        Of the cue.
    """
    strength, place = np.broadcast_arrays(amount, tone)
    step = np.rint(np.clip(place, 0.0, 1.0) * (STEPS - 1)).astype(np.intp).reshape(-1)
    strong = np.clip(strength, 0.0, 1.0).astype(np.float32).reshape(-1, 1) * level
    return np.concatenate([row.reshape(-1, 3)[step] * strong, strong], axis=1).reshape(-1)


def extent_of(cover: Dense) -> Index:
    """For each row of cells, the first cell and the one after the last in which there is any cover."""
    height, width = cover.shape
    rows, columns = -(-height // CELL), -(-width // CELL)
    padded = np.zeros((rows * CELL, columns * CELL), dtype=np.bool_)
    padded[:height, :width] = cover > 0.0
    cells: NDArray[np.bool_] = np.any(padded.reshape(rows, CELL, columns, CELL), axis=(1, 3))
    some = np.any(cells, axis=1)
    first = np.where(some, cells.argmax(axis=1), 0)
    last = np.where(some, columns - cells[:, ::-1].argmax(axis=1), 0)
    return np.column_stack([first, last]).astype(np.int32)


def corners_of(lit: Flat, columns: int, corner: Index, right: Dense, up: Dense) -> Dense:
    """Bilinear values of `lit`, a grid `columns` wide, at the corners of the cells; shape (rows, columns, 4)."""
    out = np.empty((*corner.shape, 4), dtype=np.float32)
    _read_corners(lit, columns, corner, right, up, out)
    return out


def keep_hue(planes: Planes) -> None:
    """Bring pixels that pass the projector's white back to it without changing their hue."""
    _keep_hue(planes, np.empty(planes.shape[1], dtype=np.float32))


# In these kernels places are unsigned: a signed one would be checked for counting from the end, at every pixel.


@kernel
def _blend(
    flat: Flat,
    p: np.uintp,
    n: np.uintp,
    red: np.float32,
    green: np.float32,
    blue: np.float32,
    s: np.float32,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    """Lay light of strength `s` onto one pixel; `a`, `b`, `c` as in `Lay`."""
    g, h = p + n, p + n + n
    if b == np.float32(0.0):  # light added, by far the most frequent
        flat[p] += red
        flat[g] += green
        flat[h] += blue
    else:
        keep = np.float32(1.0) - b * s
        flat[p] = flat[p] * (keep + c * red) + a * red
        flat[g] = flat[g] * (keep + c * green) + a * green
        flat[h] = flat[h] * (keep + c * blue) + a * blue


@kernel
def _lay_pixels(
    planes: Planes,
    base: int,
    index: Index,
    cover: Flat,
    amount: Flat,
    tone: Flat,
    row: Flat,
    level: np.float32,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    flat, n, zeroth = planes.reshape(-1), np.uintp(planes.shape[1]), np.uintp(base)
    zero, one, steps = np.float32(0.0), np.float32(1.0), np.float32(STEPS - 1)
    for k in range(len(index)):
        s = min(max(amount[k], zero), one) * cover[k] * level
        if s > zero:
            step = np.uintp(np.int32(min(max(tone[k], zero), one) * steps + np.float32(0.5))) * np.uintp(3)
            red, green, blue = row[step] * s, row[step + np.uintp(1)] * s, row[step + np.uintp(2)] * s
            _blend(flat, np.uintp(index[k]) - zeroth, n, red, green, blue, s, a, b, c)


@kernel
def _lay_curve(
    planes: Planes,
    base: int,
    index: Index,
    cover: Flat,
    at: Flat,
    lit: Flat,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    flat, n, zeroth = planes.reshape(-1), np.uintp(planes.shape[1]), np.uintp(base)
    count = len(lit) // 4
    end, most = np.float32(count - 1), np.int32(count - 2)
    for k in range(len(index)):
        place = min(max(at[k] * end, np.float32(0.0)), end)
        whole = min(np.int32(place), most)
        w1 = (place - np.float32(whole)) * cover[k]
        w0 = cover[k] - w1
        e = np.uintp(whole) * np.uintp(4)
        f = e + np.uintp(4)
        s = w0 * lit[e + np.uintp(3)] + w1 * lit[f + np.uintp(3)]
        if s > np.float32(0.0):
            red = w0 * lit[e] + w1 * lit[f]
            green = w0 * lit[e + np.uintp(1)] + w1 * lit[f + np.uintp(1)]
            blue = w0 * lit[e + np.uintp(2)] + w1 * lit[f + np.uintp(2)]
            _blend(flat, np.uintp(index[k]) - zeroth, n, red, green, blue, s, a, b, c)


@kernel
def _read_corners(lit: Flat, columns: int, corner: Index, right: Dense, up: Dense, out: Dense) -> None:
    one, four, wide = np.float32(1.0), np.uintp(4), np.uintp(4 * columns)
    for i in range(corner.shape[0]):
        for j in range(corner.shape[1]):
            low, u, v = np.uintp(corner[i, j]) * four, right[i, j], up[i, j]
            high = low + wide
            for ch in range(np.uintp(4)):
                below = lit[low + ch] * (one - u) + lit[low + four + ch] * u
                above = lit[high + ch] * (one - u) + lit[high + four + ch] * u
                out[i, j, ch] = below * (one - v) + above * v


@kernel
def _lay_sheet(
    planes: Planes,
    top: int,
    cover: Dense,
    extent: Index,
    corners: Dense,
    ramp: Flat,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    width = cover.shape[1]
    padded = len(ramp) // 4
    for r in range(planes.shape[1] // width):
        y = top + r
        cell = y // CELL
        first, last = extent[cell, 0], extent[cell, 1]
        if first >= last:
            continue
        v = np.float32(y - cell * CELL) * np.float32(1.0 / CELL)
        # In a loop, not one by one: each constant would be a kernel of its own to compile.
        for ch in range(4):
            _ramp(corners[cell], corners[cell + 1], v, ch, first, last, ramp[ch * padded : (ch + 1) * padded])
        x0, x1 = first * CELL, min(last * CELL, width)
        share = cover[y][x0:x1]
        strong = ramp[3 * padded + x0 : 3 * padded + x1]
        for ch in range(3):
            row = planes[ch][r * width + x0 : r * width + x1]
            light = ramp[ch * padded + x0 : ch * padded + x1]
            if b == np.float32(0.0):
                for x in range(len(row)):
                    row[x] += light[x] * share[x]
            else:
                for x in range(len(row)):
                    colour = light[x] * share[x]
                    row[x] = row[x] * (np.float32(1.0) - b * strong[x] * share[x] + c * colour) + a * colour


@kernel
def _ramp(upper: Dense, lower: Dense, v: np.float32, ch: int, first: int, last: int, out: Flat) -> None:
    """Even steps along one row between the corners of its cells; `v` is the row's place between them."""
    one = np.float32(1.0)
    left = upper[first, ch] * (one - v) + lower[first, ch] * v
    for cell in range(first, last):
        right = upper[cell + 1, ch] * (one - v) + lower[cell + 1, ch] * v
        step = (right - left) * np.float32(1.0 / CELL)
        for j in range(CELL):
            out[cell * CELL + j] = left + step * np.float32(j)
        left = right


@kernel
def _keep_hue(planes: Planes, scale: Flat) -> None:
    red, green, blue = planes[0], planes[1], planes[2]
    one = np.float32(1.0)
    beyond = 0
    for x in range(len(scale)):
        beyond |= (red[x] > one) | (green[x] > one) | (blue[x] > one)
    if not beyond:  # as a rule
        return
    for x in range(len(scale)):
        most = red[x] if red[x] > one else one
        most = green[x] if green[x] > most else most
        scale[x] = one / (blue[x] if blue[x] > most else most)
    for ch in range(3):
        plane = planes[ch]
        for x in range(len(scale)):
            plane[x] *= scale[x]
