"""Windows, doors and garage doors as triangles."""

from __future__ import annotations

import numpy as np

from limewash.world.mesh import MeshBuilder, Outline, half_disc, rectangle
from limewash.world.model import Door, GarageDoor, Opening, Window

FRAME_M = 0.055
BAR_M = 0.024
CASING_PROUD_M = 0.028


def clear_outline(opening: Opening) -> Outline:
    """The hole in the wall."""
    return grown_outline(opening, 0.0)


def traced_outline(opening: Opening) -> Outline:
    """What one traces: the outer edge of the casing boards, or of the hole where there are none."""
    return grown_outline(opening, opening.casing_m)


def traced_z_m(opening: Opening, wall_z_m: float) -> float:
    """Depth of the traced outline: the front of the casing boards, or the wall."""
    return wall_z_m + (CASING_PROUD_M if opening.casing_m > 0 else 0.0)


def lintel_span(opening: Opening) -> tuple[tuple[float, float], tuple[float, float], float]:
    """x span, y span of the stone over an opening, and how far it stands before the wall."""
    half, top = opening.width_m / 2 + 0.12, opening.sill_y_m + opening.height_m
    return (opening.middle_x_m - half, opening.middle_x_m + half), (top, top + 0.22), 0.012


def is_half_round(opening: Opening) -> bool:
    return isinstance(opening, Window) and opening.shape == "half-round"


def grown_outline(opening: Opening, by_m: float) -> Outline:
    """The hole made larger (or smaller) by a margin on all sides; doors keep their foot."""
    half = opening.width_m / 2 + by_m
    if is_half_round(opening):
        return _half_round(opening, by_m)
    low = opening.sill_y_m - (by_m if isinstance(opening, Window) else 0.0)
    span = (opening.middle_x_m - half, opening.middle_x_m + half)
    return rectangle(span, (low, opening.sill_y_m + opening.height_m + by_m))


def _half_round(opening: Opening, by_m: float) -> Outline:
    """A half disc with a straight foot, grown by a margin: the foot moves too."""
    radius = opening.width_m / 2 + by_m
    outline = half_disc(opening.middle_x_m, opening.sill_y_m, radius)
    if by_m == 0.0:
        return outline
    foot = np.array([outline[0], outline[1]]) - (0.0, by_m)
    if by_m > 0.0:
        return np.vstack([foot[:1], foot[1:], outline[1:], outline[:1]])
    return _shrunk_half_disc(opening, radius, by_m)


def _shrunk_half_disc(opening: Opening, radius: float, by_m: float) -> Outline:
    """The part of a smaller disc that lies above a raised foot."""
    start = np.arcsin(-by_m / radius)
    angle = np.linspace(start, np.pi - start, 45)
    x = opening.middle_x_m + radius * np.cos(angle)
    return np.column_stack([x, opening.sill_y_m + radius * np.sin(angle)])


def add_opening(mesh: MeshBuilder, opening: Opening, wall_z_m: float, wall: str) -> None:
    """Add everything that fills a hole in a wall, and the boards around it."""
    clear = clear_outline(opening)
    frame_z = wall_z_m - opening.recess_m
    reveal = opening.casing if opening.casing_m > 0 else wall
    mesh.tube(clear, (frame_z - 0.12, wall_z_m + (CASING_PROUD_M if opening.casing_m > 0 else 0.0)), reveal)
    if opening.casing_m > 0:
        _add_casing(mesh, opening, wall_z_m)
    elif opening.head == "soldier":
        _add_soldiers(mesh, opening, wall_z_m)
    if isinstance(opening, Window):
        _add_window(mesh, opening, frame_z, wall_z_m)
    elif isinstance(opening, Door):
        _add_door(mesh, opening, frame_z)
    elif isinstance(opening, GarageDoor):
        _add_garage_door(mesh, opening, frame_z)


def _extent(opening: Opening) -> tuple[float, float, float, float]:
    return opening.middle_x_m, opening.sill_y_m, opening.width_m, opening.height_m


