"""What can be told of a projector pixel from the camera pixels around the one that may see it.

All is said in steps of camera pixels, as ratios of light, and as seen from the camera pixel towards the projector's
pixel: a picture that is mirrored or turned by a right angle reads the same, and so does one of other brightness or
size, but for three numbers that tell how bright it is and how wide a step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel
from limewash.scan.claims import steps_to

Image = NDArray[np.float32]
Stack = NDArray[np.float32]

AROUND = 2  # how far around is looked [camera px]
OWN = 12  # numbers on the pixel itself
TERMS = OWN + 4 * ((2 * AROUND + 1) ** 2 - 1)  # and four on each of those around
NEIGHBOURS = 19  # numbers on the projector pixels around

_PLAIN_STEPS = 0.6  # all around goes on to within so many steps where nothing is in doubt
_PLAIN_LIGHT = 0.4  # and is as bright, to within so much of its logarithm
_PLAIN_SIGMAS = 3.0  # or so many standard deviations, where noise is stronger
_LIGHT_SIGMA = 0.26  # of a fringe's light by thirty phase steps, in the noise of one picture: the root of 2 / 30
_NEVER_STEPS, _NEVER_LIGHT = 1.5, 1.0  # no noise excuses more
_FARTHEST = 4.0  # more steps off are one as bad as the other
_DARKEST = 0.1  # amplitude [codes]
_NEAREST_PX, _FARTHEST_PX = 0.05, 100.0  # steps to neighbours are told from one to the other


@kernel
def mark_plain(
    x: Image,
    y: Image,
    slope: Stack,
    seen: Stack,
    noise: Image,
    filled: Image,
    whose: NDArray[np.int32],
    first: int,
    last: int,
    plain: NDArray[np.bool_],
) -> None:
    """Mark the projector pixels, in some rows, that lie amid a surface where all around goes on and is as bright.

    `x`, `y` and `slope` are of `Surfaces`, `seen` and `noise` of `Decoded`, `filled` and `whose` of `Claims`.
    """
    width = x.shape[1]
    for v in range(first, last):
        for u in range(whose.shape[1]):
            if whose[v, u] >= 0 and filled[v, u] >= 0.0:
                row, col = divmod(whose[v, u], width)
                plain[v, u] = is_plain(x, y, slope, seen, noise, row, col)


@kernel
def is_plain(x: Image, y: Image, slope: Stack, seen: Stack, noise: Image, row: int, col: int) -> bool:
    """Whether all around a camera pixel goes on as its plane has it, and is as bright."""
    _, height, width = seen.shape
    if not (AROUND <= row < height - AROUND and AROUND <= col < width - AROUND):
        return False
    a, b, c, d = slope[0, row, col], slope[1, row, col], slope[2, row, col], slope[3, row, col]
    area = a * d - b * c
    light = max(_DARKEST, seen[3, row, col])
    noise_steps = _PLAIN_SIGMAS * seen[2, row, col] / np.sqrt(abs(area))
    noise_light = _PLAIN_SIGMAS * _LIGHT_SIGMA * noise[row, col] / light
    allowed = min(max(_PLAIN_STEPS, noise_steps), _NEVER_STEPS) * abs(area)
    ratio = np.exp(min(max(_PLAIN_LIGHT, noise_light), _NEVER_LIGHT))
    dark, bright = light / ratio, light * ratio
    x0, y0 = x[row, col], y[row, col]
    for r in range(row - AROUND, row + AROUND + 1):
        for k in range(col - AROUND, col + AROUND + 1):
            if not dark <= max(_DARKEST, seen[3, r, k]) <= bright:
                return False
            ex = seen[0, r, k] - x0 - a * (k - col) - c * (r - row)
            ey = seen[1, r, k] - y0 - b * (k - col) - d * (r - row)
            off = max(abs(d * ex - c * ey), abs(a * ey - b * ex))
            if not off < allowed:  # nor where a place is unknown
                return False
    return True


@kernel
def describe(
    places: NDArray[np.int64],
    x: Image,
    y: Image,
    slope: Stack,
    share: Image,
    seen: Stack,
    noise: Image,
    filled: Image,
    whose: NDArray[np.int32],
    out: Image,
) -> None:
    """Describe some projector pixels, given as row times width plus column; `out` has shape (places, TERMS).

    First come, for the pixel itself: how far it lies from the camera pixel's middle, along the longer way and across;
    logarithms of the share filled and of light against noise; noise of the place decoded [steps]; logarithms of the
    length of a step [projector px] and of how much longer it is along than across; how far the place decoded is off
    the plane, along and across; whether it lies between linked pixels, and the share there; the logarithm of light.
    Then for each pixel around, row by row: the logarithm of its light against the pixel's own, how far it is off the
    plane, along and across, and whether its place is unknown. Where `out` has fewer columns, the pixels around are
    left out.
    """
    height, width = x.shape
    for n in range(len(places)):
        v, u = divmod(places[n], whose.shape[1])
        row, col = divmod(whose[v, u], width)
        s, t = steps_to(x, y, slope, row, col, u, v)
        ahead, beside = 1 if s >= 0.0 else -1, 1 if t >= 0.0 else -1
        upright = abs(t) > abs(s)  # the longer way leads along the camera's columns
        a, b, c, d = slope[0, row, col], slope[1, row, col], slope[2, row, col], slope[3, row, col]
        area = a * d - b * c
        step = np.sqrt(abs(area))
        stretch = 0.5 * np.log((a * a + b * b) / (c * c + d * d))
        light = max(_DARKEST, seen[3, row, col])
        own = out[n]
        own[0], own[1] = max(abs(s), abs(t)), min(abs(s), abs(t))
        own[2] = np.log(max(0.02, share[row, col]))
        own[3] = max(-3.0, np.log(light / max(1e-3, noise[row, col])))
        own[4] = min(2.0, seen[2, row, col] / step)
        own[5] = np.log(step)
        own[6] = -stretch if upright else stretch
        own[7], own[8] = off_plane(x, y, slope, seen, row, col, row, col, area, ahead, beside, upright)
        own[9] = 1.0 if filled[v, u] >= 0.0 else 0.0
        own[10] = max(filled[v, u], 0.0)
        own[11] = np.log(light)
        if out.shape[1] < TERMS:
            continue
        k = OWN
        for across in range(-AROUND, AROUND + 1):
            for along in range(-AROUND, AROUND + 1):
                if along == 0 and across == 0:
                    continue
                if upright:
                    r, q = row + along * beside, col + across * ahead
                else:
                    r, q = row + across * beside, col + along * ahead
                own[k], own[k + 1], own[k + 2], own[k + 3] = -3.0, 0.0, 0.0, 1.0
                if 0 <= r < height and 0 <= q < width:
                    own[k] = max(min(np.log(max(_DARKEST, seen[3, r, q]) / light), 2.0), -3.0)
                    if np.isfinite(seen[0, r, q] + seen[1, r, q]):
                        own[k + 1], own[k + 2] = off_plane(
                            x, y, slope, seen, row, col, r, q, area, ahead, beside, upright
                        )
                        own[k + 3] = 0.0
                k += 4


@kernel
def off_plane(
    x: Image,
    y: Image,
    slope: Stack,
    seen: Stack,
    row: int,
    col: int,
    r: int,
    q: int,
    area: float,
    ahead: int,
    beside: int,
    upright: bool,
) -> tuple[float, float]:
    """How far the place decoded at a camera pixel (r, q) is off the plane of another, along and across [steps]."""
    a, b, c, d = slope[0, row, col], slope[1, row, col], slope[2, row, col], slope[3, row, col]
    ex = seen[0, r, q] - x[row, col] - a * (q - col) - c * (r - row)
    ey = seen[1, r, q] - y[row, col] - b * (q - col) - d * (r - row)
    right = max(min((d * ex - c * ey) / area * ahead, _FARTHEST), -_FARTHEST)
    down = max(min((a * ey - b * ex) / area * beside, _FARTHEST), -_FARTHEST)
    return (down, right) if upright else (right, down)


@kernel
def describe_neighbours(
    places: NDArray[np.int64],
    odds: Image,
    mean: Image,
    camera_x: Image,
    camera_y: Image,
    usual_px: float,
    sigma: Image,
    whose: NDArray[np.int32],
    out: Image,
) -> None:
    """Put what is said of the projector pixels around some into the last NEIGHBOURS columns of `out`.

    In an order that no turn changes: the log odds of the pixel itself, those of its eight neighbours from the lowest to
    the highest, logarithms of how far in the camera those neighbours are from it, from the nearest to the farthest
    [projector px], the mean log odds of 5 x 5 pixels, and of the noise of the place [projector px].
    """
    high, wide = odds.shape
    width, start = sigma.shape[1], out.shape[1] - NEIGHBOURS
    near, steps = np.empty(8, dtype=np.float32), np.empty(8, dtype=np.float32)
    for n in range(len(places)):
        v, u = divmod(places[n], wide)
        k = 0
        for down in range(-1, 2):
            for right in range(-1, 2):
                if down == 0 and right == 0:
                    continue
                r, c = min(max(v + down, 0), high - 1), min(max(u + right, 0), wide - 1)
                near[k] = odds[r, c]
                step = np.hypot(camera_x[r, c] - camera_x[v, u], camera_y[r, c] - camera_y[v, u]) / usual_px
                steps[k] = (
                    np.log(min(max(step, _NEAREST_PX), _FARTHEST_PX)) if np.isfinite(step) else np.log(_NEAREST_PX)
                )
                k += 1
        put_in_order(near)
        put_in_order(steps)
        row = out[n]
        row[start] = odds[v, u]
        row[start + 1 : start + 9] = near
        row[start + 9 : start + 17] = steps
        row[start + 17] = mean[v, u]
        at, col = divmod(whose[v, u], width)
        row[start + 18] = np.log(min(2.0, max(0.003, sigma[at, col])))


@kernel
def put_in_order(values: NDArray[np.float32]) -> None:
    """Sort a few values, by insertion: the library's sorting takes longer for eight than all else."""
    for n in range(1, values.size):
        value, k = values[n], n
        while k > 0 and values[k - 1] > value:
            values[k] = values[k - 1]
            k -= 1
        values[k] = value
