"""Ground, bushes, trees and lamp posts as triangles."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limewash.world.mesh import MeshBuilder
from limewash.world.model import Bush, Lamp, Strip, Tree

Array = NDArray[np.float64]


def add_strip(mesh: MeshBuilder, strip: Strip) -> None:
    """Add a level piece of ground, with a small edge where it stands above its neighbours."""
    (x0, x1), (z0, z1), y = strip.x_m, strip.z_m, strip.y_m
    mesh.face([(x0, y, z1), (x1, y, z1), (x1, y, z0), (x0, y, z0)], strip.surface)
    if y > 0:
        mesh.face([(x0, 0.0, z1), (x1, 0.0, z1), (x1, y, z1), (x0, y, z1)], strip.surface)


def add_bush(mesh: MeshBuilder, bush: Bush) -> None:
    """Add a trimmed bush: a lumpy body covered with leaves that lie almost flat on it."""
    rng = np.random.default_rng(bush.seed)
    middle, radii = np.asarray(bush.middle_m), np.asarray(bush.radii_m)
    lumps = _Lumps(rng, count=26, depth=0.16)
    directions, faces = _sphere(20)
    body = middle + directions * radii * (lumps.radius(directions) - 0.05)[:, None]
    _add_surface(mesh, body, faces, bush.leaf)
    area = 4 * np.pi * np.mean(radii) ** 2
    count = int(area * 420)
    way = _even_directions(rng, count)
    way = way[(middle[1] + way[:, 1] * radii[1]) > 0.02]
    place = middle + way * radii * lumps.radius(way)[:, None] * rng.uniform(0.97, 1.05, (len(way), 1))
    outward = way / radii
    _add_leaves(mesh, rng, place, outward, bush.leaf, size_m=(0.035, 0.075), tilt=0.55)


def add_tree(mesh: MeshBuilder, tree: Tree) -> None:
    """Add a trunk with branches and a crown of leaves in clumps, or a cone to the ground."""
    rng = np.random.default_rng(tree.seed)
    foot = np.asarray(tree.foot_m)
    if tree.shape == "cone":
        _add_cone(mesh, rng, tree, foot)
        return
    crown_middle = foot + np.array([0.0, tree.height_m - 0.85 * tree.crown_m, 0.0])
    _add_limb(mesh, foot, crown_middle, 0.028 * tree.height_m, 0.012 * tree.height_m, tree.bark)
    clumps = _even_directions(rng, 46)
    clumps = crown_middle + clumps * tree.crown_m * (0.9, 0.8, 0.9) * rng.uniform(0.35, 0.92, (46, 1))
    for clump in clumps[:14]:
        start = foot + (crown_middle - foot) * rng.uniform(0.55, 1.0)
        _add_limb(mesh, start, clump, 0.009 * tree.height_m, 0.003 * tree.height_m, tree.bark)
    for clump in clumps:
        radius = tree.crown_m * rng.uniform(0.22, 0.36)
        way = _even_directions(rng, 190)
        place = clump + way * radius * (1.0, 0.72, 1.0) * rng.uniform(0.45, 1.0, (len(way), 1)) ** 0.5
        _add_leaves(mesh, rng, place, way + np.array([0.0, 0.5, 0.0]), tree.leaf, size_m=(0.07, 0.15), tilt=0.9)


def _add_cone(mesh: MeshBuilder, rng: np.random.Generator, tree: Tree, foot: Array) -> None:
    count = 2600
    high = 1.0 - np.sqrt(rng.uniform(0.0, 1.0, count))
    turn = rng.uniform(0.0, 2 * np.pi, count)
    wave = 1.0 + 0.08 * np.sin(high * 42.0 + 3.0 * turn)
    radius = tree.crown_m * (1.0 - high) ** 0.85 * wave
    out = np.column_stack([np.cos(turn), np.full(count, 0.35), np.sin(turn)])
    place = foot + np.column_stack([radius * np.cos(turn), 0.12 + high * (tree.height_m - 0.15), radius * np.sin(turn)])
    directions, faces = _sphere(14)
    share = 0.5 * (directions[:, 1] + 1.0)
    flat = np.hypot(directions[:, 0], directions[:, 2]).clip(1e-9)
    core = 0.86 * tree.crown_m * (1.0 - share) ** 0.85 * np.minimum(1.0, 4 * share + 0.4)
    body = foot + np.column_stack(
        [directions[:, 0] / flat * core, 0.1 + share * (tree.height_m - 0.3), directions[:, 2] / flat * core]
    )
    _add_surface(mesh, body, faces, tree.leaf)
    _add_leaves(mesh, rng, place, out, tree.leaf, size_m=(0.05, 0.1), tilt=0.6)


def add_lamp(mesh: MeshBuilder, lamp: Lamp) -> None:
    """Add a lantern, with a post to the ground where it has one."""
    x, y, z = lamp.place_m
    if lamp.pole:
        # The post stands beside the light and an arm holds the lantern's roof above it, or it would shade itself.
        post_z, top_y = z + 0.6, y + 0.3
        _add_limb(mesh, np.array([x, 0.0, post_z]), np.array([x, top_y, post_z]), 0.07, 0.045, "metal")
        _add_limb(mesh, np.array([x, top_y, post_z]), np.array([x, y + 0.16, z]), 0.03, 0.025, "metal")
        mesh.box((x - 0.2, x + 0.2), (y + 0.08, y + 0.16), (z - 0.2, z + 0.2), "metal")
    else:
        mesh.box((x - 0.08, x + 0.08), (y + 0.05, y + 0.1), (z - 0.08, z + 0.08), "metal")


class _Lumps:
    """A sphere's radius made uneven by bumps in random directions."""

    def __init__(self, rng: np.random.Generator, *, count: int, depth: float) -> None:
        self._ways = _even_directions(rng, count)
        self._heights = rng.uniform(0.3, 1.0, count) * depth

    def radius(self, directions: Array) -> Array:
        near = np.exp(7.0 * (directions @ self._ways.T - 1.0)) * self._heights
        return np.asarray(0.9 + near.max(axis=1))


