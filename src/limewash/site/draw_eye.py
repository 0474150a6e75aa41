"""What the projector sees: its native picture with the house in it, and the points to check it by."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.geometry.homography import apply_homography
from limewash.site.canvas import GREY, LINE, THICK, THIN, Sheet
from limewash.site.drafting import Frame, foot_mm, hatch, is_small, title_strip
from limewash.site.placement import Placement
from limewash.site.shapes import moved
from limewash.site.surface import Surface
from limewash.site.visibility import frame_shape
from limewash.site.words import Words, around

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CheckPoint:
    """A corner of the house that the picture must hit: what it is, where it is [m], and its pixel."""

    number: int
    what: str
    place_m: Array
    pixel: tuple[float, float]


def check_points(placement: Placement, *, count: int = 4) -> tuple[CheckPoint, ...]:
    """Corners of parts and openings that get light, as far apart in the picture as can be."""
    found: list[tuple[str, Array, Array]] = []
    for part in placement.parts:
        if part.seen.picture.is_empty:
            continue
        matrix = part.surface.to_picture(placement.device)
        near = 0.01 * placement.device.size[0]
        for what, uv in _corners(part.surface):
            pixel = apply_homography(matrix, uv)
            # A corner that is half in shadow or at the very edge of the picture is no good to aim by.
            disc = shapely.Point(pixel).buffer(near)
            clear = part.seen.picture.intersection(disc).area > 0.15 * disc.area
            if clear and frame_shape(placement.device).covers(disc):
                found.append((what, part.surface.world(uv), pixel))
    if not found:
        return ()
    pixels = np.array([pixel for _, _, pixel in found])
    chosen = [int(np.linalg.norm(pixels, axis=1).argmin())]
    while len(chosen) < min(count, len(found)):
        apart = np.linalg.norm(pixels[:, None] - pixels[chosen], axis=-1).min(axis=1)
        chosen.append(int(apart.argmax()))
    chosen.sort(key=lambda i: (round(pixels[i, 1] / 200.0), pixels[i, 0]))
    return tuple(
        CheckPoint(n + 1, found[i][0], found[i][1], (float(pixels[i, 0]), float(pixels[i, 1])))
        for n, i in enumerate(chosen)
    )


def draw_eye(placement: Placement, *, size_mm: tuple[float, float] = (277.0, 190.0)) -> Sheet:
    """The native picture, the parts in it, the shadows, what is wasted, and the check points."""
    sheet = Sheet(*size_mm)
    width, height = placement.device.size
    small, foot = is_small(size_mm), foot_mm(size_mm)
    room = (11.0, 8.0, size_mm[0] - 22.0, size_mm[1] - 12.0 - foot)
    mm = min(room[2] / width, room[3] / height)
    frame = Frame(1000.0 / mm, -0.5, -0.5, (size_mm[0] - mm * width) / 2, room[1], up=-1.0)
    edge = frame.shape(shapely.box(-0.5, -0.5, width - 0.5, height - 0.5))
    lit = [frame.shape(part.seen.picture) for part in placement.parts if not part.seen.picture.is_empty]
    whole = [shapely.Polygon(ring.exterior) for shape in lit for ring in shapely.get_parts(shape)]
    hatch(sheet, edge.difference(shapely.union_all(whole)), apart_mm=3.0)
    words = Words(sheet, inside=(2.0, 2.0, size_mm[0] - 2.0, size_mm[1] - foot))
    for part, shape in zip((p for p in placement.parts if not p.seen.picture.is_empty), lit, strict=True):
        sheet.geometry(shape, pen=LINE, fill="#ffffff")
        matrix = part.surface.to_picture(placement.device)
        for pane in part.surface.panes:
            glass = moved(pane, partial(apply_homography, matrix))
            hatch(sheet, frame.shape(glass).intersection(edge), apart_mm=1.4, angle_deg=135.0)
    sheet.geometry(edge, pen=THICK)
    _scale(sheet, frame, width, height)
    for point in check_points(placement):
        x, y = frame.point(*point.pixel)
        sheet.circle(x, y, 1.3, pen=LINE)
        sheet.lines([[(x - 2.6, y), (x + 2.6, y)], [(x, y - 2.6), (x, y + 2.6)]], LINE)
        words.keep_free(x, y, 1.5, 1.5)
        inward = (1.0 if x < size_mm[0] / 2 else -1.0, 1.0 if y < size_mm[1] / 2 else -1.0)
        text = f"{point.number}" if small else f"{point.number}: {point.pixel[0]:.0f}, {point.pixel[1]:.0f} px"
        aside = 3.4 if small else 14.0
        spots = [(x + inward[0] * aside, y + inward[1] * 3.4), *around(x + inward[0] * aside, y + inward[1] * 4.0)]
        words.put(spots, text, bold=True, lead_to=(x, y), dot=False)
    if size_mm[0] > 150.0:
        for part, shape in zip((p for p in placement.parts if not p.seen.picture.is_empty), lit, strict=True):
            words.name(shape, f"{part.surface.name} {_share_words(part.picture_share)}")
    hatched = f"hatched: lands on nothing to be lit, {placement.wasted:.0%}"
    title_strip(sheet, "What the projector sees", f"{width} x {height} px", hatched, small=small)
    return sheet


def _share_words(share: float) -> str:
    return f"{share:.0%}" if share >= 0.005 else "under 1%"


def _corners(surface: Surface) -> list[tuple[str, Array]]:
    """Corners of the outline and of the openings, with words that a person can find them by."""
    named = [(surface.name, shapely.get_coordinates(surface.outline)[:-1])]
    ordered = sorted(surface.panes, key=lambda pane: (pane.centroid.x, pane.centroid.y))
    named += [(f"opening {n + 1} of {surface.name}", shapely.get_coordinates(p)[:-1]) for n, p in enumerate(ordered)]
    out = []
    for name, corners in named:
        middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        for corner in corners:
            across = "left" if corner[0] < middle[0] - 0.05 else ("right" if corner[0] > middle[0] + 0.05 else "middle")
            up = "lower" if corner[1] < middle[1] else "upper"
            out.append((f"{name}, {up} {across}", corner))
    return out


def _scale(sheet: Sheet, frame: Frame, width: int, height: int) -> None:
    """Ticks with pixel numbers along the upper and left edge."""
    left, top = frame.point(-0.5, -0.5)
    for value in (0, width // 2, width - 1):
        x = frame.point(float(value), 0.0)[0]
        sheet.line((x, top), (x, top - 1.6), pen=THIN)
        sheet.text(x, top - 2.4, f"{value} px" if value == 0 else f"{value}", 2.2)
    for value in (height // 2, height - 1):
        y = frame.point(0.0, float(value))[1]
        sheet.line((left, y), (left - 1.6, y), pen=THIN)
        sheet.text(left - 2.2, y + 0.8, f"{value}", 2.2, anchor="end")
    sheet.line((left, top), (left - 1.6, top), pen=GREY)
