"""From camera pixels to the projector's grid, surface by surface: depth edges stay sharp, holes stay holes."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.claims import Claims, claims_of
from limewash.scan.correspondence import Correspondence
from limewash.scan.decode import Decoded
from limewash.scan.likely import likelihood
from limewash.scan.surface import Surfaces
from limewash.scan.threads import in_bands

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

_LIKELY = 0.65  # a likelier claim is believed
_SURE = 0.97  # at a jump only from here on: a mistake there is as wide as the jump
_JUMP_PX = 7.0  # between neighbours, as so many pixels of one surface; a mistake at a smaller one does no harm
_CRUMB_PX = 20  # pieces of fewer projector pixels are left out
_RIM_PX = 0.33  # a rim must be known to this, by noise and blur together
_RIM_BLUR_PX = 0.23  # what blur leaves open [camera px]
_RIM_NOISE_PX = 0.13  # noise that is allowed however coarse the camera
_DEEPER = 3.0  # what lies further inside may be less sure, by a pixel for so many pixels


def to_projector_grid(decoded: Decoded, surfaces: Surfaces, projector_size: tuple[int, int]) -> Correspondence:
    """Turn what camera pixels see into the camera pixel of each projector pixel.

    Parameters
    ----------
    decoded : Decoded
        What each camera pixel says by itself.
    surfaces : Surfaces
        What they say together.
    projector_size : (int, int)
        Width and height. [px]
    """
    claims = claims_of(surfaces, projector_size)
    likely = likelihood(decoded, surfaces, claims)
    camera_x, camera_y = (
        np.where(likely > _LIKELY, part, np.float32(np.nan)) for part in (claims.camera_x, claims.camera_y)
    )
    # Which of two surfaces a projector pixel at a jump hits, the pixels in which both mix cannot tell for certain.
    jump, doubtful = _JUMP_PX * claims.usual_px, np.zeros(likely.shape, dtype=np.bool_)
    in_bands(len(doubtful), lambda first, last: mark_jumps(camera_x, camera_y, jump, first, last, doubtful))
    doubtful &= likely < _SURE
    camera_x[doubtful] = camera_y[doubtful] = np.nan
    sigma = _sigma(surfaces, claims)
    # What lies behind a rim may be unseen, and far: an uncertain position has no business there.
    inside = cv2.distanceTransform(np.isfinite(camera_x).astype(np.uint8), cv2.DIST_L2, 3)
    allowed = np.sqrt(max(_RIM_PX**2 - (_RIM_BLUR_PX / claims.usual_px) ** 2, _RIM_NOISE_PX**2))
    faint = sigma > np.float32(allowed) + np.maximum(inside - 1.0, 0.0) / np.float32(_DEEPER)
    camera_x[faint] = camera_y[faint] = np.nan
    crumbs = _crumbs(camera_x, camera_y, claims.filled >= 0.0, jump)
    camera_x[crumbs] = camera_y[crumbs] = np.nan
    height, width = surfaces.x.shape
    return Correspondence(
        camera_x=camera_x,
        camera_y=camera_y,
        # 1 where noise moves the position by much less than half a projector pixel, falling to 0.
        confidence=np.where(np.isfinite(camera_x), 1.0 / (1.0 + 8.0 * sigma**2), 0.0).astype(np.float32),
        camera_size=(width, height),
        projector_size=projector_size,
    )


def _crumbs(camera_x: Image, camera_y: Image, between: Mask, jump: float) -> Mask:
    """Pieces too small to be a surface: numbered by chance. What lies beyond a jump is another piece.

    Only what lies between camera pixels counts: a few of them, claiming all around, soon make a piece of some size.
    """
    first = np.arange(camera_x.size, dtype=np.int32)
    join_pieces(camera_x, camera_y, jump, first)
    size = np.bincount(first[between.ravel()], minlength=first.size)
    return np.asarray((size[first.reshape(camera_x.shape)] < _CRUMB_PX) & np.isfinite(camera_x))


def _sigma(surfaces: Surfaces, claims: Claims) -> Image:
    """How far noise moves each projector pixel, by the camera pixel that claims it [projector px]."""
    sigma = np.where(claims.whose >= 0, surfaces.sigma.ravel()[np.maximum(claims.whose, 0)], np.float32(1.0))
    return np.nan_to_num(sigma, nan=1.0)


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
