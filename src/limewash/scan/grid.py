"""From camera pixels to the projector's grid, surface by surface: depth edges stay sharp, holes stay holes."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.correspondence import Correspondence
from limewash.scan.surface import Surfaces
from limewash.scan.takes import SPARSE
from limewash.scan.threads import in_bands, in_threads

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

_JUMP_PX = 7.0  # between neighbours, as so many pixels of one surface; a mistake at a smaller one does no harm
_CRUMB_PX = 20  # pieces of fewer projector pixels are left out
_RIM_PX = 0.345  # a rim must be known to this, by noise and blur together
_RIM_BLUR_PX = 0.28  # what blur leaves open [camera px]
_RIM_NOISE_PX = 0.13  # noise that is allowed however coarse the camera
_OVERHANG_PX = 0.6  # a surface reaches this far beyond the centre of its last camera pixel at most
_ENDS = 0.3  # share of a pixel filled, down to which a surface is followed; half would be the rim itself
_FADES_PX = 1.1  # in how many camera pixels a share falls from one to nothing
_SURE = 0.55  # share from which on a pixel is this surface's, whatever lies beyond


def to_projector_grid(surfaces: Surfaces, projector_size: tuple[int, int]) -> Correspondence:
    """Turn what camera pixels see into the camera pixel of each projector pixel.

    Parameters
    ----------
    surfaces : Surfaces
        Projector positions of the camera pixels.
    projector_size : (int, int)
        Width and height. [px]
    """
    height, width = surfaces.x.shape
    s = surfaces
    shape = (projector_size[1], projector_size[0])
    camera_x, camera_y = (np.full(shape, np.nan, dtype=np.float32) for _ in range(2))
    strength, filled = np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)
    areas = _areas(s)
    turned = 1.0 if np.sign(areas).sum() >= 0.0 else -1.0  # -1: the picture is mirrored
    _fill(s, turned, camera_x, camera_y, strength, filled)
    rim = np.where(strength > 0.0, np.float32(0.0), np.float32(np.inf))
    extend_rims(s.x, s.y, s.slope, s.share, s.right, s.down, turned, camera_x, camera_y, rim, filled)
    scale = float(1.0 / np.sqrt(np.median(np.abs(areas)))) if areas.size else 1.0  # camera px to one, along a line
    # Which of two surfaces a projector pixel at a jump hits, the pixels in which both mix cannot tell for certain.
    doubtful = np.zeros(shape, dtype=np.bool_)
    in_bands(shape[0], lambda first, last: mark_jumps(camera_x, camera_y, _JUMP_PX * scale, first, last, doubtful))
    doubtful &= filled < _SURE
    camera_x[doubtful] = camera_y[doubtful] = np.nan
    sigma = _sigma(s, camera_x, camera_y)
    # What lies behind a rim may be unseen, and far: an uncertain position has no business there.
    rim_of_seen = cv2.dilate(np.isnan(camera_x).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    limit = max(_RIM_PX**2 - (_RIM_BLUR_PX / scale) ** 2, _RIM_NOISE_PX**2)
    faint = rim_of_seen & (sigma**2 > limit)
    camera_x[faint] = camera_y[faint] = np.nan
    crumbs = _crumbs(camera_x, camera_y, _JUMP_PX * scale)
    camera_x[crumbs] = camera_y[crumbs] = np.nan
    return Correspondence(
        camera_x=camera_x,
        camera_y=camera_y,
        # 1 where noise moves the position by much less than half a projector pixel, falling to 0.
        confidence=np.where(np.isfinite(camera_x), 1.0 / (1.0 + 8.0 * sigma**2), 0.0).astype(np.float32),
        camera_size=(width, height),
        projector_size=projector_size,
    )


def _crumbs(camera_x: Image, camera_y: Image, jump: float) -> Mask:
    """Pieces too small to be a surface: numbered by chance. What lies beyond a jump is another piece."""
    first = np.arange(camera_x.size, dtype=np.int32)
    join_pieces(camera_x, camera_y, jump, first)
    piece = first.reshape(camera_x.shape)
    size = np.bincount(first, minlength=first.size)
    return np.asarray((size[piece] < _CRUMB_PX) & np.isfinite(camera_x))


def _areas(surfaces: Surfaces) -> NDArray[np.float32]:
    """Projector pixels to a camera pixel, negative where mirrored, in some of those where a surface was fitted."""
    s0, s1, s2, s3 = (part[SPARSE] for part in surfaces.slope)
    areas = s0 * s3 - s1 * s2
    # Where none was fitted the slopes are 0, and a mirrored picture would pass for one that is not.
    return np.asarray(areas[np.isfinite(areas) & (areas != 0.0)])


def _fill(surfaces: Surfaces, turned: float, camera_x: Image, camera_y: Image, strength: Image, filled: Image) -> None:
    """Do what `fill_cells` does, both halves of the camera's picture at once, and put together what they find."""
    s, middle = surfaces, (len(surfaces.x) - 1) // 2
    bands = [(0, middle), (middle, len(s.x) - 1)]
    first = (camera_x, camera_y, strength, filled)
    second = (camera_x.copy(), camera_y.copy(), strength.copy(), filled.copy())

    def fill(n: int) -> None:
        fill_cells(s.x, s.y, s.amplitude, s.share, s.right, s.down, turned, *bands[n], *(first, second)[n])

    in_threads(fill, range(2))
    in_bands(len(camera_x), lambda start, stop: keep_stronger(*first, *second, start, stop))


