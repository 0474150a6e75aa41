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
_RISK_PX2 = 15.0  # squared error that may be expected of it, by how far off it would be if it were wrong
_NEAR = 8  # how far around something else is looked for that it may be instead [projector px]
_RIM_PX = 0.27  # noise that is allowed at a rim, where what lies behind may be unread
_DEEPER = 3.0  # further inside more is, by a pixel for so many pixels
_JUMP_PX = 7.0  # between neighbours of different pieces, as so many pixels of one surface
_CRUMB_PX = 20  # pieces of fewer projector pixels are left out


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
    # Where a rim stands before something far behind, a mistake is as wide as the jump: twenty such places among a
    # million make more of the mean squared error than all the others.
    risk, risky = _RISK_PX2 * claims.usual_px**2, np.zeros(likely.shape, dtype=np.bool_)
    in_bands(len(risky), lambda first, last: mark_risky(camera_x, camera_y, likely, risk, first, last, risky))
    # What was not read tells of no jump: what is unsure by noise has no business beside it.
    sigma = _sigma(surfaces, claims)
    inside = cv2.distanceTransform(np.isfinite(camera_x).astype(np.uint8), cv2.DIST_L2, 3)
    risky |= sigma > np.float32(_RIM_PX) + np.maximum(inside - 1.0, 0.0) / np.float32(_DEEPER)
    camera_x[risky] = camera_y[risky] = np.nan
    crumbs = _crumbs(camera_x, camera_y, claims.filled >= 0.0, _JUMP_PX * claims.usual_px)
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
def mark_risky(
    camera_x: Image, camera_y: Image, likely: Image, risk: float, first: int, last: int, risky: Mask
) -> None:
    """Mark the projector pixels of some rows from which more error is to be expected than may be.

    That is how unlikely they are, times the squared distance in the camera [px] to what a pixel near to them shows; by
    how near it is, since it may be that instead only if it goes on so far. Beyond the neighbours every other row and
    column will do.
    """
    high, wide = camera_x.shape
    for v in range(first, last):
        for u in range(wide):
            doubt = np.float32(1.0) - likely[v, u]
            if not doubt > 0.0 or np.isnan(camera_x[v, u]):
                continue
            for step, reach in ((1, 1), (2, _NEAR)):
                for r in range(max(v - reach, v % step), min(v + reach + 1, high), step):
                    for c in range(max(u - reach, u % step), min(u + reach + 1, wide), step):
                        dx, dy = camera_x[r, c] - camera_x[v, u], camera_y[r, c] - camera_y[v, u]
                        # NaN is not far.
                        if doubt * (dx * dx + dy * dy) > risk * max(abs(r - v), abs(c - u)):
                            risky[v, u] = True


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
