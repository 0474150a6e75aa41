"""From composed light to the codes of the film.

The film is BT.709 video: its primaries and matrix, limited range, 4:2:0 with chroma on even columns. The light
is encoded so that the PROJECTOR's curve (Rec. ITU-R BT.1886) gives it back, see docs/decisions/0003. Rounding
to 8 bits is dithered with a still, ordered pattern, the one kind that an H.264 encoder leaves in place.
"""

from __future__ import annotations

from functools import cache

import av
import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError
from limewash.jit import kernel
from limewash.light.colour import encode_bt1886
from limewash.media.yuv import chroma_row, luma_row, plane_rows

F32 = NDArray[np.float32]
I32 = NDArray[np.int32]
U8 = NDArray[np.uint8]

_STEPS = 1 << 14
_CELL = 64  # columns that are dark or lit together


def signal_of_light(light: ArrayLike) -> NDArray[np.float64]:
    """Video signal, 0 to 1, for linear light on the wall, 0 to 1 of the projector's white: any shape.

    The one place that decides how light becomes signal.
    """
    return encode_bt1886(light)


def linear_to_yuv420(linear: F32, frame: av.VideoFrame) -> None:
    """Fill a yuv420p frame from linear light.

    The same light gives the same bytes, whatever was encoded before and on however many cores.

    Parameters
    ----------
    linear : ndarray of float32, shape (height, width, 3)
        Light, BT.709 primaries, 1 being the projector's white; clipped to 0 to 1, NaN is black. Height and
        width even.
    frame : av.VideoFrame
        Of that size, as `VideoWriter.new_frame` gives it; BT.709 limited-range codes are written into it.

    Raises
    ------
    InputError
        If shape or type are others.
    """
    if linear.dtype != np.float32 or linear.shape != (frame.height, frame.width, 3):
        raise InputError(
            f"linear must be float32 of shape {(frame.height, frame.width, 3)}, got {linear.dtype} {linear.shape}"
        )
    planes_to_yuv420(np.ascontiguousarray(np.moveaxis(linear, 2, 0)).reshape(3, -1), frame, 0)


def planes_to_yuv420(planes: F32, frame: av.VideoFrame, top: int) -> None:
    """Fill some rows of a yuv420p frame; see `linear_to_yuv420`.

    Parameters
    ----------
    planes : ndarray of float32 and shape (3, rows * width)
        Linear red, green and blue; `rows` even.
    frame : av.VideoFrame
        Of even size.
    top : int
        The first row, even.
    """
    width = frame.width
    rows = planes.shape[1] // width
    _encode(
        planes,
        planes.view(np.int32),
        _signal_table(),
        _thresholds(width),
        plane_rows(frame, 0)[top : top + rows],
        plane_rows(frame, 1)[top // 2 : (top + rows) // 2],
        plane_rows(frame, 2)[top // 2 : (top + rows) // 2],
        top,
    )


@cache
def _signal_table() -> F32:
    """Signal in equal steps of the square root of light: fine where the eye is, in the dark."""
    return signal_of_light(np.linspace(0.0, 1.0, _STEPS + 1) ** 2).astype(np.float32)


@cache
def _thresholds(width: int) -> F32:
    """Ordered dither of period 8 after B. E. Bayer (IEEE ICC 1973), shape (8, width), between 0 and 1."""
    order = np.zeros((1, 1), np.int64)
    for _ in range(3):
        order = np.block([[4 * order, 4 * order + 2], [4 * order + 3, 4 * order + 1]])
    tiled = np.tile((order + 0.5) / 64.0, (1, -(-width // 8)))
    return np.ascontiguousarray(tiled[:, :width], dtype=np.float32)


@kernel
def _encode(
    planes: F32, bits: I32, table: F32, thresholds: F32, y_plane: U8, cb_plane: U8, cr_plane: U8, top: int
) -> None:
    """Encode pairs of rows, and of them only what holds light: most of a show's picture is dark."""
    width = thresholds.shape[1]
    steps = np.empty(width, np.int32)
    signals = np.empty(6 * width, np.float32)
    for pair in range(y_plane.shape[0] // 2):
        start = 2 * pair * width
        first = 0
        while first < width:
            # From `first` the row is dark up to `left`, then lit up to `right`.
            left = first
            while left < width and not _any_light(bits, start + left, start + width + left, min(_CELL, width - left)):
                left += _CELL
            left = min(left, width)
            right = left
            while right < width and _any_light(bits, start + right, start + width + right, min(_CELL, width - right)):
                right += _CELL
            right = min(right, width)
            # Black is the same code at every threshold.
            y_plane[2 * pair][first:left] = y_plane[2 * pair + 1][first:left] = np.uint8(16)
            cb_plane[pair][first // 2 : left // 2] = cr_plane[pair][first // 2 : left // 2] = np.uint8(128)
            first = right
            if left == right:
                continue
            # One dark sample of chroma on both sides: it holds some of its neighbour's light.
            left, right = max(left - 2, 0), min(right + 2, width)
            first = right
            n, c = right - left, left // 2
            signal = signals[: 6 * n].reshape((2, 3, n))
            for half in range(2):
                place = start + half * width + left
                for ch in range(3):
                    _look_up(planes[ch][place : place + n], table, steps, signal[half][ch])
                row = 2 * pair + half
                luma_row(signal[half], thresholds[(top + row) & 7][left:right], y_plane[row][left:right])
            threshold = thresholds[(top // 2 + pair) & 7][c : c + n]
            chroma_row(signal, threshold, cb_plane[pair][c : c + n // 2], cr_plane[pair][c : c + n // 2])


@kernel
def _any_light(bits: I32, upper: int, lower: int, n: int) -> bool:
    """Whether any of `n` pixels of two rows holds light: a float is 0 when all its bits are."""
    for ch in range(3):
        one, other = bits[ch][upper : upper + n], bits[ch][lower : lower + n]
        some = np.int32(0)
        for x in range(n):
            some |= one[x] | other[x]
        if some != 0:
            return True
    return False


@kernel
def _look_up(light: F32, table: F32, step: I32, signal: F32) -> None:
    """Signal of one row. Two loops, because the first runs many samples at a time when no table is in it."""
    zero, one = np.float32(0.0), np.float32(1.0)
    steps, half = np.float32(_STEPS), np.float32(0.5)
    for j in range(light.size):
        x = light[j]
        x = x if x > zero else zero  # also what is not a number
        x = one if x > one else x
        step[j] = np.int32(np.sqrt(x) * steps + half)
    for j in range(light.size):
        signal[j] = table[np.uintp(step[j])]