def _sigma(surfaces: Surfaces, camera_x: Image, camera_y: Image) -> Image:
    """How far noise moves each projector pixel, by the camera pixel that sees it [px]."""
    seen = np.isfinite(camera_x)
    height, width = surfaces.x.shape
    column = np.clip(np.rint(np.where(seen, camera_x, 0)).astype(np.intp), 0, width - 1)
    row = np.clip(np.rint(np.where(seen, camera_y, 0)).astype(np.intp), 0, height - 1)
    return np.nan_to_num(surfaces.sigma[row, column], nan=1.0)


@kernel
def fill_cells(
    x: Image,
    y: Image,
    amplitude: Image,
    share: Image,
    right: Mask,
    down: Mask,
    turned: float,
    first: int,
    last: int,
    camera_x: Image,
    camera_y: Image,
    strength: Image,
    filled: Image,
) -> None:
    """Give every projector pixel inside a linked cell of camera pixels, in some rows of cells, its camera position.

    A cell of four pixels is two triangles; where one corner does not belong, the triangle of the other three is
    left. Where two surfaces claim a projector pixel, the one that returns more of its light has it: the other
    sees it by way of a reflection.
    """
    for row in range(first, last):
        for col in range(x.shape[1] - 1):
            top, low = right[row, col], right[row + 1, col]
            left, side = down[row, col], down[row, col + 1]
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
                if corner == 2 and top and left and low and side:
                    break
                if whole:
                    fill_triangle(
                        x,
                        y,
                        amplitude,
                        share,
                        row + r0,
                        col + c0,
                        r1,
                        c1,
                        r2,
                        c2,
                        turned,
                        camera_x,
                        camera_y,
                        strength,
                        filled,
                    )


@kernel
def keep_stronger(
    camera_x: Image,
    camera_y: Image,
    strength: Image,
    filled: Image,
    other_x: Image,
    other_y: Image,
    other_strength: Image,
    other_filled: Image,
    first: int,
    last: int,
) -> None:
    """Put what another band found where it returns more light, in some rows of the projector's picture."""
    for v in range(first, last):
        for u in range(camera_x.shape[1]):
            if other_strength[v, u] > strength[v, u]:
                camera_x[v, u], camera_y[v, u] = other_x[v, u], other_y[v, u]
                strength[v, u], filled[v, u] = other_strength[v, u], other_filled[v, u]


@kernel
def fill_triangle(
    x: Image,
    y: Image,
    amplitude: Image,
    share: Image,
    row: int,
    col: int,
    r1: int,
    c1: int,
    r2: int,
    c2: int,
    turned: float,
    camera_x: Image,
    camera_y: Image,
    strength: Image,
    filled: Image,
) -> None:
    """Fill the triangle of a camera pixel and two neighbours, given as offsets in rows and columns."""
    x0, y0 = x[row, col], y[row, col]
    ax, ay = x[row + r1, col + c1] - x0, y[row + r1, col + c1] - y0
    bx, by = x[row + r2, col + c2] - x0, y[row + r2, col + c2] - y0
    area = ax * by - ay * bx
    if not area * turned > 0.0:
        return
    q0, q1, q2 = share[row, col], share[row + r1, col + c1], share[row + r2, col + c2]
    power = min(amplitude[row, col], amplitude[row + r1, col + c1], amplitude[row + r2, col + c2])
    high, wide = camera_x.shape
    first = max(int(np.ceil(y0 + min(0.0, ay, by))), 0)
    last = min(int(np.floor(y0 + max(0.0, ay, by))), high - 1)
    start = max(int(np.ceil(x0 + min(0.0, ax, bx))), 0)
    stop = min(int(np.floor(x0 + max(0.0, ax, bx))), wide - 1)
    for v in range(first, last + 1):
        for u in range(start, stop + 1):
            s = ((u - x0) * by - (v - y0) * bx) / area
            t = (ax * (v - y0) - ay * (u - x0)) / area
            if s < -1e-5 or t < -1e-5 or s + t > 1.00002:
                continue
            q = q0 + s * (q1 - q0) + t * (q2 - q0)
            if power > strength[v, u] and q >= _ENDS:
                strength[v, u] = power
                filled[v, u] = q
                camera_x[v, u] = col + s * c1 + t * c2
                camera_y[v, u] = row + s * r1 + t * r2


