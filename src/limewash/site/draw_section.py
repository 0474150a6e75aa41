"""The site from the side: the beam over ground and people."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.project.lengths import show_length
from limewash.site.canvas import AXIS, HIDDEN, INK, LINE, THICK, THIN, Pen, Sheet
from limewash.site.drafting import Frame, dimension, fitted, hatch, title_strip, unit_note
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.words import Words, around, beside

Array = NDArray[np.float64]


def draw_section(placement: Placement, scene: Scene, *, size_mm: tuple[float, float] = (277.0, 190.0)) -> Sheet:
    """Looked at from the right of the house: the front at the left, the street at the right."""
    sheet = Sheet(*size_mm)
    frame = fitted(_bounds(placement, scene), (24.0, 12.0, size_mm[0] - 50.0, size_mm[1] - 52.0))
    window = shapely.box(3.0, 3.0, size_mm[0] - 3.0, size_mm[1] - 14.0)
    _beam(sheet, frame, placement, window)
    ground = frame.point(0.0, 0.0)[1]
    sheet.line((8.0, ground), (size_mm[0] - 8.0, ground), pen=LINE)
    hatch(sheet, shapely.box(8.0, ground, size_mm[0] - 8.0, ground + 1.6), apart_mm=2.2)
    _house(sheet, frame, scene)
    rows = _zones(sheet, frame, scene, ground)
    for box in scene.obstacles:
        (z0, z1), (y0, y1) = box.distance_m, box.height_m
        sheet.geometry(frame.shape(shapely.box(z0, y0, z1, y1)), pen=HIDDEN)
    _projector(sheet, frame, placement, ground)
    _measures(sheet, frame, placement, scene, ground, ground + 8.0 + 3.6 * rows)
    _words(sheet, frame, placement, scene)
    title_strip(sheet, "Section", f"1 : {frame.scale:g}", "all parts seen from the side", unit_note(scene.units))
    return sheet


def _bounds(placement: Placement, scene: Scene) -> tuple[float, float, float, float]:
    z, y = [0.0, placement.stand.distance_m + 0.8], [0.0, placement.stand.height_m + 0.3, 2.2]
    for part in scene.parts:
        corners = part.world(shapely.get_coordinates(part.outline))
        z += [float(corners[:, 2].min()), float(corners[:, 2].max())]
        y.append(float(corners[:, 1].max()))
    z += [spot.distance_m + 0.5 for spot in scene.people]
    return min(z) - 0.2, 0.0, max(z), max(y)


def _beam(sheet: Sheet, frame: Frame, placement: Placement, window: shapely.Geometry) -> None:
    device = placement.device
    width, height = device.size
    rays = device.rays(np.array([((width - 1) / 2, -0.5), ((width - 1) / 2, height - 0.5)]))
    lens = np.array([placement.stand.distance_m, placement.stand.height_m])
    target = placement.aim_m[2] if placement.aim_m is not None else 0.0
    ends = []
    for ray in rays:
        travel = (lens[0] - target) / max(-ray[2], 0.05)
        if ray[1] < 0.0 and lens[1] / -ray[1] < travel:
            ends += [np.array([target, 0.0]), lens + lens[1] / -ray[1] * ray[[2, 1]]]
        else:
            ends.append(lens + travel * ray[[2, 1]])
    wedge = shapely.Polygon(frame.at(np.array([lens, *ends]))).intersection(window)
    sheet.geometry(wedge, pen=None, fill="#e2e2e2")
    sheet.geometry(wedge, pen=Pen(0.2))
    if placement.aim_m is not None:
        sheet.lines([frame.at(np.array([lens, placement.aim_m[[2, 1]]]))], AXIS)


def _house(sheet: Sheet, frame: Frame, scene: Scene) -> None:
    for part in scene.parts:
        corners = part.world(shapely.get_coordinates(part.outline))[:, [2, 1]]
        low, high = corners.min(axis=0), corners.max(axis=0)
        if high[0] - low[0] < 0.05:
            sheet.lines([frame.at(np.array([low, high]))], Pen(0.7))
        else:
            sheet.area([frame.at(corners[:-1])], pen=LINE)


def _zones(sheet: Sheet, frame: Frame, scene: Scene, ground_mm: float) -> int:
    """Each zone as a bar below the ground, in rows so that none lies on another; returns how many rows."""
    rows: list[list[tuple[float, float]]] = []
    words = Words(sheet)
    for zone in scene.zones:
        near, far = min(z for _, z in zone.ground_m), max(z for _, z in zone.ground_m)
        x0, x1 = frame.point(near, 0.0)[0], frame.point(far, 0.0)[0]
        x0, x1 = max(x0, 8.0), min(x1, sheet.width_mm - 8.0)
        if x1 - x0 < 1.0:
            continue
        row = next((n for n, taken in enumerate(rows) if all(x1 < a or x0 > b for a, b in taken)), len(rows))
        if row == len(rows):
            rows.append([])
        rows[row].append((x0, x1))
        y = ground_mm + 4.2 + row * 3.6
        sheet.line((x0, y), (x1, y), pen=Pen(0.5, "#777777"))
        words.put([((x0 + x1) / 2, y - 0.7), ((x0 + x1) / 2, y + 2.6)], zone.name, size_mm=2.2, colour="#444444")
    return len(rows)


def _projector(sheet: Sheet, frame: Frame, placement: Placement, ground_mm: float) -> None:
    tilt = math.radians(placement.stand.tilt_deg)
    lens = np.array([placement.stand.distance_m, placement.stand.height_m])
    back, up = np.array([math.cos(tilt), -math.sin(tilt)]), np.array([math.sin(tilt), math.cos(tilt)])
    body = [lens + 0.06 * up, lens - 0.06 * up, lens - 0.06 * up + 0.34 * back, lens + 0.06 * up + 0.34 * back]
    sheet.area([frame.at(np.array(body))], pen=THICK, fill="#ffffff")
    x, y = frame.point(float(lens[0]), float(lens[1]))
    sheet.circle(x, y, 0.7, pen=None, fill=INK)
    foot = frame.at(lens - 0.06 * up + 0.2 * back)
    sheet.line((float(foot[0]), float(foot[1])), (float(foot[0]), ground_mm), pen=THIN)


def _measures(sheet: Sheet, frame: Frame, placement: Placement, scene: Scene, ground_mm: float, low_mm: float) -> None:
    units = scene.units
    lens_x, lens_y = frame.point(placement.stand.distance_m, placement.stand.height_m)
    beyond = max([lens_x + frame.mm(0.4)] + [frame.point(spot.distance_m, 0.0)[0] for spot in scene.people])
    wall_x = frame.point(0.0, 0.0)[0]
    dimension(
        sheet,
        (wall_x, ground_mm),
        (lens_x, ground_mm),
        f"lens to wall plane {show_length(placement.stand.distance_m, units)}",
        away_mm=min(low_mm, sheet.height_mm - 16.0) - ground_mm,
    )
    dimension(
        sheet,
        (lens_x, ground_mm),
        (lens_x, lens_y),
        show_length(placement.stand.height_m, units),
        away_mm=beyond + 7.0 - lens_x,
    )
    lit = [p.surface.world(shapely.get_coordinates(p.seen.plane)) for p in placement.parts if p.lit_m2 > 0.0]
    if lit:
        edge = np.concatenate(lit)
        low, high = float(edge[:, 1].min()), float(edge[:, 1].max())
        west = min(frame.point(float(edge[:, 2].min()), 0.0)[0], wall_x)
        y_low, y_high = frame.point(0.0, low)[1], frame.point(0.0, high)[1]
        dimension(sheet, (west, y_low), (west, y_high), f"light {show_length(high - low, units)}", away_mm=-9.0)
        if ground_mm - y_low > 2.0:
            dimension(sheet, (west, ground_mm), (west, y_low), show_length(low, units), away_mm=-16.0)


def _words(sheet: Sheet, frame: Frame, placement: Placement, scene: Scene) -> None:
    words = Words(sheet, inside=(3.0, 3.0, sheet.width_mm - 3.0, sheet.height_mm - 13.0))
    x, y = frame.point(placement.stand.distance_m, placement.stand.height_m)
    words.keep_free(x + frame.mm(0.17), y, frame.mm(0.2) + 1.0, 2.0)
    for spot in scene.people:
        _person(words, frame, spot.distance_m, spot.eye_m)
    tilt = placement.stand.tilt_deg
    direction = "up" if tilt > 0.05 else ("down" if tilt < -0.05 else "level")
    text = f"tilt {abs(tilt):.1f}\N{DEGREE SIGN} {direction}" if direction != "level" else "level"
    words.put([(x + 6.0, y - 4.0), (x + 6.0, y - 7.0), *around(x + 6.0, y - 6.0)], text)
    for spot in scene.people:
        at = frame.point(spot.distance_m, spot.eye_m)
        words.put([(at[0], at[1] - 2.6), (at[0], at[1] - 5.8), *around(at[0], at[1] - 6.0)], spot.name, lead_to=at)
    for box in {box.name: box for box in scene.obstacles}.values():
        at = frame.point(sum(box.distance_m) / 2, box.height_m[1])
        words.put(beside((at[0] - 1.0, at[1], at[0] + 1.0, at[1] - 4.0)), box.name, lead_to=at)
    for part in scene.parts:
        corners = part.world(shapely.get_coordinates(part.outline))
        top = corners[corners[:, 1].argmax()]
        at = frame.point(float(top[2]), float(top[1]))
        words.put([(at[0], at[1] - 1.5), *around(at[0], at[1] - 3.0)], part.name, lead_to=at)


def _person(words: Words, frame: Frame, distance_m: float, eye_m: float) -> None:
    x, ground = frame.point(distance_m, 0.0)
    eye = frame.point(distance_m, eye_m)[1]
    head = max(frame.mm(0.11), 0.8)
    words.sheet.circle(x, eye, head, pen=LINE, fill="#ffffff")
    words.sheet.line((x, eye + head), (x, ground), pen=Pen(0.6))
    words.keep_free(x, (eye - head + ground) / 2, head + 0.3, (ground - eye + head) / 2)
