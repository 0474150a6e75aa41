"""Which camera pixels lie on one surface, and where each of them truly looks.

A small plane is fitted around every camera pixel, through those of its neighbours that go on as surfaces do
there, the bright ones counting most. That does four things at once. It averages noise away. It undoes the pull of
a bright surface on the pixels at its rim, which see little of their own and much of its blurred light, and takes
out those that see nothing else. It finds no company for a pixel that mixes the surface in front with the one
behind, or that was numbered wrongly; such pixels go. And it gives the slope by which neighbours are told to
belong together.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.decode import Decoded
from limewash.scan.planes import COLUMNS, ROWS, fit_planes
from limewash.scan.rims import filled_shares
from limewash.scan.threads import in_bands, in_threads

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]

_BEND_SIGMAS = 8.6  # 3.5 standard deviations of a second difference, which has sqrt(6) times that of one value
_BEND_STEPS = 0.25  # and what a surface may bend from pixel to pixel, in steps
_STEEPEST = 4.0  # times the usual step; steeper is a jump
_NEAR, _FAR = 7, 21  # sides of the squares in which slopes are averaged [camera px]
_FEW = 6.0  # steps that make an average


@dataclass(frozen=True)
class Surfaces:
    """What the camera sees, tidied up; arrays have shape (camera height, camera width).

    Attributes
    ----------
    x, y : ndarray of float32
        Projector position; NaN where no surface was found. [px]
    slope : ndarray of float32, shape (4, height, width)
        Change of x and of y to the next column, then of x and of y to the next row.
    sigma : ndarray of float32
        Standard deviation of the position from noise, along one axis. [px]
    amplitude : ndarray of float32
        As in `Decoded`. [codes]
    share : ndarray of float32
        Share of the pixel that the surface fills, see `filled_shares`. [-]
    right, down : ndarray of bool
        Whether a pixel's surface goes on to the next pixel at its right, and below it.
    """

    x: Image
    y: Image
    slope: Image
    sigma: Image
    amplitude: Image
    share: Image
    right: Mask
    down: Mask


def find_surfaces(decoded: Decoded) -> Surfaces:
    """Fit the surfaces, see `Surfaces`."""
    x, y = decoded.x, decoded.y
    sigma = np.hypot(decoded.sigma_x, decoded.sigma_y) * np.float32(np.sqrt(0.5))
    guess = _usual_slopes(x, y, sigma)
    fit_x, fit_y, fit_sigma, share = (np.full(x.shape, np.nan, dtype=np.float32) for _ in range(4))
    slope = np.zeros((4, *x.shape), dtype=np.float32)
    seen = np.stack([x, y, sigma, decoded.amplitude])
    tiles = [(row, col) for row in range(0, x.shape[0], ROWS) for col in range(0, x.shape[1], COLUMNS)]
    in_threads(lambda tile: fit_planes(seen, guess, *tile, fit_x, fit_y, fit_sigma, slope, share), tiles)
    right, down = (np.zeros(x.shape, dtype=np.bool_) for _ in range(2))
    in_bands(len(x), lambda first, last: link_rows(fit_x, fit_y, fit_sigma, slope, first, last, right, down))
    light = (decoded.amplitude, decoded.noise)
    share = filled_shares(fit_x, fit_y, slope, fit_sigma, *light, right, down, share)
    return Surfaces(fit_x, fit_y, slope, fit_sigma, decoded.amplitude, share, right, down)


def _usual_slopes(x: Image, y: Image, sigma: Image) -> Image:
    """Change of x and y to the next column and row as surfaces around have it, shape (4, height, width)."""
    with ThreadPoolExecutor(1) as beside:
        across = beside.submit(_mean_steps, x, y, sigma)
        # The same kernel looks down when it is given the transposed pictures.
        down = _mean_steps(*(np.ascontiguousarray(a.T) for a in (x, y, sigma)))
        return np.stack([*across.result(), *(part.T for part in down)])


def _mean_steps(x: Image, y: Image, sigma: Image) -> tuple[Image, Image]:
    strong = np.zeros((3, *x.shape), dtype=np.float32)
    step = np.hypot(np.diff(x, axis=1), np.diff(y, axis=1))
    usual = float(np.median(step[np.isfinite(step)])) if np.isfinite(step).any() else 1.0
    in_bands(len(x), lambda first, last: strong_rows(x, y, sigma, _STEEPEST * usual, first, last, strong))
    total = strong.sum(axis=(1, 2), dtype=np.float64) / max(float(strong[0].sum(dtype=np.float64)), 1.0)
    means = [np.full(x.shape, total[1], dtype=np.float32), np.full(x.shape, total[2], dtype=np.float32)]
    for side in (_FAR, _NEAR):
        count, *sums = (cv2.boxFilter(part, -1, (side, side), normalize=False) for part in strong)
        for mean, part in zip(means, sums, strict=True):
            np.divide(part, count, out=mean, where=count >= _FEW)
    return means[0], means[1]


@kernel
def goes_straight(x: Image, y: Image, sigma: Image, row: int, col: int) -> bool:
    """Whether a row goes straight on at a pixel, as far as noise allows to tell."""
    if col < 1 or col + 1 >= x.shape[1]:
        return False
    before_x, before_y = x[row, col] - x[row, col - 1], y[row, col] - y[row, col - 1]
    after_x, after_y = x[row, col + 1] - x[row, col], y[row, col + 1] - y[row, col]
    noise = max(sigma[row, col - 1], sigma[row, col], sigma[row, col + 1])
    size = np.sqrt(min(before_x * before_x + before_y * before_y, after_x * after_x + after_y * after_y))
    bend_x, bend_y = after_x - before_x, after_y - before_y
    allowed = _BEND_SIGMAS * noise + _BEND_STEPS * size
    return bool(bend_x * bend_x + bend_y * bend_y < allowed * allowed)


@kernel
def strong_rows(x: Image, y: Image, sigma: Image, steepest: float, first: int, last: int, strong: Image) -> None:
    """Mark the steps between pixels where the row goes straight on at both: 1, and the step itself."""
    width = x.shape[1]
    for row in range(first, last):
        straight = False
        for col in range(width - 1):
            ahead = goes_straight(x, y, sigma, row, col + 1)
            dx, dy = x[row, col + 1] - x[row, col], y[row, col + 1] - y[row, col]
            if straight and ahead and dx * dx + dy * dy < steepest * steepest:
                strong[0, row, col] = 1.0
                strong[1, row, col] = dx
                strong[2, row, col] = dy
            straight = ahead


@kernel
def link_rows(x: Image, y: Image, sigma: Image, slope: Image, first: int, last: int, right: Mask, down: Mask) -> None:
    """Link pixels to the next in row and column where the step is what the slopes of both foretell."""
    height, width = x.shape
    for row in range(first, last):
        for col in range(width):
            for way in range(2):
                r, c = row + way, col + 1 - way
                if r >= height or c >= width:
                    continue
                sx = 0.5 * (slope[2 * way, row, col] + slope[2 * way, r, c])
                sy = 0.5 * (slope[2 * way + 1, row, col] + slope[2 * way + 1, r, c])
                ex, ey = x[r, c] - x[row, col] - sx, y[r, c] - y[row, col] - sy
                noise = np.sqrt(sigma[row, col] * sigma[row, col] + sigma[r, c] * sigma[r, c])
                allowed = 0.5 * np.sqrt(sx * sx + sy * sy) + 3.0 * noise
                fits = ex * ex + ey * ey < allowed * allowed
                if way == 0:
                    right[row, col] = fits
                else:
                    down[row, col] = fits
