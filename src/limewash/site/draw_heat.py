"""Heat maps over the house front: light, contrast, size of a pixel; in greys that any printer tells apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from shapely.geometry.base import BaseGeometry

from limewash.light.photometry import CONTRAST_CLASSES, FOOT_CANDLE_LX
from limewash.project.lengths import INCH_M, Units
from limewash.site.canvas import GREY, INK, LINE, THIN, Sheet
from limewash.site.drafting import title_strip
from limewash.site.draw_elevation import OnSheet, back_to_front, draw_glass, sheet_with_parts, shown
from limewash.site.part_map import PartMap
from limewash.site.placement import PartResult, Placement
from limewash.site.scene import Scene
from limewash.site.words import Words

Array = NDArray[np.float64]

BANDS = ("#6a6a6a", "#989898", "#bcbcbc", "#dadada", "#f4f4f4")
"""Greys of the heat maps, from the least light to the most; told apart on any printer."""
_DARK = {"#6a6a6a"}
_BEYOND = 3
"""Cells by which a band is drawn over the edge of its part, before it is cut to it."""


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


def draw_heat_map(
    placement: Placement, scene: Scene, kind: str, *, size_mm: tuple[float, float] = (277.0, 190.0)
) -> Sheet:
    """Illuminance (`light`), contrast (`contrast`) or pixel size (`pixels`) over the front."""
    heat = _heat_map(kind, placement, scene.units)
    sheet, frame = sheet_with_parts(scene, size_mm, room_mm=(8.0, 8.0, 8.0, 26.0))
    fills = BANDS if heat.dark_is_low else BANDS[::-1]
    for part in back_to_front(placement.parts):
        on_sheet = shown(part.surface, frame)
        sheet.geometry(on_sheet(part.surface.outline), pen=LINE, fill="#ffffff")
        _cells(sheet, on_sheet, part, heat, fills)
        sheet.geometry(on_sheet(part.surface.outline), pen=LINE)
        draw_glass(sheet, part.surface, on_sheet)
    covered = shapely.Polygon()
    for part in back_to_front(placement.parts)[::-1]:
        on_sheet = shown(part.surface, frame)
        _numbers(sheet, on_sheet, part, heat, fills, covered)
        covered = covered.union(on_sheet(part.surface.outline))
    _key(sheet, heat, fills)
    title_strip(sheet, heat.title, f"1 : {frame.scale:g}", f"numbers in {heat.unit}", "white: no light")
    return sheet


def _heat_map(kind: str, placement: Placement, units: Units) -> HeatMap:
    imperial = units == "imperial"
    if kind == "light":
        factor, unit = (1.0 / FOOT_CANDLE_LX, "fc") if imperial else (1.0, "lx")
        edges = _round_edges(placement.values("illuminance_lx") * factor)
        title = "Illuminance of a white picture"
        digits = _digits(edges, 1 if imperial else 0)
        return HeatMap(title, unit, "illuminance_lx", edges, _ranges(edges, unit), factor, digits)
    if kind == "contrast":
        edges = [least for _, least in CONTRAST_CLASSES]
        names = [f"under {edges[0]:g}:1"] + [f"{name}, from {least:g}:1" for name, least in CONTRAST_CLASSES]
        return HeatMap("Contrast of white to black, street light included", "x : 1", "contrast", edges, names, 1.0, 0)
    factor, unit = (1.0 / INCH_M, "in") if imperial else (1000.0, "mm")
    edges = _round_edges(placement.values("pitch_m") * factor)
    return HeatMap(
        "Size of a pixel on the wall", unit, "pitch_m", edges, _ranges(edges, unit), factor, 2 if imperial else 1, False
    )


def _round_edges(values: Array) -> list[float]:
    """Four limits in equal proportions between the smallest and the largest values, to two digits, rising."""
    if len(values) == 0:
        return [1.0, 2.0, 3.0, 4.0]
    low, high = (max(float(q), 1e-9) for q in np.quantile(values, (0.01, 0.99)))
    edges: list[float] = []
    for share in (0.2, 0.4, 0.6, 0.8):
        edge = float(f"{low * (high / low) ** share:.2g}")
        edges.append(edge if not edges or edge > edges[-1] else float(f"{edges[-1] * 1.03:.3g}"))
    return edges


def _digits(edges: Sequence[float], least: int) -> int:
    """So many decimals that numbers of two neighbouring bands differ."""
    return next(n for n in range(least, 12) if len({round(edge, n) for edge in edges}) == len(edges) or n == 11)


def _ranges(edges: Sequence[float], unit: str) -> list[str]:
    inner = [f"{a:g} to {b:g} {unit}" for a, b in pairwise(edges)]
    return [f"under {edges[0]:g} {unit}", *inner, f"over {edges[-1]:g} {unit}"]


def _cells(
    sheet: Sheet,
    on_sheet: OnSheet,
    part: PartResult,
    heat: HeatMap,
    fills: Sequence[str],
) -> None:
    """All that is lit in the lowest band's grey, then what reaches each higher band over it, its edge smoothed."""
    maps, lit = part.maps, part.seen.plane
    values = _spread(getattr(maps, heat.field) * heat.factor)
    sheet.geometry(on_sheet(lit), pen=GREY, fill=fills[0])
    for edge, fill in zip(heat.edges, fills[1:], strict=True):
        runs = _runs(maps, np.isfinite(values) & (values >= edge))
        if runs:
            cells = shapely.union_all(runs, grid_size=1e-6)
            smooth = shapely.simplify(cells, maps.step_m).buffer(0)
            sheet.geometry(on_sheet(smooth.intersection(lit)), pen=GREY, fill=fill)