def _add_casing(mesh: MeshBuilder, opening: Opening, wall_z_m: float) -> None:
    front = wall_z_m + CASING_PROUD_M
    outer, clear = traced_outline(opening), clear_outline(opening)
    if isinstance(opening, Window):
        mesh.ring(outer, clear, (wall_z_m, front), opening.casing)
    else:  # a door's casing has no lower board: its hole runs out below
        mesh.sheet(outer, [clear], front, opening.casing)
        mesh.tube(outer, (wall_z_m, front), opening.casing)
    x = (outer[:, 0].min(), outer[:, 0].max())
    if opening.head == "crown":
        top = float(outer[:, 1].max())
        mesh.box((x[0] - 0.03, x[1] + 0.03), (top, top + 0.05), (wall_z_m, wall_z_m + 0.075), opening.casing)
    if isinstance(opening, Window):
        y = opening.sill_y_m - opening.casing_m
        mesh.box((x[0] - 0.035, x[1] + 0.035), (y - 0.045, y), (wall_z_m, wall_z_m + 0.06), opening.casing)


def _add_soldiers(mesh: MeshBuilder, opening: Opening, wall_z_m: float) -> None:
    """Bricks on end above the hole, and a stone sill below a window."""
    x = (opening.middle_x_m - opening.width_m / 2, opening.middle_x_m + opening.width_m / 2)
    if is_half_round(opening):
        outer = half_disc(opening.middle_x_m, opening.sill_y_m, opening.width_m / 2 + 0.22)
        mesh.sheet(outer, [clear_outline(opening)], wall_z_m + 0.012, "stone")
        mesh.tube(outer, (wall_z_m, wall_z_m + 0.012), "stone")
    else:
        across, up, proud = lintel_span(opening)
        mesh.box(across, up, (wall_z_m - 0.1, wall_z_m + proud), "stone")
    if isinstance(opening, Window):
        y = opening.sill_y_m
        mesh.box((x[0] - 0.08, x[1] + 0.08), (y - 0.09, y), (wall_z_m - 0.1, wall_z_m + 0.035), "stone")


def _add_window(mesh: MeshBuilder, window: Window, frame_z: float, wall_z_m: float) -> None:
    clear, inner = clear_outline(window), grown_outline(window, -FRAME_M)
    mesh.ring(clear, inner, (frame_z - 0.1, frame_z), window.frame)
    glass = "room" if window.lit else "glass"
    if is_half_round(window):
        mesh.pane(inner, frame_z - 0.045, glass, _extent(window))
        _add_rays(mesh, window, frame_z)
        return
    low, high = inner.min(axis=0), inner.max(axis=0)
    for x, y, z in _sash_spans(window, low, high, frame_z):
        _add_sash(mesh, window, x, y, z, glass)
    if window.shutters_m > 0:
        _add_shutters(mesh, window, wall_z_m)


def _sash_spans(
    window: Window, low: Outline, high: Outline, frame_z: float
) -> list[tuple[tuple[float, float], tuple[float, float], float]]:
    x, y = (float(low[0]), float(high[0])), (float(low[1]), float(high[1]))
    if window.sashes == "hung":  # the lower sash runs inside of the upper one
        middle = 0.5 * (y[0] + y[1])
        return [(x, (middle - 0.02, y[1]), frame_z - 0.02), (x, (y[0], middle + 0.02), frame_z - 0.055)]
    if window.sashes == "pair":
        middle = 0.5 * (x[0] + x[1])
        return [((x[0], middle), y, frame_z - 0.02), ((middle, x[1]), y, frame_z - 0.02)]
    return [(x, y, frame_z - 0.02)]


