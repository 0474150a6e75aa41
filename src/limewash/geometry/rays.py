"""Rays against triangles: a tree of boxes, the nearest hit, whether the way is free; and devices inside kernels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.jit import kernel

Array = NDArray[np.float64]

STACK_DEPTH = 96
"""Length of the scratch stack that `nearest` wants; deeper than any tree that `build_tree` makes."""

NEAREST, ANY = np.bool_(False), np.bool_(True)
"""What `nearest` looks for. (As NumPy values: plain True and False would each compile a kernel of its own.)"""

_LEAF = 3
_BINS = 12


class Tree(NamedTuple):
    """Triangles in the order of the leaves of a tree of bounding boxes.

    Attributes
    ----------
    bounds : ndarray of float32, shape (nodes, 6)
        Low x, y, z and high x, y, z of each node, rounded outwards. [m]
    links : ndarray of int32, shape (nodes, 2)
        Inner node: index of the first of its two adjacent children, 0. Leaf: first triangle, how many.
    triangles : ndarray of float64, shape (N, 9)
        One corner, then the two edges from it. [m]
    order : ndarray of int32, shape (N,)
        Index of each of these triangles in the array that the tree was built from.
    """

    bounds: NDArray[np.float32]
    links: NDArray[np.int32]
    triangles: Array
    order: NDArray[np.int32]


def build_tree(corners_m: Array) -> Tree:
    """Sort triangles into a tree of boxes (surface-area heuristic over bins).

    Parameters
    ----------
    corners_m : ndarray of shape (N, 3, 3)
        Corners of each triangle. [m]
    """
    corners = np.ascontiguousarray(corners_m, dtype=np.float64)
    if corners.ndim != 3 or corners.shape[1:] != (3, 3) or len(corners) == 0:
        raise InputError(f"corners_m must have shape (N, 3, 3) with N >= 1, got {corners.shape}")
    low, high = corners.min(axis=1), corners.max(axis=1)
    order = np.arange(len(corners), dtype=np.int32)
    bounds, links = np.empty((2 * len(corners), 6)), np.empty((2 * len(corners), 2), dtype=np.int32)
    used = _split(low, high, order, _LEAF, bounds, links, np.empty((len(corners) + 2, 3), dtype=np.int32))
    bounds, links = bounds[:used], links[:used].copy()
    outward = np.empty(bounds.shape, dtype=np.float32)
    outward[:, :3] = np.nextafter(bounds[:, :3].astype(np.float32), np.float32(-np.inf))
    outward[:, 3:] = np.nextafter(bounds[:, 3:].astype(np.float32), np.float32(np.inf))
    sorted_corners = corners[order]
    edges = sorted_corners[:, 1:] - sorted_corners[:, :1]
    triangles = np.concatenate([sorted_corners[:, 0], edges[:, 0], edges[:, 1]], axis=1)
    return Tree(outward, links, np.ascontiguousarray(triangles), order)


@kernel
def _split(  # noqa: PLR0912, PLR0915 -- one loop, kept whole so that it compiles quickly
    low: Array,
    high: Array,
    order: NDArray[np.int32],
    leaf: int,
    bounds: Array,
    links: NDArray[np.int32],
    todo: NDArray[np.int32],
) -> int:
    """Fill `bounds` and `links`, sort `order`; returns how many nodes there are.

    Plain loops over single numbers throughout: array expressions would double the time this takes to compile.
    """
    counts = np.zeros(_BINS, dtype=np.int64)
    boxes = np.empty((_BINS, 6))
    right_cost = np.empty(_BINS)
    run = np.empty(6)
    middle = np.empty(6)
    todo[0, 0], todo[0, 1], todo[0, 2] = 0, 0, len(order)
    waiting, used = 1, 1
    while waiting > 0:
        waiting -= 1
        node, start, stop = todo[waiting, 0], todo[waiting, 1], todo[waiting, 2]
        for axis in range(3):
            bounds[node, axis], bounds[node, axis + 3] = np.inf, -np.inf
            middle[axis], middle[axis + 3] = np.inf, -np.inf
        for k in range(start, stop):
            for axis in range(3):
                lo, hi = low[order[k], axis], high[order[k], axis]
                bounds[node, axis] = min(bounds[node, axis], lo)
                bounds[node, axis + 3] = max(bounds[node, axis + 3], hi)
                middle[axis] = min(middle[axis], lo + hi)
                middle[axis + 3] = max(middle[axis + 3], lo + hi)
        best_cost, best_axis, best_bin = np.inf, -1, 0
        for axis in range(3):
            span = middle[axis + 3] - middle[axis]
            if stop - start <= leaf or span <= 1e-12:
                continue
            for b in range(_BINS):
                counts[b] = 0
                for a in range(3):
                    boxes[b, a], boxes[b, a + 3] = np.inf, -np.inf
            for k in range(start, stop):
                t = order[k]
                b = min(int((low[t, axis] + high[t, axis] - middle[axis]) / span * _BINS), _BINS - 1)
                counts[b] += 1
                for a in range(3):
                    boxes[b, a] = min(boxes[b, a], low[t, a])
                    boxes[b, a + 3] = max(boxes[b, a + 3], high[t, a])
            for leftward in range(1, -1, -1):
                total = 0
                for a in range(3):
                    run[a], run[a + 3] = np.inf, -np.inf
                for step in range(_BINS - 1):
                    b = _BINS - 1 - step if leftward else step
                    total += counts[b]
                    for a in range(3):
                        run[a] = min(run[a], boxes[b, a])
                        run[a + 3] = max(run[a + 3], boxes[b, a + 3])
                    if total == 0:
                        right_cost[b] = np.inf if leftward else right_cost[b]
                        continue
                    dx, dy, dz = run[3] - run[0], run[4] - run[1], run[5] - run[2]
                    cost = total * (dx * dy + dy * dz + dz * dx)
                    if leftward:
                        right_cost[b] = cost
                    elif cost + right_cost[b + 1] < best_cost:
                        best_cost, best_axis, best_bin = cost + right_cost[b + 1], axis, b
        if best_axis < 0:  # few triangles, or all their middles in one place
            links[node, 0], links[node, 1] = start, stop - start
            continue
        span = middle[best_axis + 3] - middle[best_axis]
        i, j = start, stop
        while i < j:
            t = order[i]
            if (
                min(int((low[t, best_axis] + high[t, best_axis] - middle[best_axis]) / span * _BINS), _BINS - 1)
                <= best_bin
            ):
                i += 1
            else:
                j -= 1
                order[i], order[j] = order[j], t
        links[node, 0], links[node, 1] = used, 0
        todo[waiting, 0], todo[waiting, 1], todo[waiting, 2] = used, start, i
        todo[waiting + 1, 0], todo[waiting + 1, 1], todo[waiting + 1, 2] = used + 1, i, stop
        waiting += 2
        used += 2
    return used


@kernel
def _enter(
    b: NDArray[np.float32], ox: float, oy: float, oz: float, ix: float, iy: float, iz: float
) -> tuple[float, float]:
    """Where a ray enters and leaves a box."""
    x0, x1 = (b[0] - ox) * ix, (b[3] - ox) * ix
    y0, y1 = (b[1] - oy) * iy, (b[4] - oy) * iy
    z0, z1 = (b[2] - oz) * iz, (b[5] - oz) * iz
    return (
        max(min(x0, x1), min(y0, y1), min(z0, z1), 0.0),
        min(max(x0, x1), max(y0, y1), max(z0, z1)),
    )


@kernel
def _meet(t: Array, ox: float, oy: float, oz: float, dx: float, dy: float, dz: float) -> tuple[float, float, float]:
    """Distance along the ray and barycentric u, v of its meeting with a triangle; distance -1 if they miss.

    Möller and Trumbore's solution, both sides count. Edges are a hair too wide so that no ray slips between
    two triangles that share one.
    """
    ax, ay, az, bx, by, bz = t[3], t[4], t[5], t[6], t[7], t[8]
    px, py, pz = dy * bz - dz * by, dz * bx - dx * bz, dx * by - dy * bx
    det = ax * px + ay * py + az * pz
    if det == 0.0:
        return -1.0, 0.0, 0.0
    inv = 1.0 / det
    sx, sy, sz = ox - t[0], oy - t[1], oz - t[2]
    u = (sx * px + sy * py + sz * pz) * inv
    if u < -1e-9 or u > 1.0 + 1e-9:
        return -1.0, 0.0, 0.0
    qx, qy, qz = sy * az - sz * ay, sz * ax - sx * az, sx * ay - sy * ax
    v = (dx * qx + dy * qy + dz * qz) * inv
    if v < -1e-9 or u + v > 1.0 + 1e-9:
        return -1.0, 0.0, 0.0
    return (bx * qx + by * qy + bz * qz) * inv, u, v


@kernel
def nearest(
    tree: Tree,
    ox: float,
    oy: float,
    oz: float,
    dx: float,
    dy: float,
    dz: float,
    stop: float,
    anything: bool | np.bool_,
    stack: NDArray[np.int64],
) -> tuple[int, float, float, float]:
    """First triangle that a ray meets: its place in `tree.triangles` (-1: none), distance, barycentric u, v.

    Parameters
    ----------
    stop : float
        Nothing beyond this distance counts; distances count in lengths of the direction given.
    anything : bool
        NEAREST, or ANY: be content with the first triangle found, near or not.
    stack : ndarray of int64, shape (STACK_DEPTH,)
        Scratch space.
    """
    ix, iy, iz = 1.0 / (dx + 1e-300), 1.0 / (dy + 1e-300), 1.0 / (dz + 1e-300)
    best, hit, hit_u, hit_v = stop, -1, 0.0, 0.0
    node, top = 0, 0
    bounds, links = tree.bounds, tree.links
    while True:
        first, count = links[node, 0], links[node, 1]
        if count > 0:
            for k in range(first, first + count):
                t, u, v = _meet(tree.triangles[k], ox, oy, oz, dx, dy, dz)
                if 1e-9 < t < best:
                    best, hit, hit_u, hit_v = t, k, u, v
            if anything and hit >= 0:
                break
        else:
            near0, far0 = _enter(bounds[first], ox, oy, oz, ix, iy, iz)
            near1, far1 = _enter(bounds[first + 1], ox, oy, oz, ix, iy, iz)
            take0, take1 = near0 <= min(far0, best), near1 <= min(far1, best)
            if take0 or take1:
                swap = take1 and (not take0 or near1 < near0)
                node = first + 1 if swap else first
                if take0 and take1:
                    stack[top] = first if swap else first + 1
                    top += 1
                continue
        if top == 0:
            break
        top -= 1
        node = stack[top]
    return hit, best, hit_u, hit_v


def pack_device(device: Device) -> Array:
    """A device as the 23 numbers that `pixel_direction` and `pixel_of` read inside kernels."""
    return np.concatenate(
        [
            device.focal_px,
            device.centre_px,
            device.distortion,
            device.rotation.ravel(),
            device.position_m,
            np.asarray(device.size, dtype=np.float64),
        ]
    )


@kernel
def pixel_direction(device: Array, x: float, y: float) -> tuple[float, float, float]:
    """World direction (not of unit length: depth 1 along the axis) through a pixel of a packed device."""
    gx, gy = (x - device[2]) / device[0], (y - device[3]) / device[1]
    ux, uy = gx, gy
    k1, k2, p1, p2, k3 = device[4], device[5], device[6], device[7], device[8]
    if k1 != 0.0 or k2 != 0.0 or p1 != 0.0 or p2 != 0.0 or k3 != 0.0:
        for _ in range(60):
            r2 = ux * ux + uy * uy
            radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
            ex = gx - (ux * radial + 2.0 * p1 * ux * uy + p2 * (r2 + 2.0 * ux * ux))
            ey = gy - (uy * radial + p1 * (r2 + 2.0 * uy * uy) + 2.0 * p2 * ux * uy)
            ux += ex
            uy += ey
            if abs(ex) + abs(ey) < 1e-13:
                break
    return (
        ux * device[9] + uy * device[12] + device[15],
        ux * device[10] + uy * device[13] + device[16],
        ux * device[11] + uy * device[14] + device[17],
    )


@kernel
def pixel_of(device: Array, x_m: float, y_m: float, z_m: float) -> tuple[float, float, float]:
    """Pixel x, y and depth [m] of a world point in a packed device; depth <= 0: not in front, pixel NaN."""
    x, y, z = x_m - device[18], y_m - device[19], z_m - device[20]
    depth = device[15] * x + device[16] * y + device[17] * z
    if depth <= 1e-9:
        return np.nan, np.nan, depth
    ux = (device[9] * x + device[10] * y + device[11] * z) / depth
    uy = (device[12] * x + device[13] * y + device[14] * z) / depth
    k1, k2, p1, p2, k3 = device[4], device[5], device[6], device[7], device[8]
    r2 = ux * ux + uy * uy
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    dx = ux * radial + 2.0 * p1 * ux * uy + p2 * (r2 + 2.0 * ux * ux)
    dy = uy * radial + p1 * (r2 + 2.0 * uy * uy) + 2.0 * p2 * ux * uy
    return dx * device[0] + device[2], dy * device[1] + device[3], depth
