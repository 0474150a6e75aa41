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

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.decode import Decoded
from limewash.scan.planes import fit_planes
from limewash.scan.rims import filled_shares
from limewash.scan.slopes import UsualSteps, slopes_around
from limewash.scan.threads import in_bands, in_threads
from limewash.scan.tiles import Tile, blocks_of, tiles_of

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]


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
    seen, x = decoded.seen, decoded.x
    usual = UsualSteps.of(x, decoded.y)
    fit_x, fit_y, fit_sigma, share = (np.full(x.shape, np.nan, dtype=np.float32) for _ in range(4))
    slope = np.zeros((4, *x.shape), dtype=np.float32)

    def fit(tile: Tile) -> None:
        fit_planes(seen, slopes_around(seen, tile, usual), *tile, fit_x, fit_y, fit_sigma, slope, share)

    in_threads(fit, tiles_of(blocks_of(np.isfinite(x)), x.shape))
    right, down = (np.zeros(x.shape, dtype=np.bool_) for _ in range(2))
    in_bands(len(x), lambda first, last: link_rows(fit_x, fit_y, fit_sigma, slope, first, last, right, down))
    light = (decoded.amplitude, decoded.noise)
    share = filled_shares(fit_x, fit_y, slope, fit_sigma, *light, right, down, share)
    return Surfaces(fit_x, fit_y, slope, fit_sigma, decoded.amplitude, share, right, down)


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
