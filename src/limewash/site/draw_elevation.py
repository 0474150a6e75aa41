"""The house front from the street: the picture's outline on every part, and heat maps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from limewash.light.photometry import CONTRAST_CLASSES, FOOT_CANDLE_LX
from limewash.project.lengths import INCH_M, Units, show_length
from limewash.site.canvas import GREY, INK, LINE, THICK, THIN, Sheet
from limewash.site.drafting import Frame, Words, around, dimension, fitted, hatch, title_strip
from limewash.site.part_map import PartMap
from limewash.site.placement import PartResult, Placement
from limewash.site.scene import Scene
from limewash.site.surface import Surface

Array = NDArray[np.float64]
Mapping2 = Callable[[BaseGeometry], BaseGeometry]

BANDS = ("#4d4d4d", "#8a8a8a", "#b5b5b5", "#d6d6d6", "#f4f4f4")
"""Greys of the heat maps, from the least light to the most; told apart on any printer."""
_DARK = {"#4d4d4d", "#8a8a8a"}


@dataclass(frozen=True)
class HeatMap:
    """What a heat map shows.

    Attributes
    ----------
    title, unit : str
        For the strip below.
    field : str
        Attribute of `PartMap`.
    edges : sequence of float
        Limits between the bands, rising, in the unit shown; one fewer than bands.
    names : sequence of str
        What each band is called in the key.
    factor : float
        Unit shown over the unit of the field.
    digits : int
        Behind the point of the numbers on the map.
    dark_is_low : bool
        False where a small value is the good one (pixel size).
    """

    title: str
    unit: str
    field: str
    edges: Sequence[float]
    names: Sequence[str]
    factor: float
    digits: int
    dark_is_low: bool = True


def draw_elevation(placement: Placement, scene: Scene, *, size_mm: tuple[float, float] = (277.0, 190.0)) -> Sheet:
    """The front with the picture's outline, shadows, and the main measures."""
    sheet, frame = _sheet_with_parts(scene, size_mm, room_mm=(26.0, 12.0, 22.0, 28.0))
    for part in placement.parts:
        surface = part.surface
        on_sheet = _shown(part.surface, frame)
        sheet.geometry(on_sheet(part.seen.plane), pen=THICK)
        for shape in part.seen.shadows.values():
            hatch(sheet, on_sheet(shape))
            sheet.geometry(on_sheet(shape), pen=GREY)
        _glass(sheet, surface, on_sheet)
    _measures(sheet, frame, placement, scene)
    words = Words(sheet, inside=(2.0, 2.0, sheet.width_mm - 2.0, sheet.height_mm - 12.0))
    _aim(sheet, words, frame, placement, scene.units)
    for part in placement.parts:
        label = f"{part.surface.name}: {part.lit_m2 / part.area_m2:.0%} lit"
        words.put(_places(part.surface, frame), label)
    note = f"1 : {frame.scale:g}   thick: edge of the light   hatched: shadow   {_unit_note(scene.units)}"
    title_strip(sheet, "Front, from the street", note)
    return sheet


def draw_heat_map(
    placement: Placement, scene: Scene, kind: str, *, size_mm: tuple[float, float] = (277.0, 190.0)
) -> Sheet:
    """Illuminance (`light`), contrast (`contrast`) or pixel size (`pixels`) over the front."""
    heat = _heat_map(kind, placement, scene.units)
    sheet, frame = _sheet_with_parts(scene, size_mm, room_mm=(8.0, 8.0, 8.0, 26.0), draw=False)
    fills = BANDS if heat.dark_is_low else BANDS[::-1]
    for part in placement.parts:
        on_sheet = _shown(part.surface, frame)
        _cells(sheet, on_sheet, part, heat, fills)
    for part in placement.parts:
        on_sheet = _shown(part.surface, frame)
        sheet.geometry(on_sheet(part.surface.outline), pen=LINE)
        _glass(sheet, part.surface, on_sheet)
    for part in placement.parts:
        _numbers(sheet, _shown(part.surface, frame), part, heat, fills)
    _key(sheet, heat, fills)
    note = f"1 : {frame.scale:g}   numbers in {heat.unit}   white: no light"
    title_strip(sheet, heat.title, note)
    return sheet