def _add_sash(
    mesh: MeshBuilder, window: Window, x: tuple[float, float], y: tuple[float, float], z: float, glass: str
) -> None:
    rail = 0.045
    outer = rectangle(x, y)
    inside_x, inside_y = (x[0] + rail, x[1] - rail), (y[0] + rail, y[1] - rail)
    mesh.ring(outer, rectangle(inside_x, inside_y), (z - 0.035, z), window.frame)
    mesh.pane(outer, z - 0.025, glass, _extent(window))
    columns, rows = window.panes
    for i in range(1, columns):
        middle = inside_x[0] + (inside_x[1] - inside_x[0]) * i / columns
        mesh.box((middle - BAR_M / 2, middle + BAR_M / 2), inside_y, (z - 0.026, z - 0.008), window.frame)
    for i in range(1, rows):
        middle = inside_y[0] + (inside_y[1] - inside_y[0]) * i / rows
        mesh.box(inside_x, (middle - BAR_M / 2, middle + BAR_M / 2), (z - 0.026, z - 0.009), window.frame)


def _add_rays(mesh: MeshBuilder, window: Window, frame_z: float) -> None:
    """Bars of a half-round window: sectors from a small hub, and rings."""
    sectors, rings = window.panes
    x, y, radius = window.middle_x_m, window.sill_y_m + FRAME_M, window.width_m / 2 - FRAME_M
    z = (frame_z - 0.046, frame_z - 0.025)
    hub = radius * 0.28
    mesh.sheet(half_disc(x, y, hub), [], z[1], window.frame)
    for i in range(1, sectors):
        angle = np.pi * i / sectors
        out = np.array([np.cos(angle), np.sin(angle)])
        side = np.array([-out[1], out[0]]) * BAR_M / 2
        a, b = np.array([x, y]) + out * hub * 0.9, np.array([x, y]) + out * (radius - 0.005)
        bar = np.array([a - side, b - side, b + side, a + side])
        mesh.sheet(bar, [], z[1], window.frame)
        mesh.tube(bar, z, window.frame)
    for i in range(1, rings):
        middle = hub + (radius - hub) * i / rings
        mesh.sheet(
            half_disc(x, y, middle + BAR_M / 2), [half_disc(x, y, middle - BAR_M / 2)], z[1] - 0.001, window.frame
        )


def _add_shutters(mesh: MeshBuilder, window: Window, wall_z_m: float) -> None:
    half = window.width_m / 2 + window.casing_m + 0.03
    y = (window.sill_y_m - 0.02, window.sill_y_m + window.height_m + 0.04)
    for side in (-1, 1):
        edges = sorted((window.middle_x_m + side * half, window.middle_x_m + side * (half + window.shutters_m)))
        x = (edges[0], edges[1])
        mesh.box(x, y, (wall_z_m + 0.005, wall_z_m + 0.045), window.shutter)
        middle = 0.5 * (y[0] + y[1])
        for part in ((y[0] + 0.08, middle - 0.04), (middle + 0.04, y[1] - 0.08)):
            slats = max(int((part[1] - part[0]) / 0.055), 1)
            step = (part[1] - part[0]) / slats
            for i in range(slats):
                top = part[0] + (i + 1) * step
                corners = [(x[0] + 0.06, top - step, wall_z_m + 0.066), (x[1] - 0.06, top - step, wall_z_m + 0.066),
                           (x[1] - 0.06, top, wall_z_m + 0.046), (x[0] + 0.06, top, wall_z_m + 0.046)]  # fmt: skip
                mesh.face(corners, window.shutter)


def _add_door(mesh: MeshBuilder, door: Door, frame_z: float) -> None:
    x = (door.middle_x_m - door.width_m / 2, door.middle_x_m + door.width_m / 2)
    y = (door.sill_y_m, door.sill_y_m + door.height_m)
    mesh.ring(
        rectangle(x, y),
        rectangle((x[0] + 0.05, x[1] - 0.05), (y[0] + 0.03, y[1] - 0.05)),
        (frame_z - 0.1, frame_z),
        door.frame,
    )
    leaf_x, leaf_y, z = (x[0] + 0.05, x[1] - 0.05), (y[0] + 0.03, y[1] - 0.05), frame_z - 0.04
    glass_y = (leaf_y[0] + 0.72 * (leaf_y[1] - leaf_y[0]), leaf_y[1] - 0.13)
    panels = _grid(leaf_x, (leaf_y[0] + 0.1, glass_y[0] - 0.03), door.panels, margin_m=0.1, gap_m=0.1)
    panes = _grid(leaf_x, glass_y, door.panes, margin_m=0.12, gap_m=0.035)
    mesh.sheet(rectangle(leaf_x, leaf_y), [rectangle(*hole) for hole in (*panels, *panes)], z, door.leaf)
    for px, py in panels:
        _add_panel(mesh, px, py, z, door.leaf)
    for px, py in panes:
        mesh.tube(rectangle(px, py), (z - 0.02, z), door.leaf)
        mesh.pane(rectangle(px, py), z - 0.02, "room", _extent(door))
    knob = (x[1] - 0.15, x[1] - 0.10)
    mesh.box(knob, (y[0] + 0.95, y[0] + 1.12), (z, z + 0.05), "metal")


