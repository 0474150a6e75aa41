"""Building a mesh: planar faces, boxes, beams and sheets with holes, with texture coordinates in metres."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Outline = NDArray[np.float64]
"""Corners (N, 2) of a polygon, counter-clockwise or not, not repeated at the end."""


@dataclass(frozen=True)
class Mesh:
    """Triangles with texture coordinates.

    Attributes
    ----------
    corners_m : ndarray of shape (N, 3, 3)
        Corners of each triangle. [m]
    texture_m : ndarray of shape (N, 3, 2)
        Texture coordinates u, v at each corner. [m]
    across : ndarray of shape (N, 3)
        World direction of growing u.
    material : tuple of str
        Name of each triangle's material.
    """

    corners_m: Array
    texture_m: Array
    across: Array
    material: tuple[str, ...]


class MeshBuilder:
    """Collects faces; `build` gives the mesh."""

    def __init__(self) -> None:
        self._corners: list[Array] = []
        self._texture: list[Array] = []
        self._across: list[Array] = []
        self._material: list[str] = []

    def build(self) -> Mesh:
        return Mesh(
            np.concatenate(self._corners),
            np.concatenate(self._texture),
            np.concatenate(self._across),
            tuple(self._material),
        )

    def face(
        self, corners: ArrayLike, material: str, *, across: ArrayLike | None = None, origin: ArrayLike = (0, 0, 0)
    ) -> None:
        """Add a convex planar face (N, 3); u runs along `across` (default: level), v upwards in the face."""
        p = np.asarray(corners, dtype=np.float64)
        normal = _normal(p)
        u = np.asarray(across, dtype=np.float64) if across is not None else _level_direction(normal)
        u = u - normal * (u @ normal)
        u /= np.linalg.norm(u)
        v = np.cross(normal, u)
        if v[1] < -1e-9:  # v is up whichever way round the corners were given
            v = -v
        local = p - np.asarray(origin, dtype=np.float64)
        uv = np.stack([local @ u, local @ v], axis=1)
        fan = [(0, i, i + 1) for i in range(1, len(p) - 1)]
        self.triangles(p[np.array(fan)], uv[np.array(fan)], np.tile(u, (len(fan), 1)), material)

    def triangles(self, corners: Array, texture: Array, across: Array, material: str) -> None:
        """Add triangles (N, 3, 3) with texture coordinates (N, 3, 2) and directions of u (N, 3)."""
        self._corners.append(corners)
        self._texture.append(texture)
        self._across.append(across)
        self._material += [material] * len(corners)

    def box(
        self,
        x: tuple[float, float],
        y: tuple[float, float],
        z: tuple[float, float],
        material: str,
        *,
        top: str | None = None,
    ) -> None:
        """Add a box with its faces along the axes."""
        (x0, x1), (y0, y1), (z0, z1) = x, y, z
        upper = top if top is not None else material
        self.face([(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)], material)
        self.face([(x1, y0, z0), (x0, y0, z0), (x0, y1, z0), (x1, y1, z0)], material)
        self.face([(x0, y0, z0), (x0, y0, z1), (x0, y1, z1), (x0, y1, z0)], material)
        self.face([(x1, y0, z1), (x1, y0, z0), (x1, y1, z0), (x1, y1, z1)], material)
        self.face([(x0, y1, z1), (x1, y1, z1), (x1, y1, z0), (x0, y1, z0)], upper)
        self.face([(x0, y0, z0), (x1, y0, z0), (x1, y0, z1), (x0, y0, z1)], material)

    def beam(
        self, start: ArrayLike, end: ArrayLike, *, up: ArrayLike, height_m: float, depth_m: float, material: str
    ) -> None:
        """Add a board whose UPPER FRONT edge runs from `start` to `end`.

        It reaches `height_m` against `up` and `depth_m` back, away from the street (towards -z, or to the
        side of it when the board itself runs along z).
        """
        a, b = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
        along = (b - a) / np.linalg.norm(b - a)
        upward = np.asarray(up, dtype=np.float64)
        upward = upward - along * (upward @ along)
        upward /= np.linalg.norm(upward)
        back = np.cross(along, upward)
        if back[2] > 1e-9 or (abs(back[2]) <= 1e-9 and back[0] > 0):
            back = -back
        down = -upward * height_m
        deep = back * depth_m
        f = [a, b, b + down, a + down]
        r = [p + deep for p in f]
        self.face(f, material, across=along)
        self.face(r[::-1], material, across=along)
        for i, j in ((0, 1), (1, 2), (2, 3), (3, 0)):
            self.face([f[i], f[j], r[j], r[i]], material)

    def slab(
        self,
        top: ArrayLike,
        thickness_m: float,
        material: str,
        *,
        edge: str,
        under: str,
        across: ArrayLike | None = None,
    ) -> None:
        """Add a plate under a planar quadrilateral (4, 3), such as a roof slope."""
        p = np.asarray(top, dtype=np.float64)
        normal = _normal(p)
        if normal[1] < 0:
            normal = -normal
        low = p - normal * thickness_m
        self.face(p, material, across=across)
        self.face(low[::-1], under)
        for i in range(len(p)):
            j = (i + 1) % len(p)
            self.face([low[i], low[j], p[j], p[i]], edge)

    def sheet(self, outline: Outline, holes: list[Outline], z_m: float, material: str) -> None:
        """Add an upright flat sheet facing the street: a polygon in x, y with holes, at one z."""
        for quad in fill(outline, holes):
            corners = np.column_stack([quad, np.full(len(quad), z_m)])
            self.face(corners, material, across=(1.0, 0.0, 0.0))

    def pane(self, outline: Outline, z_m: float, material: str, window: tuple[float, float, float, float]) -> None:
        """Add glass: like `sheet`, with u, v counted in shares of a window (middle x, sill y, width, height)."""
        middle, sill, width, height = window
        for quad in fill(outline, []):
            corners = np.column_stack([quad, np.full(len(quad), z_m)])
            uv = (quad - (middle, sill)) / (width, height)
            fan = np.array([(0, i, i + 1) for i in range(1, len(quad) - 1)])
            self.triangles(corners[fan], uv[fan], np.tile((1.0, 0.0, 0.0), (len(fan), 1)), material)

    def tube(self, outline: Outline, z_m: tuple[float, float], material: str, *, closed: bool = True) -> None:
        """Add the walls that an outline (N, 2) in x, y sweeps between two z: a reveal or the edge of a board."""
        points = np.vstack([outline, outline[:1]]) if closed else outline
        for a, b in pairwise(points):
            if np.hypot(*(b - a)) > 1e-9:
                self.face([(*a, z_m[0]), (*b, z_m[0]), (*b, z_m[1]), (*a, z_m[1])], material)

    def ring(self, outer: Outline, inner: Outline, z_m: tuple[float, float], material: str) -> None:
        """Add a frame with thickness: front at z_m[1], back at z_m[0] (the back itself stays open)."""
        self.sheet(outer, [inner], z_m[1], material)
        self.tube(outer, z_m, material)
        self.tube(inner, z_m, material)


def fill(outline: Outline, holes: list[Outline]) -> list[Outline]:
    """Cut a polygon with holes into trapezoids with level edges, slab by slab between all corners' heights."""
    loops = [outline, *holes]
    heights = np.unique(np.round(np.concatenate([loop[:, 1] for loop in loops]), 9))
    pieces: list[Outline] = []
    for low, high in pairwise(heights):
        middle = 0.5 * (low + high)
        crossings: list[tuple[float, float, float]] = []
        for loop in loops:
            for (ax, ay), (bx, by) in zip(loop, np.roll(loop, -1, axis=0), strict=True):
                if (ay - middle) * (by - middle) < 0:
                    slope = (bx - ax) / (by - ay)
                    crossings.append((ax + slope * (middle - ay), ax + slope * (low - ay), ax + slope * (high - ay)))
        crossings.sort()
        for left, right in zip(crossings[::2], crossings[1::2], strict=True):
            pieces.append(_without_doubles([(left[1], low), (right[1], low), (right[2], high), (left[2], high)]))
    return [piece for piece in pieces if len(piece) >= 3]


