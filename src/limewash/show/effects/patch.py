"""The pixels that one cue may light, and what is known about each of them, as flat arrays.

Effects work on flat arrays of the lit pixels only. What changes smoothly over the wall is worked out on a
coarse sheet in metres and lifted to the pixels; what depends on one number per pixel is read from a curve.
Both cost a few nanoseconds a pixel, whatever the effect does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError
from limewash.jit import kernel
from limewash.show.fields import Area, Fields, Selection
from limewash.show.lines import Outline

Flat = NDArray[np.float32]
T = TypeVar("T")

CELL = 8
"""Side of the picture's cells, at whose corners smooth light is worked out. [px]"""

_MOST_CELLS = 400_000


class Draws(StrEnum):
    """Where an effect puts light, for what `where` selects."""

    AREAS = "inside the areas"
    AROUND = "in the areas and on the wall around them"
    LINES = "along the outlines"
    AREAS_AND_LINES = "in the areas and along the outlines"


class Sheet:
    """A coarse grid over the wall; `x_m` has shape (nx,), `y_m` (ny,), float64 [m]."""

    def __init__(self, patch: Patch, step_m: float) -> None:
        x, y = patch.x_m, patch.y_m
        margin_m = CELL * float(patch.pixel_m.max())  # the corners of the outermost cells lie on it too
        low_x, high_x = float(x.min()) - margin_m, float(x.max()) + margin_m
        low_y, high_y = float(y.min()) - margin_m, float(y.max()) + margin_m
        self.step_m = max(step_m, float(np.sqrt((high_x - low_x) * (high_y - low_y) / _MOST_CELLS)))
        self.x_m = low_x + self.step_m * np.arange(int((high_x - low_x) / self.step_m) + 2)
        self.y_m = low_y + self.step_m * np.arange(int((high_y - low_y) / self.step_m) + 2)
        self._patch = patch

    def lift(self, values: ArrayLike) -> Flat:
        """Bilinear values at the pixels, from values on the grid of shape (ny, nx)."""
        grid = np.ascontiguousarray(values, dtype=np.float32).reshape(-1)
        corner, right, up = self._place(self._patch.x_m, self._patch.y_m)
        above = corner + np.int32(len(self.x_m))
        low = grid[corner] + (grid[corner + 1] - grid[corner]) * right
        high = grid[above] + (grid[above + 1] - grid[above]) * right
        return np.asarray(low + (high - low) * up, dtype=np.float32)

    @cached_property
    def corners(self) -> tuple[NDArray[np.int32], Flat, Flat]:
        """For the corners of the picture's cells, shape (rows, columns): see `_place`.

        Where the wall's metres jump, as at a porch post, a cell smooths the jump over its width.
        """
        wall = self._patch.fields.wall
        width, height = self._patch.fields.size
        y = (np.arange(-(-height // CELL) + 1) * CELL)[:, None]
        x = np.arange(-(-width // CELL) + 1) * CELL
        return self._place(_carried_on(wall.x_m, x, y), _carried_on(wall.y_m, x, y))

    def _place(self, x_m: Flat, y_m: Flat) -> tuple[NDArray[np.int32], Flat, Flat]:
        """Lower left of the four grid points around each place, in the flattened grid; how far right and up of it.

        The latter as shares of the step; a place off the grid is held at its border.
        """
        step, zero = np.float32(self.step_m), np.float32(0.0)
        columns, rows = len(self.x_m), len(self.y_m)
        across = np.clip((x_m - np.float32(self.x_m[0])) / step, zero, np.float32(columns - 1))
        upward = np.clip((y_m - np.float32(self.y_m[0])) / step, zero, np.float32(rows - 1))
        column = np.minimum(across.astype(np.int32), np.int32(columns - 2))
        row = np.minimum(upward.astype(np.int32), np.int32(rows - 2))
        right, up = (across - column).astype(np.float32), (upward - row).astype(np.float32)
        return row * np.int32(columns) + column, right, up


@dataclass(frozen=True, eq=False)
class Part:
    """Some of a patch's pixels, for effects that light only few.

    Attributes
    ----------
    slots : ndarray of int32
        Their places in the patch's arrays.
    index, cover
        As in `Patch`.
    """

    slots: NDArray[np.int32]
    index: NDArray[np.int32]
    cover: Flat

    def of(self, values: Flat) -> Flat:
        """Values of these pixels from values of the whole patch."""
        return values[self.slots]


class Patch:
    """Flat arrays about the pixels that a cue may light; each is gathered when first used.

    Attributes
    ----------
    index : ndarray of int32 and shape (n,)
        Place of each pixel in the flattened picture.
    cover : ndarray of float32 and shape (n,)
        Share of the pixel that may be lit, above 0 to 1.
    """

    def __init__(self, fields: Fields, selection: Selection, draws: Draws, reach_m: float = 0.0) -> None:
        self.fields = fields
        self.selection = selection
        cover = _domain(fields, selection, draws, np.float32(reach_m))
        cover[fields.dark] = 0.0
        self.index = np.flatnonzero(cover > 0.0).astype(np.int32)
        self.cover = self._gather(cover)
        self._kept: dict[str, object] = {}

    def __len__(self) -> int:
        return len(self.index)

    def still(self, key: str, make: Callable[[], T]) -> T:
        """What does not change with time, made once."""
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]  # type: ignore[return-value]

    @cached_property
    def areas(self) -> tuple[Area, ...]:
        """The selected areas, from left to right."""
        return self.fields.region(self.selection).areas

    @cached_property
    def outlines(self) -> tuple[Outline, ...]:
        """The selected outlines and edges."""
        return self.fields.lines(self.selection).outlines if self.selection.ids else ()

    @cached_property
    def x_m(self) -> Flat:
        """Metres to the right on the wall."""
        return self._gather(self.fields.wall.x_m)

    @cached_property
    def y_m(self) -> Flat:
        """Metres above the ground."""
        return self._gather(self.fields.wall.y_m)

    @cached_property
    def pixel_m(self) -> Flat:
        """Side of the pixel's square on the wall [m]."""
        return self._gather(self.fields.pixel_m)

    @cached_property
    def inside(self) -> Flat:
        """Share of the pixel inside the selected areas."""
        return self._gather(self.fields.region(self.selection).cover)

    @cached_property
    def edge_m(self) -> Flat:
        """Distance to the edge of the selected areas, negative outside [m]."""
        return self._gather(self.fields.region(self.selection).edge_px) * self.pixel_m

    @cached_property
    def area(self) -> NDArray[np.int32]:
        """Index into `areas` of the area that holds the pixel or is nearest; -1 on bare wall."""
        return np.ascontiguousarray(self.fields.region(self.selection).which.reshape(-1)[self.index])

    @cached_property
    def away_m(self) -> Flat:
        """Distance to the nearest selected outline [m]."""
        return self._gather(self.fields.lines(self.selection).away_px) * self.pixel_m

    @cached_property
    def along_m(self) -> Flat:
        """Length along that outline [m]."""
        return self._gather(self.fields.lines(self.selection).along_m)

    @cached_property
    def share(self) -> Flat:
        """The same, 0 to 1 of the outline."""
        return self._gather(self.fields.lines(self.selection).share)

    @cached_property
    def line(self) -> NDArray[np.int32]:
        """Index into `outlines` of the nearest."""
        return np.ascontiguousarray(self.fields.lines(self.selection).which.reshape(-1)[self.index])

    @cached_property
    def above(self) -> Flat:
        """1 right above the nearest outline, 0 beside, -1 right below it."""
        return self._gather(self.fields.lines(self.selection).above)

    @cached_property
    def level(self) -> Flat:
        """1 where the nearest outline runs level, 0 where it runs upright."""
        return self._gather(self.fields.lines(self.selection).level)

    def sheet(self, step_m: float = 0.05) -> Sheet:
        """A coarse grid over the pixels' part of the wall; the step grows if it would be too large."""
        return self.still(f"sheet {step_m}", lambda: Sheet(self, step_m))

    def part(self, mask: NDArray[np.bool_]) -> Part:
        """The pixels where a mask of shape (n,) holds."""
        return self._part(np.flatnonzero(mask).astype(np.int32))

    def _part(self, slots: NDArray[np.int32]) -> Part:
        return Part(slots, self.index[slots], self.cover[slots])

    def stamp(self, points_m: ArrayLike, radius_m: ArrayLike, strength: ArrayLike) -> tuple[Part, Flat]:
        """Soft round spots: strength at the middle, nothing at `radius_m`; the strongest wins.

        Parameters
        ----------
        points_m : array_like of shape (k, 2)
            Middle of each spot on the wall. [m]
        radius_m, strength : array_like of shape (k,)
            Radius [m] and strength 0 to 1. [-]

        Returns
        -------
        part, amount
            The pixels that a spot touches, and their light.
        """
        points = self.fields.wall.pixel_at(points_m)
        radius = np.broadcast_to(np.asarray(radius_m, dtype=np.float64), points.shape[:1])
        spots = np.column_stack([points, radius, np.broadcast_to(strength, points.shape[:1])])
        spots = spots[np.isfinite(spots).all(axis=1)]
        values, touched = self._scratch
        count = _stamp(spots.astype(np.float32), self._slot, self.fields.pixel_m, values, touched)
        part = self._part(np.sort(touched[:count]))
        amount = values[part.slots]
        values[part.slots] = 0.0
        return part, amount

    @cached_property
    def _scratch(self) -> tuple[Flat, NDArray[np.int32]]:
        return np.zeros(len(self), dtype=np.float32), np.empty(len(self), dtype=np.int32)

    @cached_property
    def _slot(self) -> NDArray[np.int32]:
        slot = np.full(self.fields.size[0] * self.fields.size[1], -1, dtype=np.int32)
        slot[self.index] = np.arange(len(self.index), dtype=np.int32)
        return slot.reshape(self.fields.size[1], self.fields.size[0])

    def slots(self, columns: NDArray[np.intp], rows: NDArray[np.intp]) -> NDArray[np.int32]:
        """Place in the flat arrays of picture pixels; -1 for those that this cue may not light."""
        return self._slot[rows, columns]

    def _gather(self, dense: NDArray[np.float32]) -> Flat:
        return np.ascontiguousarray(dense.reshape(-1)[self.index])


def _carried_on(metres: Flat, x: NDArray[np.intp], y: NDArray[np.intp]) -> Flat:
    """Metres at pixels of which the last of each row and column may lie beyond the picture."""
    height, width = metres.shape
    inner_x, inner_y = np.minimum(x, width - 1), np.minimum(y, height - 1)
    across = (metres[inner_y, width - 1] - metres[inner_y, width - 2]) * (x - inner_x)
    down = (metres[height - 1, inner_x] - metres[height - 2, inner_x]) * (y - inner_y)
    return np.asarray(metres[inner_y, inner_x] + across + down, dtype=np.float32)


def read_curve(at: Flat, curve: ArrayLike) -> Flat:
    """Values of a curve over 0 to 1, given by even samples, at each of `at` (held beyond the ends)."""
    out = np.empty(len(at), dtype=np.float32)
    _read_curve(at, np.asarray(curve, dtype=np.float32), out)
    return out


def read_loop(at: Flat, who: NDArray[np.int32], shift: ArrayLike, loop: ArrayLike) -> Flat:
    """Values of a closed loop of even samples at ``at + shift[who]``, both in turns."""
    out = np.empty(len(at), dtype=np.float32)
    turns = np.asarray(shift, dtype=np.float64)
    closed = np.asarray(loop, dtype=np.float32)
    _read_loop(at, who, (turns - np.floor(turns)).astype(np.float32), np.append(closed, closed[:1]), out)
    return out


def soft_step(low: float, high: float, x: ArrayLike) -> NDArray[np.float64]:
    """0 up to `low`, 1 from `high`, smooth between (falls if `low` > `high`)."""
    f = np.clip((np.asarray(x, dtype=np.float64) - low) / (high - low), 0.0, 1.0)
    return np.asarray(f * f * (3.0 - 2.0 * f))


def soft_steps(low: ArrayLike, high: ArrayLike, x: Flat) -> Flat:
    """`soft_step` for pixels, in float32."""
    low32 = np.asarray(low, dtype=np.float32)
    f = np.clip((x - low32) / (np.asarray(high, dtype=np.float32) - low32), np.float32(0), np.float32(1))
    return np.asarray(f * f * (np.float32(3) - np.float32(2) * f), dtype=np.float32)


def check_drawable(fields: Fields, selection: Selection, draws: Draws) -> None:
    """Raise InputError if a selection holds nothing that such an effect can light."""
    if draws is Draws.LINES and not selection.ids:
        raise InputError("nothing that is traced is selected, but this effect runs along outlines")
    if draws in (Draws.AREAS, Draws.AROUND) and not fields.has_areas(selection):
        names = ", ".join(sorted(selection.ids))
        raise InputError(f"only outlines are selected ({names}), but this effect fills areas")


def _domain(fields: Fields, selection: Selection, draws: Draws, reach_m: np.float32) -> Flat:
    """Cover of the pixels that an effect may light, float32 (H, W), a copy."""
    if draws is Draws.AREAS:
        return fields.region(selection).cover.copy()
    if draws is Draws.AROUND:
        region = fields.region(selection)
        around = region.edge_px * fields.pixel_m > -reach_m
        return np.maximum(region.cover, np.where(around, fields.house, np.float32(0.0)))
    if draws is Draws.AREAS_AND_LINES and not selection.ids:
        return fields.region(selection).cover.copy()
    away_m = fields.lines(selection).away_px * fields.pixel_m
    near = np.asarray(away_m < reach_m, dtype=np.float32)
    if draws is Draws.LINES:
        return near
    return np.maximum(near, fields.region(selection).cover)


# In these kernels places are unsigned: a signed one would be checked for counting from the end, at every pixel.


@kernel
def _read_curve(at: Flat, curve: Flat, out: Flat) -> None:
    last, most = np.float32(len(curve) - 1), np.int32(len(curve) - 2)
    for k in range(len(out)):
        s = min(max(at[k] * last, np.float32(0.0)), last)
        whole = min(np.int32(s), most)
        c = np.uintp(whole)
        out[k] = curve[c] + (curve[c + np.uintp(1)] - curve[c]) * (s - np.float32(whole))


@kernel
def _read_loop(at: Flat, who: NDArray[np.int32], shift: Flat, loop: Flat, out: Flat) -> None:
    size, most = np.float32(len(loop) - 1), np.int32(len(loop) - 2)
    for k in range(len(out)):
        s = at[k] + shift[who[k]]
        s = (s - np.floor(s)) * size
        whole = min(np.int32(s), most)
        c = np.uintp(whole)
        out[k] = loop[c] + (loop[c + np.uintp(1)] - loop[c]) * (s - np.float32(whole))


@kernel
def _stamp(
    spots: Flat, slot: NDArray[np.int32], pixel_m: NDArray[np.float32], values: Flat, touched: NDArray[np.int32]
) -> int:
    """Put spots into `values`, which are zero before; gives how many of them are in `touched`."""
    count = 0
    height, width = slot.shape
    for k in range(spots.shape[0]):
        x, y = spots[k, 0], spots[k, 1]
        if x < 0 or y < 0 or x > width - 1 or y > height - 1 or spots[k, 3] <= 0:
            continue
        # Never smaller than a pixel's diagonal, or a small spot would blink as it moves between pixels.
        r = max(spots[k, 2] / pixel_m[int(y), int(x)], np.float32(1.5))
        for i in range(max(0, int(y - r)), min(height, int(y + r) + 2)):
            for j in range(max(0, int(x - r)), min(width, int(x + r) + 2)):
                dx, dy = np.float32(j) - x, np.float32(i) - y
                left = np.float32(1.0) - (dx * dx + dy * dy) / (r * r)
                if left > 0 and slot[i, j] >= 0:
                    at = slot[i, j]
                    if values[at] == 0:
                        touched[count] = at
                        count += 1
                    # Never quite zero, so that no pixel is counted twice.
                    values[at] = max(values[at], spots[k, 3] * left * left, np.float32(1e-9))
    return count
