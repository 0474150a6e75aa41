"""A sheet of paper as a list of shapes, words and pictures; millimetres, from its upper left corner.

The same list becomes an SVG or a part of a PDF page, so that both show the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]

POINT_MM = 25.4 / 72.0
INK = "#111111"


@dataclass(frozen=True)
class Pen:
    """How a line is drawn."""

    width_mm: float = 0.18
    colour: str = INK
    dash_mm: tuple[float, ...] = ()


THIN = Pen(0.13)
LINE = Pen(0.25)
THICK = Pen(0.5)
HIDDEN = Pen(0.18, dash_mm=(1.6, 0.9))
AXIS = Pen(0.13, dash_mm=(4.0, 0.8, 0.6, 0.8))
GREY = Pen(0.13, "#777777")


@dataclass(frozen=True)
class Shape:
    """Rings or open lines, drawn together (holes by the even-odd rule)."""

    rings: tuple[Array, ...]
    closed: bool
    pen: Pen | None
    fill: str | None


@dataclass(frozen=True)
class Label:
    """Words. `x_mm`, `y_mm` is where their base line starts, is centred or ends."""

    x_mm: float
    y_mm: float
    text: str
    size_mm: float
    anchor: str = "middle"
    angle_deg: float = 0.0
    bold: bool = False
    colour: str = INK
    backed: bool = False
    """White paper behind the words, so that lines do not run through them."""

    def corners_mm(self, *, room_mm: float = 0.0) -> Array:
        """Corners of the words' box, shape (4, 2)."""
        width = text_width_mm(self.text, self.size_mm, bold=self.bold)
        left = {"start": 0.0, "middle": -width / 2, "end": -width}[self.anchor]
        box = np.array([(left, 0.22), (left + width, 0.22), (left + width, -0.74), (left, -0.74)])
        box[:, 1] *= self.size_mm
        box += room_mm * np.array([(-1, 1), (1, 1), (1, -1), (-1, -1)])
        turn = np.radians(self.angle_deg)
        # Turned against the clock as it is seen, with y running down.
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        corners: Array = box @ rotation + np.array([self.x_mm, self.y_mm])
        return corners


@dataclass(frozen=True)
class Picture:
    """A PNG or JPEG file's bytes in a rectangle."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    data: bytes
    media_type: str


Item = Shape | Label | Picture


@dataclass
class Sheet:
    """A drawing in the making."""

    width_mm: float
    height_mm: float
    items: list[Item] = field(default_factory=list)

    def lines(self, points: Iterable[ArrayLike], pen: Pen = LINE) -> None:
        """Open lines through points (N, 2)."""
        self.items.append(Shape(tuple(np.asarray(p, dtype=np.float64) for p in points), False, pen, None))

    def line(self, *points: tuple[float, float], pen: Pen = LINE) -> None:
        self.lines([np.array(points)], pen)

    def area(self, rings: Iterable[ArrayLike], *, pen: Pen | None = LINE, fill: str | None = None) -> None:
        """Closed rings of points (N, 2)."""
        self.items.append(Shape(tuple(np.asarray(r, dtype=np.float64) for r in rings), True, pen, fill))

    def geometry(self, shape: BaseGeometry, *, pen: Pen | None = LINE, fill: str | None = None) -> None:
        """A shapely polygon or several, in millimetres."""
        for polygon in shapely.get_parts(shape):
            if polygon.geom_type == "Polygon" and not polygon.is_empty:
                rings = [np.array(ring.coords)[:-1] for ring in (polygon.exterior, *polygon.interiors)]
                self.area(rings, pen=pen, fill=fill)

    def rectangle(
        self, x: float, y: float, width: float, height: float, *, pen: Pen | None = LINE, fill: str | None = None
    ) -> None:
        self.area([[(x, y), (x + width, y), (x + width, y + height), (x, y + height)]], pen=pen, fill=fill)

    def circle(self, x: float, y: float, radius: float, *, pen: Pen | None = LINE, fill: str | None = None) -> None:
        turn = np.linspace(0.0, 2.0 * np.pi, 33)[:-1]
        self.area([np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])], pen=pen, fill=fill)

    def text(self, x: float, y: float, text: str, size_mm: float = 2.6, **how: object) -> Label:
        label = Label(x, y, text, size_mm, **how)  # type: ignore[arg-type]
        self.items.append(label)
        return label

    def place(self, other: Sheet, x: float, y: float) -> None:
        """Put another sheet's items onto this one."""
        self.items += [_moved(item, x, y) for item in other.items]

    @property
    def labels(self) -> list[Label]:
        return [item for item in self.items if isinstance(item, Label)]


@cache
def text_width_mm(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Width of words in Helvetica, whose measures the usual sans-serif stand-ins share."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    font = "Helvetica-Bold" if bold else "Helvetica"
    return float(stringWidth(printable(text), font, size_mm))


def printable(text: str) -> str:
    """Words with letters that the fonts of every PDF reader have; others lose their accents, or become `?`."""
    import unicodedata

    known = []
    for letter in text:
        plain = letter
        if not _in_font(letter):
            plain = "".join(part for part in unicodedata.normalize("NFKD", letter) if _in_font(part)) or "?"
        known.append(plain)
    return "".join(known)


def _in_font(letter: str) -> bool:
    try:
        letter.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return letter >= " "


def wrapped(text: str, width_mm: float, size_mm: float, *, bold: bool = False) -> list[str]:
    """Words broken into lines no wider than `width_mm` (a single longer word stays whole)."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, size_mm, bold=bold) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def overlaps(labels: Sequence[Label]) -> list[tuple[Label, Label]]:
    """Pairs of labels whose boxes meet."""
    boxes = [shapely.Polygon(label.corners_mm()) for label in labels]
    tree = shapely.STRtree(boxes)
    first, second = tree.query(boxes, predicate="intersects")
    return [
        (labels[a], labels[b])
        for a, b in zip(first, second, strict=True)
        if a < b and boxes[a].intersection(boxes[b]).area > 0.02
    ]


def _moved(item: Item, x: float, y: float) -> Item:
    if isinstance(item, Shape):
        return replace(item, rings=tuple(ring + np.array([x, y]) for ring in item.rings))
    return replace(item, x_mm=item.x_mm + x, y_mm=item.y_mm + y)
