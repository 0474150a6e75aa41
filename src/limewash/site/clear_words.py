"""Words that stay off the strong lines of a drawing, even if that takes them further from their thing."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from limewash.site.canvas import INK, Label
from limewash.site.drafting import TEXT_MM
from limewash.site.words import Words, boxes_at, places_inside

Array = NDArray[np.float64]

_TOUCH_MM = 50.0
"""A place this much further off is as good as one whose words meet a black line. [mm]"""

_ROOM_MM = 0.5
"""Free paper between words and a black line: less reads as touching. [mm]"""


_PIECES = 6
"""So many of an area's pieces are tried for its name."""


class ClearWords(Words):
    """Words that meet a black line only where no place nearby is clear of all of them."""

    def name(self, shape: BaseGeometry, text: str, *, size_mm: float = TEXT_MM, colour: str = INK) -> Label | None:
        """Name an area in the roomiest piece of it that no black line cuts; else as the base class does."""
        lines, weights = self._drawn_lines()
        near = [line for line in lines[weights >= 1.0] if line.intersects(shape)]
        pieces = shapely.get_parts(shape.difference(shapely.union_all(near).buffer(_ROOM_MM))) if near else []
        for piece in sorted(pieces, key=lambda p: -p.area)[:_PIECES]:
            if piece.geom_type != "Polygon" or piece.area < size_mm:
                continue
            middle = shapely.maximum_inscribed_circle(piece, 0.5).coords[0]
            put = self.put(places_inside(piece, middle, text, size_mm), text, size_mm=size_mm, colour=colour)
            if put is not None:
                return put
        return super().name(shape, text, size_mm=size_mm, colour=colour)

    def _cheapest(self, label: Label, points: Array, first: Array) -> int:
        if len(points) == 1:
            return 0
        away = np.hypot(*(points - first).T)
        met = self._meets_black(boxes_at(label, points, room_mm=_ROOM_MM))
        # Too far is no help: then the base rule weighs what is hidden against the distance.
        clear = np.flatnonzero(~met & (away <= away.min() + _TOUCH_MM))
        if len(clear):
            return int(clear[super()._cheapest(label, points[clear], first)])
        return super()._cheapest(label, points, first)

    def _meets_black(self, boxes: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Which boxes meet a line that can be seen and is not grey."""
        lines, weights = self._drawn_lines()
        met = np.zeros(len(boxes), dtype=bool)
        black = lines[weights >= 1.0]
        if len(black):
            met[shapely.STRtree(boxes).query(black, predicate="intersects")[1]] = True
        return met
