"""The site from above."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.project.lengths import show_length
from limewash.site.canvas import AXIS, GREY, HIDDEN, INK, LINE, THICK, Pen, Sheet, text_width_mm
from limewash.site.drafting import (
    TEXT_MM,
    Frame,
    dimension,
    fitted,
    foot_mm,
    hatch,
    is_small,
    title_strip,
    unit_note,
)
from limewash.site.placement import Placement
from limewash.site.scene import Scene, ground_shape
from limewash.site.stand_marks import anchors, lens_plan
from limewash.site.words import Words, around, beside

Array = NDArray[np.float64]

_FURTHEST_BACK_M = -2.5
"""Roofs may run on behind this; the drawing need not."""

_HATCH_DEG = {"road": 0.0, "pavement": 90.0, "bed": 135.0}


def draw_plan(placement: Placement, scene: Scene, *, size_mm: tuple[float, float] = (277.0, 190.0)) -> Sheet:
    """House, ground, obstacles, people, the stand and its beam, with two tapes that fix the lens."""
    sheet = Sheet(*size_mm)
    foot = foot_mm(size_mm)
    frame = fitted(_bounds(placement, scene), (14.0, 6.0, size_mm[0] - 32.0, size_mm[1] - 17.0 - foot), up=-1.0)
    window = shapely.box(3.0, 3.0, size_mm[0] - 3.0, size_mm[1] - foot)
    _ground(sheet, frame, scene, window)
    _beam(sheet, frame, placement, window)
    _house(sheet, frame, scene, window)
    words = Words(sheet, inside=(3.0, 3.0, size_mm[0] - 3.0, size_mm[1] - foot))
    _obstacles(sheet, frame, scene)
    _stand(sheet, frame, placement)
    _tapes(sheet, frame, placement, scene)
    _names(words, frame, placement, scene)
    title_strip(
        sheet,
        "Plan",
        f"1 : {frame.scale:g}",
        "house above, street below",
        unit_note(scene.units),
        small=is_small(size_mm),
    )
    return sheet


def _bounds(placement: Placement, scene: Scene) -> tuple[float, float, float, float]:
    x = [0.0, scene.width_m, float(placement.device.position_m[0])]
    z = [-0.5, float(placement.device.position_m[2]) + 1.5]
    for spot in scene.people:
        x.append(spot.x_m)
        z.append(spot.distance_m + 0.8)
    for box in scene.obstacles:
        x += box.across_m
    for part in scene.parts:
        corners = part.world(shapely.get_coordinates(part.outline))
        z.append(max(float(corners[:, 2].min()), _FURTHEST_BACK_M) - 0.5)
        x += [float(corners[:, 0].min()), float(corners[:, 0].max())]
    return min(x) - 0.8, min(z), max(x) + 0.8, max(z)


def _ground(sheet: Sheet, frame: Frame, scene: Scene, window: shapely.Geometry) -> None:
    for zone in scene.zones:
        shape = frame.shape(ground_shape(zone)).intersection(window)
        sheet.geometry(shape, pen=GREY, fill="#fafafa" if zone.stand_allowed else "#ededed")
        if zone.kind in _HATCH_DEG:
            hatch(sheet, shape, apart_mm=4.0, angle_deg=_HATCH_DEG[zone.kind], pen=Pen(0.1, "#bbbbbb"))


def _beam(sheet: Sheet, frame: Frame, placement: Placement, window: shapely.Geometry) -> None:
    lens = lens_plan(placement)
    wedge = shapely.Polygon(frame.at(np.array([lens, *_beam_ends(placement)]))).intersection(window)
    sheet.geometry(wedge, pen=None, fill="#e2e2e2")
    sheet.geometry(wedge, pen=Pen(0.2))
    if placement.aim_m is not None:
        sheet.lines([frame.at(np.array([lens, placement.aim_m[[0, 2]]]))], AXIS)


def _beam_ends(placement: Placement) -> list[Array]:
    """Where the left and right edge of the picture, at the height of its middle, meet the wall plane. [m]"""
    width, height = placement.device.size
    edges = placement.device.rays(np.array([(-0.5, (height - 1) / 2), (width - 0.5, (height - 1) / 2)]))
    lens = lens_plan(placement)
    return [lens + ray[[0, 2]] * (lens[1] / max(-ray[2], 0.05)) for ray in edges]


def _house(sheet: Sheet, frame: Frame, scene: Scene, window: shapely.Geometry) -> None:
    for part in scene.parts:
        corners = part.world(shapely.get_coordinates(part.outline))
        left, right, front = corners[:, 0].min(), corners[:, 0].max(), corners[:, 2].min()
        if front > 0.05 and corners[:, 1].min() < 1.0:
            sheet.geometry(frame.shape(shapely.box(left, 0.0, right, front)), pen=None, fill="#ffffff")
    for part in (*scene.parts, *scene.sides):
        ends = part.world(shapely.get_coordinates(part.outline))[:, [0, 2]]
        low, high = ends.min(axis=0), ends.max(axis=0)
        flat = high - low
        if min(flat) < 0.05:
            sheet.lines([frame.at(np.array([low, high]))], Pen(0.7))
        elif part in scene.parts:
            box = frame.shape(shapely.box(*low, *high)).intersection(window)
            sheet.geometry(box, pen=HIDDEN)


def _obstacles(sheet: Sheet, frame: Frame, scene: Scene) -> None:
    for box in scene.obstacles:
        (x0, x1), (z0, z1) = box.across_m, box.distance_m
        shape = frame.shape(shapely.box(x0, z0, x1, z1))
        overhead = box.height_m[0] >= 2.0
        sheet.geometry(shape, pen=HIDDEN if overhead else LINE, fill=None if overhead else "#ffffff")
        if not overhead:
            hatch(sheet, shape, apart_mm=1.2, pen=Pen(0.13))


def _stand(sheet: Sheet, frame: Frame, placement: Placement) -> None:
    lens = lens_plan(placement)
    forward = placement.device.rotation[2][[0, 2]]
    forward = forward / np.linalg.norm(forward)
    aside = np.array([-forward[1], forward[0]])
    back, half = lens - 0.32 * forward, 0.16 * aside
    sheet.area([frame.at(np.array([back + half, lens + half, lens - half, back - half]))], pen=THICK, fill="#ffffff")
    x, y = frame.point(float(lens[0]), float(lens[1]))
    sheet.circle(x, y, 0.7, pen=None, fill=INK)


def _tapes(sheet: Sheet, frame: Frame, placement: Placement, scene: Scene) -> None:
    lens = lens_plan(placement)
    at = frame.at(lens)
    for anchor in anchors(scene):
        foot = frame.at(anchor.plan_m)
        sheet.lines([np.array([foot, at])], HIDDEN)
        sheet.circle(float(foot[0]), float(foot[1]), 1.0, pen=LINE, fill="#ffffff")
    wall = frame.at(np.array([lens[0], 0.0]))
    dimension(
        sheet,
        (float(wall[0]), float(wall[1])),
        (float(at[0]), float(at[1])),
        show_length(float(lens[1]), scene.units),
        away_mm=_side(sheet, frame, placement, scene),
    )
    low = sheet.height_mm - foot_mm((sheet.width_mm, sheet.height_mm)) - 4.0
    left = frame.point(0.0, 0.0)[0]
    sheet.line((float(at[0]), float(at[1]) + 4.0), (float(at[0]), low), pen=GREY)
    dimension(sheet, (left, low), (float(at[0]), low), show_length(float(lens[0]), scene.units), away_mm=1.0)


def _side(sheet: Sheet, frame: Frame, placement: Placement, scene: Scene) -> float:
    """Put the distance's dimension line outside of house and beam, on the side that is nearer to the lens."""
    lens = lens_plan(placement)
    ends = [0.0, scene.width_m, *(float(end[0]) for end in _beam_ends(placement))]
    left = max(frame.point(min(ends), 0.0)[0] - 7.0, 9.0)
    right = min(frame.point(max(ends), 0.0)[0] + 7.0, sheet.width_mm - 9.0)
    x = frame.point(float(lens[0]), 0.0)[0]
    return -(right - x) if right - x < x - left else x - left