def rectangle(x: tuple[float, float], y: tuple[float, float]) -> Outline:
    """Corners (4, 2), counter-clockwise from the lower left."""
    return np.array([(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])])


def half_disc(middle_x: float, base_y: float, radius: float, *, pieces: int = 48) -> Outline:
    """Corners of a half-round outline on a level base, counter-clockwise from the lower left."""
    angle = np.linspace(0.0, np.pi, pieces + 1)
    arc = np.column_stack([middle_x + radius * np.cos(angle), base_y + radius * np.sin(angle)])
    return np.vstack([arc[-1:], arc[:-1]])


def _without_doubles(points: list[tuple[float, float]]) -> Outline:
    kept = [p for i, p in enumerate(points) if np.hypot(p[0] - points[i - 1][0], p[1] - points[i - 1][1]) > 1e-7]
    return np.array(kept)


def _normal(corners: Array) -> Array:
    """Unit normal of a planar polygon, by Newell's sum, so that a doubled corner does no harm."""
    following = np.roll(corners, -1, axis=0)
    normal = np.cross(corners - corners[0], following - corners[0]).sum(axis=0)
    return np.asarray(normal / np.linalg.norm(normal))


def _level_direction(normal: Array) -> Array:
    """A level direction in a face: x for faces that look up or to the street, z for those to the side."""
    if abs(normal[0]) > 0.999:
        return np.array([0.0, 0.0, 1.0])
    if abs(normal[1]) > 0.999:
        return np.array([1.0, 0.0, 0.0])
    level = np.array([normal[2], 0.0, -normal[0]])
    return np.asarray(level / np.linalg.norm(level))
