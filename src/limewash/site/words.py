"""Puts words onto a drawing where they neither meet other words nor hide lines."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from limewash.site.canvas import GREY, INK, Label, Shape, Sheet, text_width_mm
from limewash.site.drafting import TEXT_MM

Array = NDArray[np.float64]

_PER_MM_AWAY = 0.5
"""A place one millimetre further off is as good as one that hides this much more of the lines. [-]"""

_FAINT = 0.3
"""A grey line, such as a hatching's, counts so much of a black one. [-]"""

_LED_MM = 2.2
"""Words further than this from their thing get a line to it."""


class Words:
    """Words of one sheet, each at the best place that is still free."""

    def __init__(self, sheet: Sheet, *, inside: tuple[float, float, float, float] | None = None) -> None:
        self.sheet = sheet
        self.limit = shapely.box(*(inside or (0.0, 0.0, sheet.width_mm, sheet.height_mm)))
        self.kept_free: list[BaseGeometry] = []
        self._lines: list[tuple[BaseGeometry, float]] = []
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
        lines = self._drawn_lines()
        best: tuple[float, Label] | None = None
        first: tuple[float, float] | None = None
        label = None
        for x, y in places:
            first = (x, y) if first is None else first
            label = Label(x, y, text, size_mm, anchor, 0.0, bold, colour, backed)
            cost = _PER_MM_AWAY * float(np.hypot(x - first[0], y - first[1]))
            if (best is not None and cost >= best[0]) or not self.is_free(label):
                continue
            if lead_to is not None and not self._leads(label, lead_to):
                continue
            cost += _hidden_mm(label, lines)
            if best is None or cost < best[0]:
                best = (cost, label)
        chosen = best[1] if best is not None else (label if must else None)
        if chosen is not None:
            self.sheet.items.append(chosen)
            if lead_to is not None:
                self._lead(chosen, lead_to, dot=dot)
        return chosen

    def name(self, shape: BaseGeometry, text: str, *, size_mm: float = TEXT_MM, colour: str = INK) -> Label | None:
        """Name an area of the sheet: inside of it where there is room, else beside it with a line into it."""
        if shape.is_empty:
            return None
        middle = shapely.maximum_inscribed_circle(shape, 0.5).coords[0]
        inner = [place for place in _grid(shape, middle) if _holds(shape, place, text, size_mm)]
        inside = self.put(inner, text, size_mm=size_mm, colour=colour)
        if inside is not None:
            return inside
        x, y = float(middle[0]), float(middle[1])
        return self.put(around(x, y, size_mm=size_mm), text, size_mm=size_mm, colour=colour, lead_to=(x, y))

    def is_free(self, label: Label) -> bool:
        """Whether a label would meet no other and stay on the paper."""
        box = shapely.Polygon(label.corners_mm(room_mm=0.5))
        if not self.limit.covers(box) or any(box.intersects(thing) for thing in self.kept_free):
            return False
        return not any(box.intersects(shapely.Polygon(other.corners_mm())) for other in self.sheet.labels)

    def _leads(self, label: Label, to: tuple[float, float]) -> bool:
        """Whether a line from the words to their thing would run clear of other words."""
        way = shapely.shortest_line(shapely.Polygon(label.corners_mm()), shapely.Point(to))
        return not any(way.intersects(shapely.Polygon(other.corners_mm())) for other in self.sheet.labels)

    def _lead(self, label: Label, to: tuple[float, float], *, dot: bool) -> None:
        way = shapely.shortest_line(shapely.Polygon(label.corners_mm(room_mm=0.3)), shapely.Point(to))
        if way.length > _LED_MM:
            self.sheet.lines([np.array(way.coords)], GREY)
            if dot:
                self.sheet.circle(*to, 0.4, pen=None, fill=INK)

    def _drawn_lines(self) -> list[tuple[BaseGeometry, float]]:
        """All lines that can be seen, with their weight: those under a filled shape cannot."""
        for item in self.sheet.items[self._looked :]:
            if not isinstance(item, Shape):
                continue
            if item.closed and item.fill is not None and len(item.rings[0]) > 2:
                cover = shapely.Polygon(item.rings[0], [ring for ring in item.rings[1:] if len(ring) > 2]).buffer(0)
                self._lines = [(line.difference(cover), weight) for line, weight in self._lines]
            if item.pen is not None:
                rings = [np.vstack([ring, ring[:1]]) if item.closed else ring for ring in item.rings]
                line = shapely.MultiLineString([ring for ring in rings if len(ring) > 1])
                self._lines.append((line, 1.0 if item.pen.colour == INK else _FAINT))
        self._looked = len(self.sheet.items)
        return self._lines


def around(x: float, y: float, *, step_mm: float = 3.2, size_mm: float = TEXT_MM) -> list[tuple[float, float]]:
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


def _hidden_mm(label: Label, lines: list[tuple[BaseGeometry, float]]) -> float:
    """Length of lines under the words, each by its weight. [mm]"""
    box = shapely.Polygon(label.corners_mm(room_mm=0.3))
    return float(sum(weight * line.intersection(box).length for line, weight in lines if line.intersects(box)))


def _grid(shape: BaseGeometry, middle: tuple[float, ...]) -> list[tuple[float, float]]:
    """Places over a shape, those next to its middle first. [mm]"""
    left, top, right, bottom = shape.bounds
    x, y = np.meshgrid(np.arange(left, right, 2.0), np.arange(top, bottom, 1.5))
    places = [(float(middle[0]), float(middle[1])), *zip(x.ravel().tolist(), y.ravel().tolist(), strict=True)]
    return sorted(places, key=lambda p: (p[0] - middle[0]) ** 2 + (p[1] - middle[1]) ** 2)


def _holds(shape: BaseGeometry, place: tuple[float, float], text: str, size_mm: float) -> bool:
    half, up, down = text_width_mm(text, size_mm) / 2 + 0.5, 0.74 * size_mm + 0.4, 0.22 * size_mm + 0.4
    return bool(shape.covers(shapely.box(place[0] - half, place[1] - up, place[0] + half, place[1] + down)))
