"""The house front from the street: the picture's outline on every part, with the main measures."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from limewash.project.lengths import Units, show_length
from limewash.site.canvas import GREY, LINE, THICK, THIN, Sheet
from limewash.site.drafting import (
    Frame,
    dimension,
    fitted,
    foot_mm,
    hatch,
    is_small,
    title_strip,
    unit_note,
)
from limewash.site.placement import PartResult, Placement
from limewash.site.scene import Scene
from limewash.site.shapes import moved
from limewash.site.surface import Surface
from limewash.site.words import Words, around

Array = NDArray[np.float64]
OnSheet = Callable[[BaseGeometry], BaseGeometry]


def draw_elevation(placement: Placement, scene: Scene, *, size_mm: tuple[float, float] = (277.0, 190.0)) -> Sheet:
    """The front with the picture's outline, shadows, and the main measures."""
    foot, roomy = foot_mm(size_mm), size_mm[1] > 100.0
    apart = 1.0 if roomy else 0.65
    room = (22.0 * apart, 5.0, 20.0 * apart, 16.0 * apart + foot)
    sheet, frame = sheet_with_parts(scene, size_mm, room_mm=room)
    for part in back_to_front(placement.parts):
        on_sheet = shown(part.surface, frame)
        sheet.geometry(on_sheet(part.surface.outline), pen=LINE, fill="#ffffff")
        sheet.geometry(on_sheet(part.seen.plane), pen=THICK)
        for shape in part.seen.shadows.values():
            hatch(sheet, on_sheet(shape))
            sheet.geometry(on_sheet(shape), pen=GREY)
        draw_glass(sheet, part.surface, on_sheet)
    _measures(sheet, frame, placement, scene, apart)
    words = Words(sheet, inside=(2.0, 2.0, sheet.width_mm - 2.0, sheet.height_mm - foot))
    _aim(sheet, words, frame, placement, scene.units, named=roomy)
    if roomy:
        _names(words, frame, placement)
    notes = (f"1 : {frame.scale:g}", "thick: edge of the light", "hatched: shadow", unit_note(scene.units))
    title_strip(sheet, "Front, from the street", *notes, small=is_small(size_mm))
    return sheet


def _names(words: Words, frame: Frame, placement: Placement) -> None:
    """Each part's name on what can be seen of it from the street."""
    covered: BaseGeometry = shapely.Polygon()
    for part in back_to_front(placement.parts)[::-1]:
        on_sheet = shown(part.surface, frame)
        text = f"{part.surface.name}: {part.lit_m2 / part.area_m2:.0%} lit"
        words.name(on_sheet(part.surface.shape).difference(covered), text)
        covered = covered.union(on_sheet(part.surface.outline))


def sheet_with_parts(
    scene: Scene, size_mm: tuple[float, float], *, room_mm: tuple[float, float, float, float]
) -> tuple[Sheet, Frame]:
    """An empty sheet with the ground line, and its scale; `room_mm` is kept free left, above, right and below."""
    sheet = Sheet(*size_mm)
    corners = np.concatenate([part.world(shapely.get_coordinates(part.outline)) for part in scene.parts])
    left, right = min(0.0, corners[:, 0].min()), max(scene.width_m, corners[:, 0].max())
    bottom, top = min(0.0, corners[:, 1].min()), corners[:, 1].max()
    left_mm, above_mm, right_mm, below_mm = room_mm
    box = (left_mm, above_mm, size_mm[0] - left_mm - right_mm, size_mm[1] - above_mm - below_mm)
    frame = fitted((float(left), float(bottom), float(right), float(top)), box)
    ground = frame.point(0.0, 0.0)[1]
    reach = (frame.point(float(left), 0.0)[0] - 4.0, frame.point(float(right), 0.0)[0] + 4.0)
    sheet.line((reach[0], ground), (reach[1], ground), pen=THIN)
    return sheet, frame


def back_to_front(parts: Sequence[PartResult]) -> list[PartResult]:
    """The order in which parts are drawn, so that the nearer ones cover those behind."""

    def distance(part: PartResult) -> float:
        return float(part.surface.world(np.array(part.surface.outline.centroid.coords[0]))[2])

    return sorted(parts, key=distance)


def shown(surface: Surface, frame: Frame) -> OnSheet:
    """From a part's plane to the sheet, looked at square on from the street."""

    def mapped(shape: BaseGeometry) -> BaseGeometry:
        if shape.is_empty:
            return shape
        return moved(shape, lambda uv: frame.at(surface.world(uv)[:, :2]))

    return mapped


def draw_glass(sheet: Sheet, surface: Surface, on_sheet: OnSheet) -> None:
    for pane in map(on_sheet, surface.panes):
        sheet.geometry(pane, pen=THIN, fill="#ffffff")
        left, top, right, bottom = pane.bounds
        sheet.lines([[(left, bottom), (right, top)]], GREY)


def _measures(sheet: Sheet, frame: Frame, placement: Placement, scene: Scene, apart: float) -> None:
    corners = np.concatenate([part.world(shapely.get_coordinates(part.outline)) for part in scene.parts])
    left, right, top = corners[:, 0].min(), corners[:, 0].max(), corners[:, 1].max()
    bottom_mm = frame.point(0.0, 0.0)[1]
    a, b = frame.point(float(left), 0.0), frame.point(float(right), 0.0)
    dimension(sheet, a, b, show_length(float(right - left), scene.units), away_mm=14.0 * apart)
    dimension(
        sheet,
        (a[0], bottom_mm),
        frame.point(float(left), float(top)),
        show_length(float(top), scene.units),
        away_mm=-16.0 * apart,
    )
    lit = [p.surface.world(shapely.get_coordinates(p.seen.plane)) for p in placement.parts if p.lit_m2 > 0.0]
    if not lit:
        return
    edge = np.concatenate(lit)
    west, east, low, high = edge[:, 0].min(), edge[:, 0].max(), edge[:, 1].min(), edge[:, 1].max()
    dimension(
        sheet,
        (frame.point(float(west), 0.0)[0], bottom_mm),
        (frame.point(float(east), 0.0)[0], bottom_mm),
        f"light {show_length(float(east - west), scene.units)}",
        away_mm=7.0 * apart,
    )
    x = frame.point(float(right), 0.0)[0]
    dimension(
        sheet,
        (x, frame.point(0.0, float(high))[1]),
        (x, frame.point(0.0, float(low))[1]),
        f"light {show_length(float(high - low), scene.units)}",
        away_mm=-8.0 * apart,
    )
    if low * 1000.0 / frame.scale > 2.0:
        dimension(
            sheet,
            (x, frame.point(0.0, float(low))[1]),
            (x, bottom_mm),
            show_length(float(low), scene.units),
            away_mm=-14.0 * apart,
        )


def _aim(sheet: Sheet, words: Words, frame: Frame, placement: Placement, units: Units, *, named: bool) -> None:
    if placement.aim_m is None:
        return
    x, y = frame.point(float(placement.aim_m[0]), float(placement.aim_m[1]))
    sheet.circle(x, y, 1.4, pen=LINE)
    sheet.lines([[(x - 3, y), (x + 3, y)], [(x, y - 3), (x, y + 3)]], LINE)
    words.keep_free(x, y, 3.2, 3.2)
    if not named:
        return
    place = ", ".join(show_length(float(v), units) for v in placement.aim_m[:2])
    places = [(x, y - 4.0), (x, y + 6.5), *around(x, y - 4.0), *around(x, y - 4.0, step_mm=7.0)]
    words.put(places, f"middle of the picture: {place}", lead_to=(x, y))
