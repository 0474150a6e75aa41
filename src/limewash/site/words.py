"""Puts words onto a drawing where they meet no other words and no black line, and hide little else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from limewash.site.canvas import GREY, INK, Label, Shape, Sheet
from limewash.site.drafting import TEXT_MM

Array = NDArray[np.float64]

_PER_MM_AWAY = 0.5
"""A place one millimetre further off is as good as one that hides this much more of the lines. [-]"""

_FAINT = 0.3
"""A grey line, such as a hatching's, counts so much of a black one. [-]"""

_TOUCH_MM = 50.0
"""A place this much further off is as good as one whose words meet a black line. [mm]"""

_ROOM_MM = 0.5
"""Free paper between words and a black line: less reads as touching. [mm]"""

_STEP_MM = 3.2
"""Between the places that are tried around a thing."""

_MOST_PLACES = 80

_PIECES = 6
"""So many of the pieces into which black lines cut an area are tried for its name."""

_LED_MM = 2.2
"""Words further than this from their thing get a line to it."""


class Words:
    """Words of one sheet, each at the best place that is still free."""

    def __init__(self, sheet: Sheet, *, inside: tuple[float, float, float, float] | None = None) -> None:
        self.sheet = sheet
        self.limit = shapely.box(*(inside or (0.0, 0.0, sheet.width_mm, sheet.height_mm)))
        self.kept_free: list[BaseGeometry] = []
        self._lines: NDArray[np.object_] = np.empty(0, dtype=object)
        self._weights = np.empty(0)
        self._looked = 0

    def keep_free(self, x: float, y: float, half_width: float, half_height: float) -> None:
        """Put no words over a small drawn thing."""
        self.kept_free.append(shapely.box(x - half_width, y - half_height, x + half_width, y + half_height))

    def put(
        self,
        places: Iterable[tuple[float, float]],
        text: str,
        *,
        size_mm: float = TEXT_MM,
        anchor: str = "middle",
        bold: bool = False,
        colour: str = INK,
        backed: bool = True,
        must: bool = False,
        lead_to: tuple[float, float] | None = None,
        dot: bool = True,
    ) -> Label | None:
        """Put the words at the place that hides the least, the first places before the last.

        Parameters
        ----------
        places : iterable of (float, float)
            Where the words may stand, the best first. [mm]
        must : bool
            Put them at the last place if none is free; else they are left out, and None is returned.
        lead_to : (float, float), optional
            What the words belong to: a thin line leads there if they end up away from it. [mm]
        dot : bool
            Whether that line ends in a dot.
        """
        points = np.array(list(places), dtype=np.float64).reshape(-1, 2)
        if len(points) == 0:
            return None
        label = Label(0.0, 0.0, text, size_mm, anchor, 0.0, bold, colour, backed)
        free = np.flatnonzero(self._are_free(label, points))
        if lead_to is not None:
            free = free[self._lead_clear(label, points[free], lead_to)]
        if len(free) == 0 and not must:
            return None
        best = int(free[self._cheapest(label, points[free], points[0])]) if len(free) else -1
        chosen = replace(label, x_mm=float(points[best, 0]), y_mm=float(points[best, 1]))
        self.sheet.items.append(chosen)
        if lead_to is not None:
            self._lead(chosen, lead_to, dot=dot)
        return chosen

    def name(self, shape: BaseGeometry, text: str, *, size_mm: float = TEXT_MM, colour: str = INK) -> Label | None:
        """Name an area of the sheet: inside of it where there is room, else beside it with a line into it."""
        if shape.is_empty:
            return None
        for piece in self._uncut(shape, size_mm):
            inside = self.put(_inside(piece, text, size_mm), text, size_mm=size_mm, colour=colour)
            if inside is not None:
                return inside
        x, y = _middle(shape)
        far = around(x, y, step_mm=2.0 * _STEP_MM, size_mm=size_mm)
        places = [*_inside(shape, text, size_mm), *around(x, y, size_mm=size_mm), *far]
        return self.put(places, text, size_mm=size_mm, colour=colour, lead_to=(x, y))

    def _uncut(self, shape: BaseGeometry, size_mm: float) -> list[BaseGeometry]:
        """The largest pieces of an area that no black line cuts; the area where none does."""
        near = [line for line in self._black() if line.intersects(shape)]
        if not near:
            return [shape]
        pieces = shapely.get_parts(shape.difference(shapely.union_all(near).buffer(_ROOM_MM)))
        pieces = [piece for piece in pieces if piece.geom_type == "Polygon" and piece.area >= size_mm]
        return sorted(pieces, key=lambda piece: -piece.area)[:_PIECES]

    def _are_free(self, label: Label, points: Array) -> NDArray[np.bool_]:
        """At which places, shape (N, 2), a label would meet no other and stay on the paper."""
        boxes = _boxes(label, points, room_mm=0.5)
        on_paper: NDArray[np.bool_] = shapely.covers(self.limit, boxes)
        return on_paper & ~_met(boxes, [*self.kept_free, *self._said()])

    def _said(self) -> list[BaseGeometry]:
        return [shapely.Polygon(label.corners_mm()) for label in self.sheet.labels]

    def _lead_clear(self, label: Label, points: Array, to: tuple[float, float]) -> NDArray[np.bool_]:
        """From which places a line from the words to their thing would run clear of other words."""
        ways = shapely.shortest_line(_boxes(label, points), shapely.Point(to))
        return ~_met(ways, self._said())

    def _cheapest(self, label: Label, points: Array, first: Array) -> int:
        """The place that hides the least, those far from the first counting as worse.

        One whose words meet a black line only where all that are clear of them are much further off.
        """
        if len(points) == 1:
            return 0
        away = np.hypot(*(points - first).T)
        cost = _PER_MM_AWAY * away
        lines, weights = self._drawn_lines()
        boxes = _boxes(label, points, room_mm=0.3)
        box, line = shapely.STRtree(lines).query(boxes, predicate="intersects")
        hidden = shapely.length(shapely.intersection(lines[line], boxes[box])) * weights[line]
        np.add.at(cost, box, hidden)
        clear = ~_met(_boxes(label, points, room_mm=_ROOM_MM), list(self._black()))
        clear &= away <= away.min() + _TOUCH_MM
        if clear.any():
            cost[~clear] = np.inf
        return int(cost.argmin())

    def _black(self) -> NDArray[np.object_]:
        """The lines that can be seen and are not grey."""
        lines, weights = self._drawn_lines()
        return lines[weights >= 1.0]

    def _lead(self, label: Label, to: tuple[float, float], *, dot: bool) -> None:
        way = shapely.shortest_line(shapely.Polygon(label.corners_mm(room_mm=0.3)), shapely.Point(to))
        if way.length > _LED_MM:
            self.sheet.lines([np.array(way.coords)], GREY)
            if dot:
                self.sheet.circle(*to, 0.4, pen=None, fill=INK)

    def _drawn_lines(self) -> tuple[NDArray[np.object_], Array]:
        """All lines that can be seen, with their weights: those under a filled shape cannot."""
        for item in self.sheet.items[self._looked :]:
            if not isinstance(item, Shape):
                continue
            if item.closed and item.fill is not None and len(item.rings[0]) > 2:
                cover = shapely.Polygon(item.rings[0], [ring for ring in item.rings[1:] if len(ring) > 2]).buffer(0)
                shapely.prepare(cover)
                under = shapely.intersects(cover, self._lines)
                self._lines[under] = shapely.difference(self._lines[under], cover)
            if item.pen is not None:
                rings = [np.vstack([ring, ring[:1]]) if item.closed else ring for ring in item.rings]
                line = shapely.MultiLineString([ring for ring in rings if len(ring) > 1])
                self._lines = np.append(self._lines, line)
                self._weights = np.append(self._weights, 1.0 if item.pen.colour == INK else _FAINT)
        self._looked = len(self.sheet.items)
        return self._lines, self._weights


