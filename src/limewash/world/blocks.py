"""Walls, roofs, porches and chimneys as triangles."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from limewash.world.mesh import MeshBuilder, Outline, rectangle
from limewash.world.model import Block, Chimney, Porch, Roof
from limewash.world.openings import add_opening, clear_outline

ROOF_THICKNESS_M = 0.1
PLINTH_PROUD_M = 0.03


@dataclass(frozen=True)
class RoofLines:
    """Where a roof's visible edges run, as world points (N, 3): what one traces as its roof line."""

    edge: Outline
    ridge: Outline


def wall_outline(block: Block) -> Outline:
    """The front wall in x, y: a rectangle, or with a gable on it."""
    x, y = block.x_m, (block.base_y_m, block.eaves_y_m)
    if block.roof.gable == "side":
        return rectangle(x, y)
    peak = (0.5 * (x[0] + x[1]), block.eaves_y_m + 0.5 * (x[1] - x[0]) * _rise(block.roof))
    return np.array([(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), peak, (x[0], y[1])])


def traced_wall(block: Block) -> Outline:
    """The part of the front wall that shows below its roof's boards and above its plinth, in x, y."""
    rise, roof = _rise(block.roof), block.roof
    x = block.traced_x_m or block.x_m
    low = block.base_y_m + block.plinth_m if block.traced_from_y_m is None else block.traced_from_y_m
    if roof.gable == "side":
        top = block.eaves_y_m - roof.overhang_m * rise + _lift(roof) - roof.fascia_m
        return rectangle(x, (low, top))
    drop = (roof.fascia_m - ROOF_THICKNESS_M) / np.cos(np.radians(roof.pitch_deg))
    outline = wall_outline(block)
    outline[2:, 1] -= drop
    outline[:2, 1] = low
    return outline


def roof_lines(x_m: tuple[float, float], front_z_m: float, depth_m: float, eaves_y_m: float, roof: Roof) -> RoofLines:
    """Edges of a roof over walls of that plan: along the top of its fascia or bargeboards.

    A gable to the street gives the line eaves, ridge, eaves; a ridge along the street gives the front eaves.
    """
    rise = _rise(roof)
    lift = _lift(roof)
    if roof.gable == "front":
        middle = 0.5 * (x_m[0] + x_m[1])
        z = front_z_m + roof.rake_m
        low = eaves_y_m - roof.overhang_m * rise + lift
        peak = eaves_y_m + (middle - x_m[0]) * rise + lift
        edge = np.array([(x_m[0] - roof.overhang_m, low, z), (middle, peak, z), (x_m[1] + roof.overhang_m, low, z)])
        return RoofLines(edge, np.array([(middle, peak, z), (middle, peak, front_z_m - depth_m)]))
    x = (x_m[0] - roof.rake_m, x_m[1] + roof.rake_m)
    low, z = eaves_y_m - roof.overhang_m * rise + lift, front_z_m + roof.overhang_m
    peak, back = eaves_y_m + 0.5 * depth_m * rise + lift, front_z_m - 0.5 * depth_m
    return RoofLines(np.array([(x[0], low, z), (x[1], low, z)]), np.array([(x[0], peak, back), (x[1], peak, back)]))


SIDE_FASCIA_M = np.array([0.0, 0.015, 0.03])
"""From the edge of a side gable's covering to the top of its fascia board's front."""


FRONT_FASCIA_M = 0.03
BARGE_LIFT_M = 0.02
"""How far the boards of a gable stand before the edge of the covering, and above it, square to the slope."""


