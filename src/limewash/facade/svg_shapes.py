"""SVG's drawing elements as paths in their own user units."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from limewash.errors import InputError
from limewash.facade.svg_data import parse_path_data
from limewash.facade.svg_place import parse_length, parse_numbers
from limewash.facade.svg_xml import Element
from limewash.geometry.path import Arc, Line, Path2, Point, Segment, polyline


@dataclass(frozen=True)
class Viewport:
    """Size of the nearest view, for lengths in per cent. [user units]"""

    width: float
    height: float

    @property
    def diagonal(self) -> float:
        return math.hypot(self.width, self.height) / math.sqrt(2.0)


def shape_paths(element: Element, name: str, view: Viewport) -> list[Path2]:
    """Paths of one drawing element; empty when it has no extent.

    Raises InputError if one of its attributes cannot be read.
    """
    return SHAPES[name](element, view)


def _path(element: Element, _view: Viewport) -> list[Path2]:
    return parse_path_data(element.get("d", ""))


def _rect(element: Element, view: Viewport) -> list[Path2]:
    x, y = length(element, "x", view.width), length(element, "y", view.height)
    width, height = length(element, "width", view.width), length(element, "height", view.height)
    if width <= 0.0 or height <= 0.0:
        return []
    rx, ry = _corner(element, view, width, height)
    right, bottom = x + width, y + height
    corners = [
        ((x + rx, y), (right - rx, y), (right, y + ry)),
        ((right, y + ry), (right, bottom - ry), (right - rx, bottom)),
        ((right - rx, bottom), (x + rx, bottom), (x, bottom - ry)),
        ((x, bottom - ry), (x, y + ry), (x + rx, y)),
    ]
    segments: list[Segment] = []
    for start, edge, end in corners:
        if math.dist(start, edge) > 0.0:
            segments.append(Line(start, edge))
        if rx > 0.0:
            segments.append(Arc(edge, end, (rx, ry)))
    return [Path2(tuple(segments), closed=True)]


def _corner(element: Element, view: Viewport, width: float, height: float) -> Point:
    """Corner radii: one given alone counts for both; never more than half a side."""
    given = {k: element.get(k, "auto").strip() for k in ("rx", "ry")}
    rx = None if given["rx"] == "auto" else length(element, "rx", view.width)
    ry = None if given["ry"] == "auto" else length(element, "ry", view.height)
    rx, ry = (ry if rx is None else rx) or 0.0, (rx if ry is None else ry) or 0.0
    if rx <= 0.0 or ry <= 0.0:
        return 0.0, 0.0
    return min(rx, width / 2.0), min(ry, height / 2.0)


def _circle(element: Element, view: Viewport) -> list[Path2]:
    r = length(element, "r", view.diagonal)
    return _oval(element, view, r, r)


def _ellipse(element: Element, view: Viewport) -> list[Path2]:
    return _oval(element, view, *_radii(element, view))


def _radii(element: Element, view: Viewport) -> Point:
    rx, ry = length(element, "rx", view.width), length(element, "ry", view.height)
    return (rx if "rx" in element.keys() else ry), (ry if "ry" in element.keys() else rx)  # noqa: SIM118


def _oval(element: Element, view: Viewport, rx: float, ry: float) -> list[Path2]:
    if rx <= 0.0 or ry <= 0.0:
        return []
    x, y = length(element, "cx", view.width), length(element, "cy", view.height)
    quarter = [(x + rx, y), (x, y + ry), (x - rx, y), (x, y - ry), (x + rx, y)]
    arcs = tuple(Arc(a, b, (rx, ry)) for a, b in pairwise(quarter))
    return [Path2(arcs, closed=True)]


def _line(element: Element, view: Viewport) -> list[Path2]:
    start = length(element, "x1", view.width), length(element, "y1", view.height)
    end = length(element, "x2", view.width), length(element, "y2", view.height)
    return _chain([start, end], closed=False)


def _polyline(element: Element, _view: Viewport) -> list[Path2]:
    return _chain(_points(element), closed=False)


def _polygon(element: Element, _view: Viewport) -> list[Path2]:
    return _chain(_points(element), closed=True)


def _points(element: Element) -> list[Point]:
    values = parse_numbers(element.get("points", ""))
    if len(values) % 2:
        raise InputError(f"points has {len(values)} numbers; they must come in pairs")
    return list(zip(values[::2], values[1::2], strict=True))


def _chain(points: list[Point], *, closed: bool) -> list[Path2]:
    kept = [p for i, p in enumerate(points) if i == 0 or p != points[i - 1]]
    if len(kept) < 2:
        return []
    return [polyline(kept, closed=closed)]


def length(element: Element, name: str, whole_px: float, default: str = "0") -> float:
    """A length attribute of an element [px]. Raises InputError naming the attribute if it cannot be read."""
    try:
        return parse_length(element.get(name, default), whole_px=whole_px)
    except InputError as error:
        raise InputError(f"{name}: {error}") from None


SHAPES: dict[str, Callable[[Element, Viewport], list[Path2]]] = {
    "path": _path,
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
    "line": _line,
    "polyline": _polyline,
    "polygon": _polygon,
}
