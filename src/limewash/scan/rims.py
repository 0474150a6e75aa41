"""How much of a pixel its surface fills, told from how its light falls off towards the rim."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.threads import in_bands

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

CODE_TO_LIGHT = 2.2  # exponent that leads from codes to light, about
_REACH = 3  # how far inside a pixel looks for the light of its surface [camera px]
_LIKE_STEPS = 0.8  # what a surface may bend from there to the pixel, in steps
_DOUBT = 0.8  # one standard deviation of light told from eight steps, in noise by amplitude


def filled_shares(
    x: Image,
    y: Image,
    slope: Image,
    sigma: Image,
    amplitude: Image,
    noise: Image,
    right: Mask,
    down: Mask,
    of_company: Image,
) -> Image:
    """Share of each camera pixel that its surface fills, 1 inside, about a half where the rim crosses its middle.

    A pixel is compared with those of its own surface that lie too deep inside for the rim's blur to reach them. Where
    there are none, on twigs and leaves, it goes by what all its neighbours say together (`of_company`), less what
    noise leaves open.

    Parameters
    ----------
    x, y, slope, sigma, amplitude, right, down : ndarray
        As in `Surfaces`.
    noise : ndarray
        As in `Decoded`. [codes]
    of_company : ndarray of float32, shape (height, width)
        Light of each pixel by that of the neighbours that its plane was fitted to. [-]
    """
    inner = right & down
    inner[:, 1:] &= right[:, :-1]
    inner[1:] &= down[:-1]
    inner[0], inner[:, 0] = False, False
    deep = cv2.erode(inner.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) > 0
    share = np.empty_like(of_company)

    def some(first: int, last: int) -> None:
        company_rows(of_company, amplitude, noise, inner, first, last, share)
        share_rows(x, y, slope, sigma, amplitude, deep, first, last, share)

    in_bands(len(x), some)
    return share


@kernel
def company_rows(
    of_company: Image, amplitude: Image, noise: Image, inner: Mask, first: int, last: int, share: Image
) -> None:
    """What the neighbours say, less what noise leaves open; where all of them go on, nothing speaks against a pixel."""
    for row in range(first, last):
        for col in range(len(share[row])):
            # Light of next to nothing counts as a little; NaN stays.
            light = amplitude[row, col] if not amplitude[row, col] < np.float32(1e-3) else np.float32(1e-3)
            doubted = of_company[row, col] - np.float32(_DOUBT) * noise[row, col] / light
            share[row, col] = np.float32(1.0) if inner[row, col] else doubted


@kernel
def share_rows(
    x: Image, y: Image, slope: Image, sigma: Image, amplitude: Image, deep: Mask, first: int, last: int, share: Image
) -> None:
    """Compare the pixels that are not deep inside with those near them that are and whose plane leads to them."""
    height, width = x.shape
    for row in range(first, last):
        for col in range(width):
            if deep[row, col] or not np.isfinite(x[row, col]):
                continue
            weight = light = 0.0
            for r in range(max(row - _REACH, 0), min(row + _REACH + 1, height)):
                for c in range(max(col - _REACH, 0), min(col + _REACH + 1, width)):
                    if not deep[r, c]:
                        continue
                    ax, ay, bx, by = slope[0, r, c], slope[1, r, c], slope[2, r, c], slope[3, r, c]
                    ex = x[r, c] + ax * (col - c) + bx * (row - r) - x[row, col]
                    ey = y[r, c] + ay * (col - c) + by * (row - r) - y[row, col]
                    step = np.sqrt(0.5 * (ax * ax + ay * ay + bx * bx + by * by))
                    allowed = _LIKE_STEPS * step + 3.0 * sigma[row, col]
                    if ex * ex + ey * ey < allowed * allowed:
                        near = 1.0 / ((r - row) * (r - row) + (c - col) * (c - col))
                        weight += near
                        light += near * amplitude[r, c]
            if weight > 0.0:
                share[row, col] = min((amplitude[row, col] * weight / light) ** CODE_TO_LIGHT, 1.0)