def visible_edge(lines: RoofLines, roof: Roof) -> np.ndarray:
    """What ends a roof for those who look, world points (N, 3): the top of its boards, or the rim of the gutter. [m]"""
    if roof.gable == "side":
        return np.asarray(lines.edge + SIDE_FASCIA_M + _round_gutter(2.0 * np.pi))
    pitch = np.radians(roof.pitch_deg)
    aside, up = BARGE_LIFT_M * np.sin(pitch), BARGE_LIFT_M * np.cos(pitch)
    lift = [(-aside, up, 0.0), (0.0, BARGE_LIFT_M / np.cos(pitch), 0.0), (aside, up, 0.0)]
    return np.asarray(lines.edge + np.array(lift) + np.array([0.0, 0.0, FRONT_FASCIA_M]))


def add_block(mesh: MeshBuilder, block: Block) -> None:
    """Add the walls with their openings, the roof, the plinth and the corner boards."""
    outline, z = wall_outline(block), block.front_z_m
    holes = [clear_outline(opening) for opening in block.openings]
    mesh.sheet(outline, holes, z, block.wall)
    for opening in block.openings:
        add_opening(mesh, opening, z, block.wall)
    _add_other_walls(mesh, block)
    if block.plinth_m > 0:
        _add_plinth(mesh, block)
    if block.corner_m > 0:
        _add_corner_boards(mesh, block)
    add_roof(mesh, block.x_m, z, block.depth_m, block.eaves_y_m, block.roof)


def _lift(roof: Roof) -> float:
    """Height of the covering above the walls' top."""
    return float(ROOF_THICKNESS_M / np.cos(np.radians(roof.pitch_deg)))


def _rise(roof: Roof) -> float:
    return float(np.tan(np.radians(roof.pitch_deg)))


def _add_other_walls(mesh: MeshBuilder, block: Block) -> None:
    z = (block.front_z_m - block.depth_m, block.front_z_m)
    y = (block.base_y_m, block.eaves_y_m)
    peak = block.eaves_y_m + 0.5 * block.depth_m * _rise(block.roof)
    for x in block.x_m:
        corners = [(x, y[0], z[0]), (x, y[0], z[1]), (x, y[1], z[1]), (x, y[1], z[0])]
        if block.roof.gable == "side":
            corners.insert(3, (x, peak, 0.5 * (z[0] + z[1])))
        mesh.face(corners, block.wall)
    mesh.sheet(wall_outline(block), [], z[0], block.wall)


def _add_plinth(mesh: MeshBuilder, block: Block) -> None:
    """A low course that stands a little proud, cut where doors reach the ground."""
    edges = [block.x_m[0] - PLINTH_PROUD_M]
    for opening in sorted((*block.doors, *block.garages), key=lambda o: o.middle_x_m):
        if opening.sill_y_m < block.plinth_m:
            half = opening.width_m / 2 + opening.casing_m
            edges += [opening.middle_x_m - half, opening.middle_x_m + half]
    edges.append(block.x_m[1] + PLINTH_PROUD_M)
    z = (block.front_z_m - block.depth_m, block.front_z_m + PLINTH_PROUD_M)
    y = (block.base_y_m, block.base_y_m + block.plinth_m)
    for left, right in zip(edges[::2], edges[1::2], strict=True):
        mesh.box((left, right), y, (block.front_z_m - 0.05, z[1]), block.plinth)
    for x in ((edges[0], block.x_m[0] + 0.05), (block.x_m[1] - 0.05, edges[-1])):
        mesh.box(x, y, z, block.plinth)


def _add_corner_boards(mesh: MeshBuilder, block: Block) -> None:
    y = (block.base_y_m + block.plinth_m, block.eaves_y_m)
    z, w = block.front_z_m, block.corner_m
    for side, x in zip((-1, 1), block.x_m, strict=True):
        out, inward = x + side * 0.025, x - side * w
        edges = (min(out, inward), max(out, inward))
        mesh.box(edges, y, (z - 0.01, z + 0.025), block.roof.fascia)
        mesh.box((min(out, x), max(out, x)), y, (z - w, z + 0.025), block.roof.fascia)