def around(x: float, y: float, *, step_mm: float = _STEP_MM, size_mm: float = TEXT_MM) -> list[tuple[float, float]]:
    """A place and those around it, nearest first, for `Words.put`. [mm]"""
    base = y + size_mm * 0.26
    offsets = [(i, j) for i in range(-4, 5) for j in range(-6, 7)]
    offsets.sort(key=lambda o: (abs(o[0]) * 2 + abs(o[1]), o))
    return [(x + i * step_mm * 2, base + j * step_mm) for i, j in offsets]


def beside(bounds: tuple[float, float, float, float], size_mm: float = TEXT_MM) -> list[tuple[float, float]]:
    """Places for words below, above and around a box of the sheet (left, top, right, bottom). [mm]"""
    left, top, right, bottom = bounds
    x = (left + right) / 2
    near = [(x, bottom + size_mm * 1.1), (x, top - size_mm * 0.4)]
    return [*near, *around(x, bottom + size_mm * 2.0)]


def _met(things: NDArray[np.object_], others: list[BaseGeometry]) -> NDArray[np.bool_]:
    """Which of the things meet any of the others."""
    met = np.zeros(len(things), dtype=bool)
    if others:
        met[shapely.STRtree(things).query(np.array(others, dtype=object), predicate="intersects")[1]] = True
    return met


def _boxes(label: Label, points: Array, *, room_mm: float = 0.0) -> NDArray[np.object_]:
    """Boxes of level words at places of shape (N, 2)."""
    corners = replace(label, x_mm=0.0, y_mm=0.0).corners_mm(room_mm=room_mm)
    low, high = points + corners.min(axis=0), points + corners.max(axis=0)
    boxes: NDArray[np.object_] = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    return boxes


def _middle(shape: BaseGeometry) -> tuple[float, float]:
    """The place of an area that is furthest from its edge. [mm]"""
    x, y = shapely.maximum_inscribed_circle(shape, 0.5).coords[0][:2]
    return float(x), float(y)


def _inside(shape: BaseGeometry, text: str, size_mm: float) -> list[tuple[float, float]]:
    """Places where words lie wholly inside of a shape, those next to its middle first. [mm]"""
    left, top, right, bottom = shape.bounds
    x, y = np.meshgrid(np.arange(left, right, 2.0), np.arange(top, bottom, 1.5))
    points = np.vstack([_middle(shape), np.column_stack([x.ravel(), y.ravel()])])
    points = points[np.argsort(np.hypot(*(points - points[0]).T), kind="stable")]
    shapely.prepare(shape)
    held = points[shapely.covers(shape, _boxes(Label(0.0, 0.0, text, size_mm), points, room_mm=0.4))]
    return [(float(px), float(py)) for px, py in held[:_MOST_PLACES]]
