"""Which camera pixels lie on one surface, and where each of them truly looks.

A small plane is fitted around every camera pixel, through those of its neighbours that go on as surfaces do
there, the bright ones counting most. That does four things at once. It averages noise away. It undoes the pull of
a bright surface on the pixels at its rim, which see little of their own and much of its blurred light, and takes
out those that see nothing else. It finds no company for a pixel that mixes the surface in front with the one
behind, or that was numbered wrongly; such pixels go. And it gives the slope by which neighbours are told to
belong together.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.decode import Decoded, in_bands

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]

_BEND_SIGMAS = 8.6  # 3.5 standard deviations of a second difference, which has sqrt(6) times that of one value
_BEND_STEPS = 0.25  # and what a surface may bend from pixel to pixel, in steps
_STEEPEST = 4.0  # times the usual step; steeper is a jump
_NEAR, _FAR = 7, 21  # sides of the squares in which slopes are averaged [camera px]
_FEW = 6.0  # steps that make an average
_REACH = 2  # neighbours as far as this are fitted [camera px]
_COMPANY = 7  # as many must agree
_LIKE, _UNLIKE = 1.6, 0.62  # ratios of brightness up to and from which pixels are of one surface
_STEEPNESS = 4  # the weight is the square of the code to this: bright pixels know best where the surface is
_CODE_TO_LIGHT = 2.2  # exponent that leads from codes to light, about
_DOUBT = 0.8  # one standard deviation of light told from eight steps, in noise by amplitude
_FAINTEST = 0.1  # share of a surface's light; a pixel with less only sees it blurred


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
        Share of the pixel that the surface fills, told from its light at the surface's rim, 1 elsewhere. [-]
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
    in_bands(
        len(x),
        lambda first, last: fit_planes(
            x, y, sigma, decoded.amplitude, guess, first, last, fit_x, fit_y, fit_sigma, slope, share
        ),
    )
    right, down = (np.zeros(x.shape, dtype=np.bool_) for _ in range(2))
    in_bands(len(x), lambda first, last: link_rows(fit_x, fit_y, fit_sigma, slope, first, last, right, down))
    inner = right & down
    inner[:, 1:] &= right[:, :-1]
    inner[1:] &= down[:-1]
    # Where the rim lies, a faint pixel tells badly: it only counts for what it fills for certain.
    share -= _DOUBT * decoded.noise / np.maximum(decoded.amplitude, np.float32(1e-3))
    share[inner] = 1.0  # dark paint, not the rim
    return Surfaces(fit_x, fit_y, slope, fit_sigma, decoded.amplitude, share, right, down)


def _usual_slopes(x: Image, y: Image, sigma: Image) -> Image:
    """Change of x and y to the next column and row as surfaces around have it, shape (4, height, width)."""
    across = _mean_steps(x, y, sigma)
    # The same kernel looks down when it is given the transposed pictures.
    down = _mean_steps(*(np.ascontiguousarray(a.T) for a in (x, y, sigma)))
    return np.stack([*across, *(part.T for part in down)])


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
    size = min(np.hypot(before_x, before_y), np.hypot(after_x, after_y))
    return bool(np.hypot(after_x - before_x, after_y - before_y) < _BEND_SIGMAS * noise + _BEND_STEPS * size)


@kernel
def strong_rows(x: Image, y: Image, sigma: Image, steepest: float, first: int, last: int, strong: Image) -> None:
    """Mark the steps between pixels where the row goes straight on at both: 1, and the step itself."""
    width = x.shape[1]
    for row in range(first, last):
        straight = False
        for col in range(width - 1):
            ahead = goes_straight(x, y, sigma, row, col + 1)
            dx, dy = x[row, col + 1] - x[row, col], y[row, col + 1] - y[row, col]
            if straight and ahead and np.hypot(dx, dy) < steepest:
                strong[0, row, col] = 1.0
                strong[1, row, col] = dx
                strong[2, row, col] = dy
            straight = ahead


@kernel
def fit_planes(
    x: Image,
    y: Image,
    sigma: Image,
    amplitude: Image,
    guess: Image,
    first: int,
    last: int,
    fit_x: Image,
    fit_y: Image,
    fit_sigma: Image,
    slope: Image,
    share: Image,
) -> None:
    """Fit x and y as planes over the neighbours that agree."""
    total = np.empty(14)
    for row in range(first, last):
        for col in range(x.shape[1]):
            if not (np.isfinite(x[row, col]) and np.isfinite(y[row, col])):
                continue
            g0, g1, g2, g3 = guess[0, row, col], guess[1, row, col], guess[2, row, col], guess[3, row, col]
            size = np.sqrt(0.5 * (g0 * g0 + g1 * g1 + g2 * g2 + g3 * g3))
            # First among its like: dark paint beside bright trim has a place of its own. Failing that, among
            # all: a pixel at the rim, which sees half of its surface, goes by its brighter neighbours.
            n = add_up(x, y, sigma, amplitude, guess, row, col, size, _LIKE, total)
            if n < _COMPANY and add_up(x, y, sigma, amplitude, guess, row, col, size, np.inf, total) < _COMPANY:
                continue
            w0, wc, wr, wcc, wcr, wrr = total[0], total[1], total[2], total[3], total[4], total[5]
            # The normal matrix is inverted by cofactors.
            i00, i01, i02 = wcc * wrr - wcr * wcr, wcr * wr - wc * wrr, wc * wcr - wcc * wr
            i11, i12, i22 = w0 * wrr - wr * wr, wc * wr - w0 * wcr, w0 * wcc - wc * wc
            det = w0 * i00 + wc * i01 + wr * i02
            if not det > 1e-4 * w0 * w0 * w0:  # all on one line
                continue
            offset_x = (i00 * total[6] + i01 * total[7] + i02 * total[8]) / det
            offset_y = (i00 * total[9] + i01 * total[10] + i02 * total[11]) / det
            off = np.hypot(offset_x, offset_y)
            if off > 3.5 * sigma[row, col] + 1.2 * size:
                continue
            light = (amplitude[row, col] * w0 / total[13]) ** _CODE_TO_LIGHT
            if light < _FAINTEST:
                continue
            share[row, col] = 1.0 if light > 1.0 else light
            fit_x[row, col] = x[row, col] + offset_x
            fit_y[row, col] = y[row, col] + offset_y
            fit_sigma[row, col] = sigma[row, col] * np.sqrt(min(i00 / det * total[12] / w0, 1.0))
            slope[0, row, col] = (i01 * total[6] + i11 * total[7] + i12 * total[8]) / det
            slope[1, row, col] = (i01 * total[9] + i11 * total[10] + i12 * total[11]) / det
            slope[2, row, col] = (i02 * total[6] + i12 * total[7] + i22 * total[8]) / det
            slope[3, row, col] = (i02 * total[9] + i12 * total[10] + i22 * total[11]) / det


@kernel
def add_up(
    x: Image,
    y: Image,
    sigma: Image,
    amplitude: Image,
    guess: Image,
    row: int,
    col: int,
    size: float,
    like: float,
    total: Floats,
) -> int:
    """Sums over the neighbours that lie about where the slopes lead to expect; gives the number of those not darker.

    Neighbours that are more than `like` times brighter are left out.

    `total` becomes w, wc, wr, wcc, wcr, wrr, then wx, wxc, wxr, the same of y, ww and wa, where w is the weight, c and
    r count columns and rows from the pixel, x and y are relative to it and a is amplitude. The weight is the
    square of the light, about the fourth power of the code.
    """
    height, width = x.shape
    for k in range(total.size):
        total[k] = 0.0
    n = 0
    for r in range(max(row - _REACH, 0), min(row + _REACH + 1, height)):
        for c in range(max(col - _REACH, 0), min(col + _REACH + 1, width)):
            dc, dr = c - col, r - row
            px, py = x[r, c] - x[row, col], y[r, c] - y[row, col]
            off_x = px - guess[0, row, col] * dc - guess[2, row, col] * dr
            off_y = py - guess[1, row, col] * dc - guess[3, row, col] * dr
            allowed = 3.5 * np.hypot(sigma[row, col], sigma[r, c]) + (0.45 + 0.3 * max(abs(dc), abs(dr))) * size
            ratio = amplitude[r, c] / (amplitude[row, col] + 1e-3)
            if not (np.hypot(off_x, off_y) < allowed and ratio < like):
                continue
            n += ratio > _UNLIKE
            w = (ratio * ratio) ** _STEEPNESS + 1e-9
            total[0] += w
            total[1] += w * dc
            total[2] += w * dr
            total[3] += w * dc * dc
            total[4] += w * dc * dr
            total[5] += w * dr * dr
            total[6] += w * px
            total[7] += w * px * dc
            total[8] += w * px * dr
            total[9] += w * py
            total[10] += w * py * dc
            total[11] += w * py * dr
            total[12] += w * w
            total[13] += w * amplitude[r, c]
    return n


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
                noise = np.hypot(sigma[row, col], sigma[r, c])
                fits = np.hypot(ex, ey) < 0.5 * np.hypot(sx, sy) + 3.0 * noise
                if way == 0:
                    right[row, col] = fits
                else:
                    down[row, col] = fits
