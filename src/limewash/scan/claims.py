"""Where the camera may see each projector pixel: surfaces between their pixels, and a little beyond their rims."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.surface import Surfaces
from limewash.scan.takes import SPARSE
from limewash.scan.threads import all_of, in_bands

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Indices = NDArray[np.int32]
Seen = tuple[Image, Image, Image, Image]  # x, y, amplitude and share of `Surfaces`
Given = tuple[Image, Image, Image, Image, Indices]  # camera_x, camera_y, the light by which, filled, whose

REACH = np.float32(1.1)  # how far beyond its last pixel a surface may go on [camera px]
_EDGE_ON = 0.1  # share of the usual projector pixels to a camera pixel; fewer are seen too slantwise to go on
_FLATTEST = 0.02  # and still fewer to claim anything


@dataclass(frozen=True)
class Claims:
    """What surfaces say of each projector pixel, whether or not it is truly seen; arrays are of the projector's shape.

    Attributes
    ----------
    camera_x, camera_y : ndarray of float32
        Camera pixel that would see it; NaN where no surface comes near. [px]
    filled : ndarray of float32
        Where it lies between camera pixels that belong together, the share of a pixel that their surface fills there;
        -1 elsewhere. [-]
    whose : ndarray of int32
        Which camera pixel claims it, as row times the camera's width plus column; -1 where none does.
    usual_px : float
        How many camera pixels a projector pixel usually is wide. [px]
    """

    camera_x: Image
    camera_y: Image
    filled: Image
    whose: Indices
    usual_px: float


def claims_of(surfaces: Surfaces, projector_size: tuple[int, int]) -> Claims:
    """Let all surfaces claim what they may.

    Parameters
    ----------
    surfaces : Surfaces
        Projector positions of the camera pixels.
    projector_size : (int, int)
        Width and height. [px]
    """
    s, shape = surfaces, (projector_size[1], projector_size[0])
    areas = _areas(s)
    turned = 1.0 if np.sign(areas).sum() >= 0.0 else -1.0  # -1: the picture is mirrored
    usual = float(np.median(np.abs(areas))) if areas.size else 1.0

    camera_x, camera_y, strength, filled = (
        np.full(shape, start, dtype=np.float32) for start in (np.nan, np.nan, 0, -1)
    )
    far = np.full(shape, REACH, dtype=np.float32)
    whose, owner = (np.full(shape, -1, dtype=np.int32) for _ in range(2))
    seen, given = (s.x, s.y, s.amplitude, s.share), (camera_x, camera_y, strength, filled, owner)
    all_of(
        [
            lambda: fill_cells(seen, s.right, s.down, turned, given),
            lambda: reach_out(s.x, s.y, s.slope, turned, _EDGE_ON * usual, far, whose),
        ]
    )

    def settle(first: int, last: int) -> None:
        settle_rows(
            s.x, s.y, s.slope, turned * _FLATTEST * usual, owner, first, last, whose, filled, camera_x, camera_y
        )

    in_bands(shape[0], settle)
    return Claims(camera_x, camera_y, filled, whose, 1.0 / float(np.sqrt(usual)))


def _areas(surfaces: Surfaces) -> Image:
    """Projector pixels to a camera pixel, negative where mirrored, in some of those where a surface was fitted."""
    s0, s1, s2, s3 = (part[SPARSE] for part in surfaces.slope)
    areas = s0 * s3 - s1 * s2
    # Where none was fitted the slopes are 0, and a mirrored picture would pass for one that is not.
    return np.asarray(areas[np.isfinite(areas) & (areas != 0.0)])


@kernel
def fill_cells(seen: Seen, right: Mask, down: Mask, turned: float, given: Given) -> None:
    """Give every projector pixel inside a linked cell of camera pixels its camera position.

    A cell of four pixels is two triangles; where one corner does not belong, the triangle of the other three is
    left. Where two surfaces claim a projector pixel, the one that returns more of its light has it: the other
    sees it by way of a reflection.
    """
    height, width = right.shape
    for row in range(height - 1):
        for col in range(width - 1):
            top, low = right[row, col], right[row + 1, col]
            left, side = down[row, col], down[row, col + 1]
            all_four = top and low and left and side
            if all_four and (holds_none(seen[0], row, col) or holds_none(seen[1], row, col)):
                continue
            # Corners in turn; each with its two neighbours is a triangle. Of a whole cell, two opposite ones do.
            for corner in range(4):
                if corner == 0:
                    whole, r0, c0, r1, c1, r2, c2 = top and left, 0, 0, 0, 1, 1, 0
                elif corner == 1:
                    whole, r0, c0, r1, c1, r2, c2 = low and side, 1, 1, 0, -1, -1, 0
                elif corner == 2:
                    whole, r0, c0, r1, c1, r2, c2 = top and side, 0, 1, 1, 0, 0, -1
                else:
                    whole, r0, c0, r1, c1, r2, c2 = low and left, 1, 0, -1, 0, 0, 1
                if corner == 2 and all_four:
                    break
                if whole:
                    fill_triangle(seen, row + r0, col + c0, r1, c1, r2, c2, turned, given)


@kernel
def holds_none(part: Image, row: int, col: int) -> bool:
    """Whether a cell lies between two columns of the projector's pixels, or two rows."""
    a, b, c, d = part[row, col], part[row, col + 1], part[row + 1, col], part[row + 1, col + 1]
    return bool(np.floor(max(a, b, c, d)) < min(a, b, c, d))