def _names(words: Words, frame: Frame, placement: Placement, scene: Scene) -> None:
    lens = lens_plan(placement)
    x, y = frame.point(float(lens[0]), float(lens[1]))
    words.keep_free(x, y + 1.5, 3.5, 3.5)
    for spot in scene.people:
        px, py = frame.point(spot.x_m, spot.distance_m)
        words.sheet.circle(px, py, 1.1, pen=LINE, fill="#ffffff")
        words.keep_free(px, py, 1.4, 1.4)
    words.put([(x + 11.0, y + 3.0), (x - 11.0, y + 3.0), *around(x, y + 7.0)], "projector", bold=True, must=True)
    for spot in scene.people:
        px, py = frame.point(spot.x_m, spot.distance_m)
        words.put(beside((px - 1.2, py - 1.2, px + 1.2, py + 1.2)), spot.name, lead_to=(px, py))
    for box in scene.obstacles:
        (x0, x1), (z0, z1) = box.across_m, box.distance_m
        shape = frame.shape(shapely.box(x0, z0, x1, z1))
        words.kept_free.append(shape)
        if box.name not in [label.text for label in words.sheet.labels]:
            middle = shape.centroid
            words.put(beside(shape.bounds), box.name, lead_to=(middle.x, middle.y))
    for anchor in anchors(scene):
        foot, length = frame.at(anchor.plan_m), float(np.linalg.norm(lens - anchor.plan_m))
        fx, fy = float(foot[0]), float(foot[1])
        near = [(fx + 2.6 * i, fy + 0.7 + 2.6 * j) for i, j in ((-1, -1), (1, -1), (-1, 1), (1, 1), (0, -1), (0, 1))]
        words.put([*near, *around(fx, fy)], anchor.letter, bold=True)
        text = f"{anchor.letter} {show_length(length, scene.units)}"
        words.put(_along_tape(frame.at(anchor.plan_m), frame.at(lens), text_width_mm(text, TEXT_MM)), text)
    _zone_names(words, frame, placement, scene)