def add_roof(
    mesh: MeshBuilder, x_m: tuple[float, float], front_z_m: float, depth_m: float, eaves_y_m: float, roof: Roof
) -> None:
    """Add two slopes with fascia boards or bargeboards, and a ridge cap."""
    lines = roof_lines(x_m, front_z_m, depth_m, eaves_y_m, roof)
    if roof.gable == "front":
        _add_front_gable(mesh, lines, front_z_m - depth_m, roof)
    else:
        _add_side_gable(mesh, lines, front_z_m, depth_m, roof)


def _add_front_gable(mesh: MeshBuilder, lines: RoofLines, back_z: float, roof: Roof) -> None:
    left, peak, right = lines.edge
    for low in (left, right):
        behind = [(*peak[:2], back_z), (*low[:2], back_z)]
        mesh.slab([low, peak, *behind], ROOF_THICKNESS_M, roof.covering, edge=roof.fascia, under=roof.fascia)
        along = peak - low
        normal = np.array([-along[1], along[0], 0.0])
        up = normal if normal[1] > 0 else -normal
        out = (0.0, 0.0, FRONT_FASCIA_M)
        lift = up / np.linalg.norm(up) * BARGE_LIFT_M
        mesh.beam(
            low + out + lift, peak + out + lift, up=up, height_m=roof.fascia_m, depth_m=0.04, material=roof.fascia
        )
        side = 0.02 * np.sign(low[0] - peak[0])
        start, end = low + np.array([side, 0.0, 0.03]), np.array([low[0] + side, low[1], back_z])
        mesh.beam(start, end, up=(0, 1, 0), height_m=0.16, depth_m=0.03, material=roof.fascia)

    cap_x, cap_y = (peak[0] - 0.07, peak[0] + 0.07), (peak[1] - 0.08, peak[1] + 0.005)
    mesh.box(cap_x, cap_y, (back_z, peak[2] - 0.02), roof.covering)


def _add_side_gable(mesh: MeshBuilder, lines: RoofLines, front_z: float, depth: float, roof: Roof) -> None:
    (left, right), (ridge_left, ridge_right) = lines.edge, lines.ridge
    mesh.slab(
        [left, right, ridge_right, ridge_left], ROOF_THICKNESS_M, roof.covering, edge=roof.fascia, under=roof.fascia
    )
    back_z = front_z - depth - roof.overhang_m
    far = [(right[0], right[1], back_z), (left[0], left[1], back_z)]
    mesh.slab([ridge_left, ridge_right, *far], ROOF_THICKNESS_M, roof.covering, edge=roof.fascia, under=roof.fascia)
    out = SIDE_FASCIA_M
    mesh.beam(left + out, right + out, up=(0, 1, 0), height_m=roof.fascia_m, depth_m=0.04, material=roof.fascia)
    _add_gutter(mesh, left + out, right + out)
    for low, high, side in ((left, ridge_left, -1), (right, ridge_right, 1)):
        shift = np.array([side * 0.02, 0.02, 0.0])
        mesh.beam(low + shift, high + shift, up=(0, 1, 0), height_m=roof.fascia_m, depth_m=0.04, material=roof.fascia)
    mesh.box((ridge_left[0], ridge_right[0]), (ridge_left[1] - 0.03, ridge_left[1] + 0.05),
             (ridge_left[2] - 0.09, ridge_left[2] + 0.09), roof.covering)  # fmt: skip


def _add_gutter(mesh: MeshBuilder, start: np.ndarray, end: np.ndarray) -> None:
    """A half-round gutter in front of a fascia board."""
    angles = np.linspace(np.pi, 2 * np.pi, 7)
    for a, b in pairwise(angles):
        offset = [_round_gutter(t) for t in (a, b)]
        mesh.face([start + offset[0], end + offset[0], end + offset[1], start + offset[1]], "trim")