def _heat_map(kind: str, placement: Placement, units: Units) -> HeatMap:
    imperial = units == "imperial"
    if kind == "light":
        factor, unit = (1.0 / FOOT_CANDLE_LX, "fc") if imperial else (1.0, "lx")
        edges = _round_edges(placement.values("illuminance_lx") * factor)
        title = "Illuminance of a white picture"
        return HeatMap(title, unit, "illuminance_lx", edges, _ranges(edges, unit), factor, 1 if imperial else 0)
    if kind == "contrast":
        edges = [least for _, least in CONTRAST_CLASSES]
        names = [f"under {edges[0]:g}:1"] + [f"{name}, {least:g}:1" for name, least in CONTRAST_CLASSES]
        return HeatMap("Contrast of white to black, street light included", ": 1", "contrast", edges, names, 1.0, 0)
    factor, unit = (1.0 / INCH_M, "in") if imperial else (1000.0, "mm")
    edges = _round_edges(placement.values("pitch_m") * factor)
    return HeatMap(
        "Size of a pixel on the wall", unit, "pitch_m", edges, _ranges(edges, unit), factor, 2 if imperial else 1, False
    )


def _round_edges(values: Array) -> list[float]:
    """Four limits near the fifths of the values, to two digits, rising."""
    if len(values) == 0:
        return [1.0, 2.0, 3.0, 4.0]
    edges: list[float] = []
    for share in (0.2, 0.4, 0.6, 0.8):
        edge = float(f"{np.quantile(values, share):.2g}")
        while edges and edge <= edges[-1]:
            edge = float(f"{edge * 1.02 + 1e-9:.3g}")
        edges.append(edge)
    return edges


def _ranges(edges: Sequence[float], unit: str) -> list[str]:
    inner = [f"{a:g} to {b:g} {unit}" for a, b in pairwise(edges)]
    return [f"under {edges[0]:g} {unit}", *inner, f"over {edges[-1]:g} {unit}"]


def _sheet_with_parts(
    scene: Scene, size_mm: tuple[float, float], *, room_mm: tuple[float, float, float, float], draw: bool = True
) -> tuple[Sheet, Frame]:
    """A sheet with the parts' outlines; `room_mm` is kept free to the left, above, right and below."""
    sheet = Sheet(*size_mm)
    corners = np.concatenate([part.world(shapely.get_coordinates(part.outline)) for part in scene.parts])
    left, right = min(0.0, corners[:, 0].min()), max(scene.width_m, corners[:, 0].max())
    bottom, top = min(0.0, corners[:, 1].min()), corners[:, 1].max()
    left_mm, above_mm, right_mm, below_mm = room_mm
    box = (left_mm, above_mm, size_mm[0] - left_mm - right_mm, size_mm[1] - above_mm - below_mm)
    frame = fitted((float(left), float(bottom), float(right), float(top)), box)
    ground = frame.point(0.0, 0.0)[1]
    reach = (frame.point(float(left), 0.0)[0] - 4.0, frame.point(float(right), 0.0)[0] + 4.0)
    if draw:
        for part in _back_to_front(scene.parts):
            sheet.geometry(_shown(part, frame)(part.outline), pen=LINE, fill="#ffffff")
    sheet.line((reach[0], ground), (reach[1], ground), pen=THIN)
    return sheet, frame


def _back_to_front(parts: Sequence[Surface]) -> list[Surface]:
    return sorted(parts, key=lambda part: float(part.world(np.array(part.outline.centroid.coords[0]))[2]))


def _shown(surface: Surface, frame: Frame) -> Mapping2:
    """From a part's plane to the sheet, looked at square on from the street."""

    def mapped(shape: BaseGeometry) -> BaseGeometry:
        if shape.is_empty:
            return shape
        return shapely.transform(shape, lambda uv: frame.at(surface.world(uv)[:, :2]))

    return mapped


def _glass(sheet: Sheet, surface: Surface, on_sheet: Mapping2) -> None:
    for pane in map(on_sheet, surface.panes):
        sheet.geometry(pane, pen=THIN, fill="#ffffff")
        left, top, right, bottom = pane.bounds
        sheet.lines([[(left, bottom), (right, top)]], GREY)


def _measures(sheet: Sheet, frame: Frame, placement: Placement, scene: Scene) -> None:
    corners = np.concatenate([part.world(shapely.get_coordinates(part.outline)) for part in scene.parts])
    left, right, top = corners[:, 0].min(), corners[:, 0].max(), corners[:, 1].max()
    bottom_mm = frame.point(0.0, 0.0)[1]
    a, b = frame.point(float(left), 0.0), frame.point(float(right), 0.0)
    dimension(sheet, a, b, show_length(float(right - left), scene.units), away_mm=14.0)
    dimension(
        sheet,
        (a[0], bottom_mm),
        frame.point(float(left), float(top)),
        show_length(float(top), scene.units),
        away_mm=-16.0,
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
        away_mm=7.0,
    )
    x = frame.point(float(right), 0.0)[0]
    dimension(
        sheet,
        (x, frame.point(0.0, float(high))[1]),
        (x, frame.point(0.0, float(low))[1]),
        f"light {show_length(float(high - low), scene.units)}",
        away_mm=-8.0,
    )
    if low * 1000.0 / frame.scale > 2.0:
        dimension(
            sheet,
            (x, frame.point(0.0, float(low))[1]),
            (x, bottom_mm),
            show_length(float(low), scene.units),
            away_mm=-14.0,
        )