def _along_tape(foot: Array, lens: Array, width_mm: float) -> list[tuple[float, float]]:
    """Beside a tape, outside of the other first; upon it where neither side is free. [mm]"""
    shares = (0.42, 0.5, 0.58, 0.34, 0.66, 0.26, 0.74, 0.3, 0.38, 0.46, 0.54, 0.62, 0.7, 0.78, 0.84, 0.2)
    on = [foot + share * (lens - foot) for share in shares]
    run = (lens - foot) / max(float(np.linalg.norm(lens - foot)), 1e-9)
    side = np.array([-run[1], run[0]]) * (1.0 if run[0] > 0.0 else -1.0)
    # How far level words must stand aside for no corner of them to reach the tape.
    away = abs(side[0]) * width_mm / 2 + abs(side[1]) * TEXT_MM / 2 + 1.2
    ways = [way * (away + more) for more in (0.0, 1.5, 3.0) for way in (1.0, -1.0)]
    aside = [at + way * side + (0.0, 0.26 * TEXT_MM) for way in ways for at in on]
    return [(float(p[0]), float(p[1])) for p in (*aside, *on)]


def _zone_names(words: Words, frame: Frame, placement: Placement, scene: Scene) -> None:
    """Beside the beam where the zone has room there."""
    lens = lens_plan(placement)
    beam = shapely.Polygon([lens, (0.0, 0.0), (scene.width_m, 0.0)]).buffer(0.3)
    for zone in scene.zones:
        inner = ground_shape(zone).intersection(shapely.box(*_plan_window(frame, words)))
        free = inner.difference(beam)
        if free.area > 0.15 * inner.area:
            inner = max(shapely.get_parts(free), key=lambda g: g.area)
        if not inner.is_empty:
            stand = "" if zone.stand_allowed else ", no stand"
            words.name(frame.shape(inner), f"{zone.name}{stand}", colour="#444444")


def _plan_window(frame: Frame, words: Words) -> tuple[float, float, float, float]:
    left, top, right, bottom = words.limit.bounds
    metres = frame.scale / 1000.0
    return (
        frame.left_m + (left - frame.x_mm) * metres,
        frame.bottom_m + (top - frame.y_mm) * metres,
        frame.left_m + (right - frame.x_mm) * metres,
        frame.bottom_m + (bottom - frame.y_mm) * metres,
    )