def _round_gutter(angle_rad: float) -> np.ndarray:
    """From the top of the fascia board's front to a point of the gutter; a full turn is its front rim. [m]"""
    return np.array([0.0, -0.02 + 0.06 * np.sin(angle_rad), 0.062 + 0.06 * np.cos(angle_rad)])


def add_porch(mesh: MeshBuilder, porch: Porch) -> None:
    """Add the platform with its steps, posts, beam, rails and roof."""
    x, front = porch.x_m, porch.wall_z_m + porch.depth_m
    mesh.box(x, (0.0, porch.floor_y_m - 0.06), (porch.wall_z_m, front), "plinth")
    nose = (x[0] - 0.04, x[1] + 0.04)
    mesh.box(nose, (porch.floor_y_m - 0.06, porch.floor_y_m), (porch.wall_z_m, front + 0.04), "trim", top=porch.floor)
    for number, (low, high, z0, z1) in enumerate(step_spans(porch)):
        mesh.box(porch.steps_x_m, (low, high), (z0, z1 + 0.001 * number), "stone")
    for middle in porch.posts_x_m:
        _add_post(mesh, porch, middle)
    top = porch.beam_y_m + porch.beam_m
    inset = (x[0] + 0.05, x[1] - 0.05)
    mesh.box(inset, (porch.beam_y_m, top), (front - 0.22, front - 0.03), porch.post)
    for left in (inset[0], inset[1] - 0.16):
        mesh.box((left, left + 0.16), (porch.beam_y_m, top), (porch.wall_z_m, front - 0.2), porch.post)
    mesh.face(
        [(x[0], top, porch.wall_z_m), (x[1], top, porch.wall_z_m), (x[1], top, front), (x[0], top, front)], porch.post
    )
    if porch.rails:
        _add_rails(mesh, porch)
    if porch.roof.gable == "front":
        _add_pediment(mesh, porch, top)
    else:
        _add_lean_to(mesh, porch, top)


def step_spans(porch: Porch) -> list[tuple[float, float, float, float]]:
    """Each step's low and high y and its back and front z, from the ground up."""
    rise = porch.floor_y_m / (porch.steps + 1)
    front = porch.wall_z_m + porch.depth_m
    return [
        (i * rise, (i + 1) * rise, front - 0.01, front + porch.tread_m * (porch.steps - i)) for i in range(porch.steps)
    ]


def post_span(porch: Porch, middle_x_m: float) -> tuple[tuple[float, float], tuple[float, float], float]:
    """A post's x span, y span and front z."""
    half = porch.post_m / 2
    front = porch.wall_z_m + porch.depth_m - 0.05
    return (middle_x_m - half, middle_x_m + half), (porch.floor_y_m, porch.beam_y_m), front


def _add_post(mesh: MeshBuilder, porch: Porch, middle: float) -> None:
    x, y, front = post_span(porch, middle)
    back = front - porch.post_m
    mesh.box(x, y, (back, front), porch.post)
    for low, high, grow in ((y[0], y[0] + 0.2, 0.025), (y[1] - 0.12, y[1], 0.02), (y[1] - 0.18, y[1] - 0.15, 0.015)):
        mesh.box((x[0] - grow, x[1] + grow), (low, high), (back - grow, front + grow), porch.post)


def _add_rails(mesh: MeshBuilder, porch: Porch) -> None:
    """Balustrades between posts, left open above the steps."""
    posts = sorted(porch.posts_x_m)
    z = porch.wall_z_m + porch.depth_m - 0.05 - porch.post_m / 2
    floor = porch.floor_y_m
    for a, b in pairwise(posts):
        if a < np.mean(porch.steps_x_m) < b:
            continue
        x = (a + porch.post_m / 2, b - porch.post_m / 2)
        for low, high in ((floor + 0.08, floor + 0.13), (floor + 0.82, floor + 0.88)):
            mesh.box(x, (low, high), (z - 0.035, z + 0.035), porch.post)
        count = max(int((x[1] - x[0]) / 0.11), 1)
        for i in range(count):
            middle = x[0] + (i + 0.5) * (x[1] - x[0]) / count
            mesh.box((middle - 0.016, middle + 0.016), (floor + 0.13, floor + 0.82), (z - 0.016, z + 0.016), porch.post)
    for x_side in (posts[0], posts[-1]):
        for low, high in ((floor + 0.08, floor + 0.13), (floor + 0.82, floor + 0.88)):
            mesh.box((x_side - 0.03, x_side + 0.03), (low, high), (porch.wall_z_m, z), porch.post)