@kernel
def extend_rims(
    x: Image,
    y: Image,
    slope: Image,
    share: Image,
    right: Mask,
    down: Mask,
    turned: float,
    camera_x: Image,
    camera_y: Image,
    rim: Image,
    filled: Image,
) -> None:
    """Continue surfaces a little beyond their last pixels, into projector pixels that nobody else claims."""
    height, width = x.shape
    high, wide = camera_x.shape
    for row in range(height):
        for col in range(width):
            r_link = right[row, col]
            l_link = col > 0 and right[row, col - 1]
            d_link = down[row, col]
            u_link = row > 0 and down[row - 1, col]
            if not ((r_link or l_link) and (d_link or u_link)) or (r_link and l_link and d_link and u_link):
                continue
            x0, y0 = x[row, col], y[row, col]
            ax, ay, bx, by = slope[0, row, col], slope[1, row, col], slope[2, row, col], slope[3, row, col]
            area = ax * by - ay * bx
            if not area * turned > 0.0:
                continue
            over = min(_OVERHANG_PX, _FADES_PX * (share[row, col] - _ENDS))
            reach_x, reach_y = over * (abs(ax) + abs(bx)), over * (abs(ay) + abs(by))
            for v in range(max(int(np.ceil(y0 - reach_y)), 0), min(int(np.floor(y0 + reach_y)), high - 1) + 1):
                for u in range(max(int(np.ceil(x0 - reach_x)), 0), min(int(np.floor(x0 + reach_x)), wide - 1) + 1):
                    s = ((u - x0) * by - (v - y0) * bx) / area
                    t = (ax * (v - y0) - ay * (u - x0)) / area
                    far = max(abs(s), abs(t))
                    if far <= over and far < rim[v, u]:
                        rim[v, u] = far
                        filled[v, u] = share[row, col] - far / _FADES_PX
                        camera_x[v, u] = col + s
                        camera_y[v, u] = row + t


@kernel
def mark_jumps(camera_x: Image, camera_y: Image, jump: float, first: int, last: int, doubtful: Mask) -> None:
    """Mark the projector pixels one of whose eight neighbours is seen far from them."""
    high, wide = camera_x.shape
    for v in range(first, last):
        for u in range(wide):
            for r in range(max(v - 1, 0), min(v + 2, high)):
                for c in range(max(u - 1, 0), min(u + 2, wide)):
                    # NaN is not far.
                    if np.hypot(camera_x[r, c] - camera_x[v, u], camera_y[r, c] - camera_y[v, u]) > jump:
                        doubtful[v, u] = True


@kernel
def join_pieces(camera_x: Image, camera_y: Image, jump: float, first: NDArray[np.int32]) -> None:
    """Give all projector pixels of a piece the number of its first one; `first` starts as every pixel's own number."""
    high, wide = camera_x.shape
    for v in range(high):
        for u in range(wide):
            for way in range(2):
                r, c = v - way, u - 1 + way
                if r < 0 or c < 0:
                    continue
                # NaN is not near.
                if np.hypot(camera_x[r, c] - camera_x[v, u], camera_y[r, c] - camera_y[v, u]) <= jump:
                    a, b = root(first, r * wide + c), root(first, v * wide + u)
                    first[max(a, b)] = min(a, b)
    for k in range(first.size):
        first[k] = first[first[k]]


@kernel
def root(first: NDArray[np.int32], k: int) -> int:
    """The number that a piece goes by so far; the way there is shortened."""
    while first[k] != k:
        first[k] = first[first[k]]
        k = first[k]
    return k