def _even_directions(rng: np.random.Generator, count: int) -> Array:
    """Unit vectors spread evenly over the sphere, with a little disorder."""
    index = np.arange(count) + 0.5
    y = 1.0 - 2.0 * index / count
    turn = np.pi * (1.0 + 5.0**0.5) * index + rng.uniform(0, 2 * np.pi)
    flat = np.sqrt(1.0 - y * y)
    way = np.column_stack([flat * np.cos(turn), y, flat * np.sin(turn)])
    way += rng.normal(0.0, 0.9 / np.sqrt(count), way.shape)
    return np.asarray(way / np.linalg.norm(way, axis=1, keepdims=True))


def _sphere(rings: int) -> tuple[Array, NDArray[np.intp]]:
    """Unit directions and triangles of a sphere."""
    around = 2 * rings
    high = np.linspace(0.0, np.pi, rings + 1)
    turn = np.arange(around) * 2 * np.pi / around
    grid_high, grid_turn = np.meshgrid(high, turn, indexing="ij")
    way = np.stack(
        [np.sin(grid_high) * np.cos(grid_turn), np.cos(grid_high), np.sin(grid_high) * np.sin(grid_turn)], axis=-1
    )
    index = np.arange((rings + 1) * around).reshape(rings + 1, around)
    right = np.roll(index, -1, axis=1)
    upper = np.stack([index[:-1], right[:-1], index[1:]], axis=-1).reshape(-1, 3)
    lower = np.stack([right[:-1], right[1:], index[1:]], axis=-1).reshape(-1, 3)
    return way.reshape(-1, 3), np.vstack([upper[around:], lower[:-around]])


def _add_surface(mesh: MeshBuilder, points: Array, faces: NDArray[np.intp], material: str) -> None:
    corners = points[faces]
    across = corners[:, 1] - corners[:, 0]
    length = np.linalg.norm(across, axis=1, keepdims=True)
    across = across / np.maximum(length, 1e-9)
    flat = corners[..., :2] + 0.37 * corners[..., 2:]
    mesh.triangles(corners, flat, across, material)


def _add_leaves(
    mesh: MeshBuilder,
    rng: np.random.Generator,
    place: Array,
    outward: Array,
    material: str,
    *,
    size_m: tuple[float, float],
    tilt: float,
) -> None:
    """Add pointed leaves (two triangles each) around a direction, tilted at random.

    u of the texture is a number of the leaf's own, so that each leaf has its own tint.
    """
    normal = outward / np.linalg.norm(outward, axis=1, keepdims=True) + rng.normal(0, tilt, place.shape) * 0.5
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    along = np.cross(normal, rng.normal(0, 1, place.shape))
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    wide = np.cross(normal, along)
    long = rng.uniform(*size_m, (len(place), 1))
    tip, foot = place + along * long, place - along * long
    left, right = place + wide * long * 0.52 - along * long * 0.15, place - wide * long * 0.52 - along * long * 0.15
    corners = np.stack([np.stack([foot, left, tip], 1), np.stack([foot, tip, right], 1)], axis=1).reshape(-1, 3, 3)
    tint = rng.uniform(0.0, 1000.0, len(place))
    texture = np.zeros((len(place), 2, 3, 2))
    texture[..., 0] = np.floor(tint)[:, None, None]
    texture[:, :, :, 1] = np.array([[0.0, 0.5, 1.0], [0.0, 1.0, 0.5]])
    mesh.triangles(corners, texture.reshape(-1, 3, 2), np.repeat(wide, 2, axis=0), material)


def _add_limb(mesh: MeshBuilder, start: Array, end: Array, thick: float, thin: float, material: str) -> None:
    """A tapering round limb of eight sides."""
    along = (end - start) / np.linalg.norm(end - start)
    side = np.cross(along, (0.31, 0.1, 0.95))
    side /= np.linalg.norm(side)
    other = np.cross(along, side)
    turn = np.linspace(0, 2 * np.pi, 9)
    ring = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * other
    for a, b in pairwise(ring):
        mesh.face([start + a * thick, start + b * thick, end + b * thin, end + a * thin], material, across=along)
