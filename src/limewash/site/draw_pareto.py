"""The search's choices in one picture: lit area against contrast, sharpness as the size of the mark."""

from __future__ import annotations

import math

import numpy as np

from limewash.light.photometry import CONTRAST_CLASSES
from limewash.project.lengths import FOOT_M, Units
from limewash.site.canvas import GREY, HIDDEN, INK, LINE, THIN, Sheet
from limewash.site.drafting import title_strip
from limewash.site.search import Candidate, SearchResult
from limewash.site.words import Words

_LEFT, _TOP, _RIGHT, _BELOW = 22.0, 12.0, 44.0, 30.0


def draw_pareto(
    result: SearchResult, units: Units = "metric", *, size_mm: tuple[float, float] = (277.0, 190.0)
) -> Sheet:
    """Stands that nothing else beats in area, contrast and sharpness at once; the best ones numbered.

    Each projector has its own mark, so that the picture can be read without colour.
    """
    sheet = Sheet(*size_mm)
    every = [*result.pareto, *result.best]
    area_top = max([c.lit_m2 for c in every] + [1.0]) * 1.08
    logs = [math.log(max(c.contrast, 1.0)) for c in every] + [math.log(4.0), math.log(30.0)]
    low, high = min(logs) - 0.1, max(logs) + 0.15
    width, height = size_mm[0] - _LEFT - _RIGHT, size_mm[1] - _TOP - _BELOW

    def place(c: Candidate) -> tuple[float, float]:
        share = (math.log(max(c.contrast, 1.0)) - low) / (high - low)
        return _LEFT + width * c.lit_m2 / area_top, _TOP + height * (1.0 - share)

    sheet.rectangle(_LEFT, _TOP, width, height, pen=LINE)
    _area_scale(sheet, area_top, width, height, units)
    _class_lines(sheet, low, high, width, height)
    marks = {label: n for n, label in enumerate(dict.fromkeys(c.label for c in every))}
    for c in every:
        _mark(sheet, *place(c), marks[c.label], 0.5 + 0.9 * c.sharpness)
    words = Words(sheet, inside=(_LEFT, _TOP, _LEFT + width, _TOP + height))
    for c in every:
        words.keep_free(*place(c), 1.6, 1.6)
    for c in result.best:
        sheet.circle(*place(c), 2.2, pen=LINE)
    for number, c in enumerate(result.best, start=1):
        words.put(_ring(*place(c)), str(number), size_mm=3.2, bold=True, lead_to=place(c), dot=False)
    for label, n in marks.items():
        y = size_mm[1] - 17.0
        x = _LEFT + n * (size_mm[0] - _LEFT - 8.0) / max(len(marks), 1)
        _mark(sheet, x, y, n, 1.5)
        sheet.text(x + 3.0, y + 0.9, label, 2.4, anchor="start")
    unbeaten = "the rest: unbeaten in area, contrast and detail together"
    title_strip(sheet, "Choices", "larger mark: finer detail", "numbers: the ranking", unbeaten)
    return sheet


def _ring(x: float, y: float) -> list[tuple[float, float]]:
    """Places around a mark, near ones first. [mm]"""
    turns = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
    return [
        (float(x + radius * np.cos(turn)), float(y + 1.1 - radius * np.sin(turn)))
        for radius in (5.0, 8.0, 12.0, 16.0)
        for turn in turns
    ]


def _area_scale(sheet: Sheet, top_m2: float, width: float, height: float, units: Units) -> None:
    unit_m2, unit = (FOOT_M**2, "ft2") if units == "imperial" else (1.0, "m2")
    top = top_m2 / unit_m2
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000) if top / s <= 8)
    for value in np.arange(0, top, step):
        x = _LEFT + width * value / top
        sheet.line((x, _TOP + height), (x, _TOP + height + 1.5), pen=THIN)
        sheet.text(x, _TOP + height + 4.6, f"{value:g}", 2.4)
    sheet.text(_LEFT + width, _TOP + height + 8.6, f"lit area, {unit}", 2.6, anchor="end")


def _class_lines(sheet: Sheet, low: float, high: float, width: float, height: float) -> None:
    sheet.text(_LEFT - 15.0, _TOP - 3.0, "contrast of white to black, x : 1", 2.6, anchor="start")
    for value in (2, 3, 5, 10, 20, 30, 40, 60, 100, 150, 200, 300, 500, 700, 1000, 1500, 2000):
        share = (math.log(value) - low) / (high - low)
        if 0.0 < share < 1.0:
            y = _TOP + height * (1.0 - share)
            sheet.line((_LEFT, y), (_LEFT - 1.5, y), pen=THIN)
            sheet.text(_LEFT - 2.4, y + 0.9, f"{value}", 2.4, anchor="end")
    for name, least in CONTRAST_CLASSES:
        share = (math.log(least) - low) / (high - low)
        if 0.0 < share < 1.0:
            y = _TOP + height * (1.0 - share)
            sheet.line((_LEFT, y), (_LEFT + width, y), pen=HIDDEN)
            sheet.text(_LEFT + width + 1.5, y + 0.9, f"{name}, {least:g}:1", 2.4, anchor="start")


def _mark(sheet: Sheet, x: float, y: float, kind: int, size: float) -> None:
    kind %= 6
    if kind == 0:
        sheet.circle(x, y, size, pen=THIN, fill=INK)
    elif kind == 1:
        sheet.rectangle(x - size, y - size, 2 * size, 2 * size, pen=LINE, fill="#ffffff")
    elif kind == 2:
        sheet.area(
            [[(x, y - size * 1.2), (x + size * 1.1, y + size * 0.8), (x - size * 1.1, y + size * 0.8)]], fill="#bbbbbb"
        )
    elif kind == 3:
        sheet.lines([[(x - size, y - size), (x + size, y + size)], [(x - size, y + size), (x + size, y - size)]], LINE)
    elif kind == 4:
        sheet.area([[(x, y - size * 1.2), (x + size, y), (x, y + size * 1.2), (x - size, y)]], pen=LINE, fill="#ffffff")
    else:
        sheet.circle(x, y, size, pen=GREY, fill="#dddddd")
