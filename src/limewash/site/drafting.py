"""What drawings are made of: a scale, dimension lines, hatching, titles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

from limewash.project.lengths import Units
from limewash.site.canvas import GREY, THIN, Label, Pen, Sheet, text_width_mm
from limewash.site.shapes import moved

Array = NDArray[np.float64]

SCALES = (10, 20, 25, 40, 50, 60, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1500, 2000)
TEXT_MM = 2.5
_TICK_MM = 1.1
_CLEAR_MM = 1.1
"""From a dimension line to the base of its words: the paper behind them must not hide it."""


@dataclass(frozen=True)
class Frame:
    """Metres of a drawing to millimetres of a sheet; `up` is -1 where the drawing's second axis runs down."""

    scale: float
    left_m: float
    bottom_m: float
    x_mm: float
    y_mm: float
    up: float = 1.0

    def at(self, points_m: ArrayLike) -> Array:
        """Points (..., 2) on the sheet. [mm]"""
        p = (np.asarray(points_m, dtype=np.float64) - (self.left_m, self.bottom_m)) * 1000.0 / self.scale
        placed: Array = p * (1.0, -self.up) + (self.x_mm, self.y_mm)
        return placed

    def point(self, x_m: float, y_m: float) -> tuple[float, float]:
        x, y = self.at((x_m, y_m))
        return float(x), float(y)

    def shape(self, shape: BaseGeometry) -> BaseGeometry:
        """A shapely shape on the sheet. [mm]"""
        return moved(shape, self.at)

    def mm(self, length_m: float) -> float:
        return length_m * 1000.0 / self.scale


def fitted(
    bounds_m: tuple[float, float, float, float],
    box_mm: tuple[float, float, float, float],
    *,
    up: float = 1.0,
) -> Frame:
    """The largest usual scale at which left, bottom, right, top [m] fit into x, y, width, height [mm], centred."""
    left, bottom, right, top = bounds_m
    x, y, width, height = box_mm
    need = max((right - left) * 1000.0 / width, (top - bottom) * 1000.0 / height, 1e-6)
    scale = next((s for s in SCALES if s >= need), need)
    spare_x = width - (right - left) * 1000.0 / scale
    spare_y = height - (top - bottom) * 1000.0 / scale
    start_y = y + spare_y / 2 if up < 0.0 else y + height - spare_y / 2
    return Frame(scale, left, bottom, x + spare_x / 2, start_y, up)


def dimension(
    sheet: Sheet,
    start: tuple[float, float],
    end: tuple[float, float],
    text: str,
    *,
    away_mm: float,
    size_mm: float = TEXT_MM,
) -> Label:
    """A dimension line beside two points of the sheet [mm], `away_mm` to the right of the way from one to the other.

    Level or upright lines get their words above or to the left; where the words do not fit between the
    ticks they go beyond the end.
    """
    a, b = np.array(start), np.array(end)
    along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
    side = np.array([-along[1], along[0]])
    p, q = a + side * away_mm, b + side * away_mm
    toward = side * np.sign(away_mm)
    for point, foot in ((p, a), (q, b)):
        if abs(away_mm) > 1.5:
            sheet.lines([[foot + toward * 0.8, point + toward * 1.2]], GREY)
    sheet.lines([[p - along * 1.2, q + along * 1.2]], THIN)
    tick = (along + side) / np.sqrt(2.0) * _TICK_MM
    sheet.lines([[p - tick, p + tick], [q - tick, q + tick]], Pen(0.3))
    return _dimension_words(sheet, p, q, along, text, size_mm)


def _dimension_words(sheet: Sheet, p: Array, q: Array, along: Array, text: str, size_mm: float) -> Label:
    angle = float(np.degrees(np.arctan2(-along[1], along[0])))
    if angle <= -90.0 + 1e-6 or angle > 90.0 + 1e-6:
        angle += 180.0
        along = -along
        p, q = q, p
    lift = np.array([along[1], -along[0]]) * _CLEAR_MM
    width = text_width_mm(text, size_mm)
    fits = width + 1.0 <= float(np.linalg.norm(q - p))
    at = (p + q) / 2 + lift if fits else q + along * (width / 2 + 2.0) + lift
    return sheet.text(
        float(at[0]), float(at[1]), text, size_mm, angle_deg=round((angle + 180) % 360 - 180, 3), backed=True
    )


def hatch(
    sheet: Sheet, shape: BaseGeometry, *, apart_mm: float = 1.6, angle_deg: float = 45.0, pen: Pen = GREY
) -> None:
    """Parallel lines over a shape of the sheet [mm]."""
    if shape.is_empty or shape.area < 0.05:
        return
    turn = np.radians(angle_deg)
    along, across = np.array([np.cos(turn), -np.sin(turn)]), np.array([np.sin(turn), np.cos(turn)])
    corners = shapely.get_coordinates(shapely.envelope(shape))
    reach = corners @ along
    steps = (
        np.arange(np.floor((corners @ across).min() / apart_mm) + 0.5, (corners @ across).max() / apart_mm) * apart_mm
    )
    rays = [shapely.LineString([across * s + along * reach.min(), across * s + along * reach.max()]) for s in steps]
    cut = shapely.get_parts(shapely.intersection(shapely.union_all(rays), shape)) if rays else []
    lines = [np.array(line.coords) for line in cut if line.geom_type == "LineString" and line.length > 0.2]
    if lines:
        sheet.lines(lines, pen)


def title_strip(sheet: Sheet, title: str, *notes: str, small: bool = False) -> None:
    """Title and remarks along the lower edge; a small drawing gets one line without a rule."""
    if small:
        text = " \N{MIDDLE DOT} ".join((title, *notes))
        size = min(2.3, 2.3 * (sheet.width_mm - 4.0) / text_width_mm(text, 2.3))
        sheet.text(sheet.width_mm - 2.0, sheet.height_mm - 1.4, text, size, anchor="end", colour="#444444")
        return
    margin_mm = 6.0
    note = " \N{MIDDLE DOT} ".join(notes)
    y = sheet.height_mm - margin_mm
    sheet.line((margin_mm, y - 5.0), (sheet.width_mm - margin_mm, y - 5.0), pen=THIN)
    sheet.text(margin_mm, y - 0.6, title, 3.4, anchor="start", bold=True)
    sheet.text(sheet.width_mm - margin_mm, y - 0.6, note, 2.5, anchor="end")


def is_small(size_mm: tuple[float, float]) -> bool:
    """Whether a drawing goes onto a page with other things, and not onto a sheet of its own."""
    return size_mm[1] < 150.0


def foot_mm(size_mm: tuple[float, float]) -> float:
    """Room that the title takes at the lower edge. [mm]"""
    return 4.5 if is_small(size_mm) else 14.0


def unit_note(units: Units) -> str:
    """Said on every drawing with dimensions."""
    return "lengths in m" if units == "metric" else "lengths in ft and in"
