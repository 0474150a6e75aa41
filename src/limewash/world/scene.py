"""A house as arrays that kernels read: triangles in their tree, texture frames, materials."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limewash.geometry.rays import Tree, build_tree
from limewash.light.colour import decode_srgb
from limewash.world.blocks import add_block, add_chimney, add_porch
from limewash.world.garden import add_bush, add_lamp, add_strip, add_tree
from limewash.world.mesh import Mesh, MeshBuilder
from limewash.world.model import House, Material
from limewash.world.textures import KINDS

Array = NDArray[np.float64]


class Scene(NamedTuple):
    """What the ray caster needs; rows follow the order of `tree.triangles`.

    Attributes
    ----------
    tree : Tree
    texture : ndarray of shape (N, 6)
        u, v at the first corner, and their growth along both edges. [m]
    frame : ndarray of shape (N, 6)
        Unit normal, unit direction of u.
    material : ndarray of int32, shape (N,)
        Row in the two below.
    kind : ndarray of int64, shape (M,)
    paint : ndarray of shape (M, PAINT_NUMBERS)
        See `limewash.world.textures.surface`.
    """

    tree: Tree
    texture: Array
    frame: Array
    material: NDArray[np.int32]
    kind: NDArray[np.int64]
    paint: Array


def mesh_of(house: House) -> Mesh:
    """All triangles of a house and its garden."""
    mesh = MeshBuilder()
    for block in house.blocks:
        add_block(mesh, block)
    for porch in house.porches:
        add_porch(mesh, porch)
    for chimney in house.chimneys:
        add_chimney(mesh, chimney)
    for strip in house.ground:
        add_strip(mesh, strip)
    for bush in house.bushes:
        add_bush(mesh, bush)
    for tree in house.trees:
        add_tree(mesh, tree)
    for lamp in house.lamps:
        add_lamp(mesh, lamp)
    return mesh.build()


def build_scene(mesh: Mesh, materials: dict[str, Material]) -> Scene:
    """Sort a mesh into a tree and lay out what belongs to each triangle."""
    tree = build_tree(mesh.corners_m)
    names = list(materials)
    index = {name: i for i, name in enumerate(names)}
    uv = mesh.texture_m[tree.order]
    texture = np.concatenate([uv[:, 0], uv[:, 1] - uv[:, 0], uv[:, 2] - uv[:, 0]], axis=1)
    edges = tree.triangles[:, 3:6], tree.triangles[:, 6:9]
    normal = np.cross(*edges)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    number = np.array([index[name] for name in mesh.material], dtype=np.int32)
    return Scene(
        tree=tree,
        texture=np.ascontiguousarray(texture),
        frame=np.ascontiguousarray(np.concatenate([normal, mesh.across[tree.order]], axis=1)),
        material=number[tree.order],
        kind=np.array([KINDS.index(materials[name].kind) for name in names], dtype=np.int64),
        paint=np.array([paint_of(materials[name]) for name in names]),
    )


def paint_of(material: Material) -> list[float]:
    """The numbers that `surface` reads, in its order."""
    first = _linear(material.colour)
    second = _linear(material.second) if material.second else first
    joint = _linear(material.joint) if material.joint else [0.45 * c for c in first]
    return [
        *first, *second, *joint, *material.unit_m, *material.joint_m,
        material.bond, material.wander, material.lean, material.shade,
        material.tints, material.grain, *material.grain_m, material.relief,
    ]  # fmt: skip


def _linear(colour: str) -> list[float]:
    codes = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [float(x) for x in decode_srgb(codes)]