def _spread(values: Array) -> Array:
    """Give each cell without a value that of the nearest one: light narrower than a cell is drawn, too."""
    empty = np.isnan(values)
    if empty.all():
        return values
    nearest = distance_transform_edt(empty, return_distances=False, return_indices=True)
    spread: Array = values[tuple(nearest)]
    return spread


def _runs(maps: PartMap, chosen: NDArray[np.bool_]) -> list[shapely.Polygon]:
    """Rows of neighbouring cells as rectangles in (u, v).

    The outer cells reach well beyond the part: what smoothing takes off there is cut away anyway.
    """
    chosen = np.pad(chosen, _BEYOND, mode="edge")
    rows, columns = chosen.shape
    u = maps.left_m + maps.step_m * np.arange(-_BEYOND, columns - _BEYOND + 1)
    v = maps.bottom_m + maps.step_m * np.arange(-_BEYOND, rows - _BEYOND + 1)
    out = []
    for row, line in enumerate(chosen):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        out += [shapely.box(u[a], v[row], u[b], v[row + 1]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return out


def _numbers(
    sheet: Sheet,
    on_sheet: OnSheet,
    part: PartResult,
    heat: HeatMap,
    fills: Sequence[str],
    covered: BaseGeometry,
) -> None:
    """Values about every fifteen millimetres, where there is room and nothing nearer is drawn over it."""
    maps = part.maps
    values = getattr(maps, heat.field) * heat.factor
    words = Words(sheet)
    unit = on_sheet(shapely.LineString([(0.0, 0.0), (1.0, 0.0)])).length
    every = max(1, round(15.0 / (unit * maps.step_m)))
    room = on_sheet(part.seen.plane).difference(covered).buffer(-0.2)
    for row in range(every // 2, values.shape[0], every):
        for column in range(every // 2, values.shape[1], every):
            value = values[row, column]
            if not np.isfinite(value):
                continue
            u, v = maps.left_m + (column + 0.5) * maps.step_m, maps.bottom_m + (row + 0.5) * maps.step_m
            x, y = on_sheet(shapely.Point(u, v)).coords[0]
            text = f"{value:.{heat.digits}f}"
            fill = fills[int(np.searchsorted(heat.edges, value, side="right"))]
            if room.contains(shapely.Point(x, y).buffer(2.0)):
                colour = "#ffffff" if fill in _DARK else INK
                words.put([(x, y + 0.8)], text, size_mm=2.2, colour=colour, backed=False)


def _key(sheet: Sheet, heat: HeatMap, fills: Sequence[str]) -> None:
    y = sheet.height_mm - 19.0
    wide = (sheet.width_mm - 12.0) / len(fills)
    for number, (fill, name) in enumerate(zip(fills, heat.names, strict=True)):
        x = 6.0 + number * wide
        sheet.rectangle(x, y, 6.0, 4.0, pen=THIN, fill=fill)
        sheet.text(x + 7.5, y + 3.0, name, 2.4, anchor="start")