def _aim(sheet: Sheet, words: Words, frame: Frame, placement: Placement, units: Units) -> None:
    if placement.aim_m is None:
        return
    x, y = frame.point(float(placement.aim_m[0]), float(placement.aim_m[1]))
    sheet.circle(x, y, 1.4, pen=LINE)
    sheet.lines([[(x - 3, y), (x + 3, y)], [(x, y - 3), (x, y + 3)]], LINE)
    place = ", ".join(show_length(float(v), units) for v in placement.aim_m[:2])
    words.put([(x, y - 4.0), (x, y + 6.5), *around(x, y - 4.0)], f"middle of the picture: {place}")


def _places(surface: Surface, frame: Frame) -> list[tuple[float, float]]:
    middle = surface.shape.representative_point()
    x, y = frame.point(*(float(c) for c in surface.world(np.array(middle.coords[0]))[:2]))
    return around(x, y)


def _cells(
    sheet: Sheet,
    on_sheet: Mapping2,
    part: PartResult,
    heat: HeatMap,
    fills: Sequence[str],
) -> None:
    """Each band as one shape, cut to the exact edge of the light."""
    maps = part.maps
    values = getattr(maps, heat.field) * heat.factor
    for band, fill in enumerate(fills):
        inside = maps.inside & (np.searchsorted(heat.edges, _spread(values), side="right") == band)
        runs = _runs(maps, inside & np.isfinite(_spread(values)))
        if runs:
            shape = shapely.union_all(runs).intersection(part.seen.plane)
            sheet.geometry(on_sheet(shape), pen=None, fill=fill)
            sheet.geometry(on_sheet(shape), pen=GREY)


def _spread(values: Array) -> Array:
    """Let values reach into unlit cells beside them: a cell on the light's edge is drawn up to that edge."""
    filled = values.copy()
    for axis, step in ((0, 1), (0, -1), (1, 1), (1, -1)):
        moved = np.roll(values, step, axis=axis)
        filled = np.where(np.isnan(filled), moved, filled)
    return filled


def _runs(maps: PartMap, chosen: NDArray[np.bool_]) -> list[shapely.Polygon]:
    """Rows of neighbouring cells as rectangles in (u, v)."""
    out = []
    for row, line in enumerate(chosen):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        low = maps.bottom_m + row * maps.step_m
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            left, right = maps.left_m + start * maps.step_m, maps.left_m + stop * maps.step_m
            out.append(shapely.box(left, low, right, low + maps.step_m))
    return out


def _numbers(
    sheet: Sheet,
    on_sheet: Mapping2,
    part: PartResult,
    heat: HeatMap,
    fills: Sequence[str],
) -> None:
    """Values about every fifteen millimetres, where there is room."""
    maps = part.maps
    values = getattr(maps, heat.field) * heat.factor
    words = Words(sheet)
    glass = shapely.union_all(part.surface.panes)
    unit = on_sheet(shapely.LineString([(0.0, 0.0), (1.0, 0.0)])).length
    every = max(1, round(15.0 / (unit * maps.step_m)))
    for row in range(every // 2, values.shape[0], every):
        for column in range(every // 2, values.shape[1], every):
            value = values[row, column]
            if not np.isfinite(value):
                continue
            u, v = maps.left_m + (column + 0.5) * maps.step_m, maps.bottom_m + (row + 0.5) * maps.step_m
            x, y = on_sheet(shapely.Point(u, v)).coords[0]
            room = on_sheet(part.surface.shape).buffer(-0.2)
            text = f"{value:.{heat.digits}f}"
            fill = fills[int(np.searchsorted(heat.edges, value, side="right"))]
            if room.contains(shapely.Point(x, y).buffer(2.0)) and glass.distance(shapely.Point(u, v)) * unit > 1.5:
                words.put([(x, y + 0.8)], text, size_mm=2.2, colour="#ffffff" if fill in _DARK else INK, backed=False)


def _key(sheet: Sheet, heat: HeatMap, fills: Sequence[str]) -> None:
    y = sheet.height_mm - 19.0
    wide = (sheet.width_mm - 12.0) / len(fills)
    for number, (fill, name) in enumerate(zip(fills, heat.names, strict=True)):
        x = 6.0 + number * wide
        sheet.rectangle(x, y, 6.0, 4.0, pen=THIN, fill=fill)
        sheet.text(x + 7.5, y + 3.0, name, 2.4, anchor="start")


def _unit_note(units: Units) -> str:
    return "lengths in m" if units == "metric" else "lengths in ft and in"