def _add_panel(mesh: MeshBuilder, x: tuple[float, float], y: tuple[float, float], z: float, material: str) -> None:
    """A sunk panel with a raised field and sloping edges."""
    sunk, bevel = 0.022, min(0.05, 0.25 * (x[1] - x[0]), 0.25 * (y[1] - y[0]))
    mesh.tube(rectangle(x, y), (z - sunk, z), material)
    outer = rectangle((x[0], x[1]), (y[0], y[1]))
    inner = rectangle((x[0] + bevel, x[1] - bevel), (y[0] + bevel, y[1] - bevel))
    for i in range(4):
        j = (i + 1) % 4
        mesh.face(
            [(*outer[i], z - sunk), (*outer[j], z - sunk), (*inner[j], z - 0.006), (*inner[i], z - 0.006)], material
        )
    mesh.sheet(inner, [], z - 0.006, material)


def _add_garage_door(mesh: MeshBuilder, door: GarageDoor, frame_z: float) -> None:
    x = (door.middle_x_m - door.width_m / 2, door.middle_x_m + door.width_m / 2)
    y = (door.sill_y_m, door.sill_y_m + door.height_m)
    columns, rows = door.panels
    height = (y[1] - y[0]) / rows
    for row in range(rows):
        low, high = y[0] + row * height + 0.006, y[0] + (row + 1) * height
        cells = _grid(x, (low, high), (columns, 1), margin_m=0.09, gap_m=0.12)
        mesh.sheet(rectangle(x, (low, high)), [rectangle(*cell) for cell in cells], frame_z, door.leaf)
        mesh.box(x, (low - 0.006, low), (frame_z - 0.03, frame_z - 0.012), "dark")
        for cx, cy in cells:
            if door.glazed and row == rows - 1:
                mesh.tube(rectangle(cx, cy), (frame_z - 0.03, frame_z), door.leaf)
                mesh.pane(rectangle(cx, cy), frame_z - 0.03, "glass", _extent(door))
                middle = 0.5 * (cx[0] + cx[1])
                mesh.box((middle - 0.011, middle + 0.011), cy, (frame_z - 0.03, frame_z - 0.01), door.leaf)
            else:
                _add_panel(mesh, cx, cy, frame_z, door.leaf)
    for side in (0.42, 0.58):
        middle = x[0] + side * (x[1] - x[0])
        mesh.box((middle - 0.05, middle + 0.05), (y[0] + 0.55, y[0] + 0.57), (frame_z, frame_z + 0.03), "metal")


def _grid(
    x: tuple[float, float], y: tuple[float, float], count: tuple[int, int], *, margin_m: float, gap_m: float
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Cells of a grid with a margin around it and a gap between its cells (smaller up than across)."""
    columns, rows = count
    if columns * rows == 0:
        return []
    left, right = x[0] + margin_m, x[1] - margin_m
    low, high = y[0] + min(margin_m, 0.09), y[1] - min(margin_m, 0.09)
    wide = (right - left - gap_m * (columns - 1)) / columns
    tall = (high - low - gap_m * (rows - 1)) / rows
    return [
        (
            (left + i * (wide + gap_m), left + i * (wide + gap_m) + wide),
            (low + j * (tall + gap_m), low + j * (tall + gap_m) + tall),
        )
        for j in range(rows)
        for i in range(columns)
    ]