def _add_pediment(mesh: MeshBuilder, porch: Porch, top: float) -> None:
    front = porch.wall_z_m + porch.depth_m
    lines = roof_lines(porch.x_m, front, porch.depth_m, top, porch.roof)
    middle = 0.5 * (porch.x_m[0] + porch.x_m[1])
    peak = top + (middle - porch.x_m[0]) * _rise(porch.roof)
    mesh.sheet(np.array([(porch.x_m[0], top), (porch.x_m[1], top), (middle, peak)]), [], front - 0.06, porch.post)
    mesh.box(
        (porch.x_m[0] - 0.1, porch.x_m[1] + 0.1), (top - 0.01, top + 0.06), (front - 0.24, front + 0.05), porch.post
    )
    _add_front_gable(mesh, lines, porch.wall_z_m, porch.roof)


def _add_lean_to(mesh: MeshBuilder, porch: Porch, top: float) -> None:
    """A single slope that falls from the wall to the street."""
    front = porch.wall_z_m + porch.depth_m + porch.roof.overhang_m
    rise = (front - porch.wall_z_m) * _rise(porch.roof)
    x = (porch.x_m[0] - porch.roof.rake_m, porch.x_m[1] + porch.roof.rake_m)
    low = top + 0.04
    slope = [
        (x[0], low, front),
        (x[1], low, front),
        (x[1], low + rise, porch.wall_z_m),
        (x[0], low + rise, porch.wall_z_m),
    ]
    mesh.slab(slope, 0.08, porch.roof.covering, edge=porch.roof.fascia, under=porch.roof.fascia)
    start, end = np.array([x[0], low + 0.02, front + 0.03]), np.array([x[1], low + 0.02, front + 0.03])
    mesh.beam(start, end, up=(0, 1, 0), height_m=porch.roof.fascia_m, depth_m=0.04, material=porch.roof.fascia)
    _add_gutter(mesh, start, end)
    for edge in x:
        cheek = [
            (edge, top - 0.02, porch.wall_z_m),
            (edge, top - 0.02, front - 0.2),
            (edge, low, front - 0.02),
            (edge, low + rise, porch.wall_z_m),
        ]
        inward = 0.12 if edge == x[0] else -0.12
        mesh.face([(px + inward, py, pz) for px, py, pz in cheek], porch.roof.fascia)


def add_chimney(mesh: MeshBuilder, chimney: Chimney) -> None:
    """Add a stack with a corbelled head and two pots."""
    x, y, z = chimney.x_m, chimney.y_m, chimney.z_m
    mesh.box(x, y, z, chimney.wall)
    for low, high, grow in ((y[1] - 0.3, y[1] - 0.22, 0.035), (y[1] - 0.1, y[1], 0.05)):
        mesh.box((x[0] - grow, x[1] + grow), (low, high), (z[0] - grow, z[1] + grow), chimney.wall)
    mesh.box((x[0] - 0.07, x[1] + 0.07), (y[1], y[1] + 0.06), (z[0] - 0.07, z[1] + 0.07), "stone")
    for share in (0.3, 0.7):
        middle = x[0] + share * (x[1] - x[0])
        depth = 0.5 * (z[0] + z[1])
        mesh.box((middle - 0.1, middle + 0.1), (y[1] + 0.06, y[1] + 0.32), (depth - 0.1, depth + 0.1), "clay")