@kernel
def fill_triangle(
    seen: Seen, row: int, col: int, r1: int, c1: int, r2: int, c2: int, turned: float, given: Given
) -> None:
    """Fill the triangle of a camera pixel and two neighbours, given as offsets in rows and columns.

    The nearest of the three owns what is filled.
    """
    x, y, amplitude, share = seen
    camera_x, camera_y, strength, filled, owner = given
    x0, y0 = x[row, col], y[row, col]
    ax, ay = x[row + r1, col + c1] - x0, y[row + r1, col + c1] - y0
    bx, by = x[row + r2, col + c2] - x0, y[row + r2, col + c2] - y0
    high, wide = camera_x.shape
    first = max(int(np.ceil(y0 + min(0.0, ay, by))), 0)
    last = min(int(np.floor(y0 + max(0.0, ay, by))), high - 1)
    start = max(int(np.ceil(x0 + min(0.0, ax, bx))), 0)
    stop = min(int(np.floor(x0 + max(0.0, ax, bx))), wide - 1)
    area = ax * by - ay * bx
    if first > last or start > stop or not area * turned > 0.0:
        return
    q0, q1, q2 = share[row, col], share[row + r1, col + c1], share[row + r2, col + c2]
    power = min(amplitude[row, col], amplitude[row + r1, col + c1], amplitude[row + r2, col + c2])
    for v in range(first, last + 1):
        for u in range(start, stop + 1):
            s = ((u - x0) * by - (v - y0) * bx) / area
            t = (ax * (v - y0) - ay * (u - x0)) / area
            if s < -1e-5 or t < -1e-5 or s + t > 1.00002:
                continue
            if power > strength[v, u]:
                strength[v, u] = power
                filled[v, u] = max(0.0, q0 + s * (q1 - q0) + t * (q2 - q0))
                camera_x[v, u] = col + s * c1 + t * c2
                camera_y[v, u] = row + s * r1 + t * r2
                if s > 0.5:
                    owner[v, u] = (row + r1) * x.shape[1] + col + c1
                elif t > 0.5:
                    owner[v, u] = (row + r2) * x.shape[1] + col + c2
                else:
                    owner[v, u] = row * x.shape[1] + col


@kernel
def reach_out(
    x: Image,
    y: Image,
    slope: NDArray[np.float32],
    turned: float,
    least_area: float,
    far: Image,
    whose: Indices,
) -> None:
    """Let the planes of the camera pixels reach for the projector pixels near them; the nearest has it.

    `far` starts as how far they may reach [camera px].
    """
    height, width = x.shape
    high, wide = far.shape
    for row in range(height):
        for col in range(width):
            x0, y0 = x[row, col], y[row, col]
            if not np.isfinite(x0):
                continue
            ax, ay, bx, by = slope[0, row, col], slope[1, row, col], slope[2, row, col], slope[3, row, col]
            area = ax * by - ay * bx
            if not area * turned > least_area:
                continue
            reach_x, reach_y = REACH * (abs(ax) + abs(bx)), REACH * (abs(ay) + abs(by))
            for v in range(max(int(np.ceil(y0 - reach_y)), 0), min(int(np.floor(y0 + reach_y)), high - 1) + 1):
                for u in range(max(int(np.ceil(x0 - reach_x)), 0), min(int(np.floor(x0 + reach_x)), wide - 1) + 1):
                    s = abs((u - x0) * by - (v - y0) * bx)
                    t = abs(ax * (v - y0) - ay * (u - x0))
                    away = np.float32(max(s, t) / abs(area))
                    if away < far[v, u]:
                        far[v, u] = away
                        whose[v, u] = row * width + col


@kernel
def settle_rows(
    x: Image,
    y: Image,
    slope: NDArray[np.float32],
    least_area: float,
    owner: Indices,
    first: int,
    last: int,
    whose: Indices,
    filled: Image,
    camera_x: Image,
    camera_y: Image,
) -> None:
    """Settle who claims, in some rows: the nearest corner where a cell is filled, else the one whose plane reaches.

    `least_area` has the sign of the picture's turn. Where the corner's plane is edge-on, nothing can be told by it.
    """
    width = x.shape[1]
    for v in range(first, last):
        for u in range(whose.shape[1]):
            if owner[v, u] >= 0:
                row, col = divmod(owner[v, u], width)
                area = slope[0, row, col] * slope[3, row, col] - slope[1, row, col] * slope[2, row, col]
                if area / least_area > 1.0:
                    whose[v, u] = owner[v, u]
                    continue
                filled[v, u] = -1.0
                camera_x[v, u] = camera_y[v, u] = np.nan
            if whose[v, u] >= 0:
                row, col = divmod(whose[v, u], width)
                s, t = steps_to(x, y, slope, row, col, u, v)
                camera_x[v, u], camera_y[v, u] = col + s, row + t


@kernel
def steps_to(
    x: Image, y: Image, slope: NDArray[np.float32], row: int, col: int, u: float, v: float
) -> tuple[float, float]:
    """How many columns and rows on a camera pixel's plane comes to a place in the projector's picture."""
    ax, ay, bx, by = slope[0, row, col], slope[1, row, col], slope[2, row, col], slope[3, row, col]
    area = ax * by - ay * bx
    dx, dy = u - x[row, col], v - y[row, col]
    return (dx * by - dy * bx) / area, (ax * dy - ay * dx) / area
