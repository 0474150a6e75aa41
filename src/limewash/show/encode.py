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
    _encode(
        np.ascontiguousarray(linear),
        _signal_table(),
        _thresholds(frame.width),
        plane_rows(frame, 0),
        plane_rows(frame, 1),
        plane_rows(frame, 2),
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
def _encode(linear: F32, table: F32, thresholds: F32, y_plane: U8, cb_plane: U8, cr_plane: U8) -> None:
    height, width = linear.shape[0], linear.shape[1]
    flat = linear.reshape(height, 3 * width)
    step = np.empty(3 * width, np.int32)
    signal = np.empty((2, 3, width), np.float32)
    for pair in range(height // 2):
        for half in range(2):
            row = 2 * pair + half
            _look_up(flat[row], table, step, signal[half])
            luma_row(signal[half], thresholds[row & 7], y_plane[row])
        chroma_row(signal, thresholds[pair & 7], cb_plane[pair], cr_plane[pair])


@kernel
def _look_up(light: F32, table: F32, step: I32, signal: F32) -> None:
    """Signal of one row. Two loops, because the first runs many samples at a time when no table is in it."""
    zero, one = np.float32(0.0), np.float32(1.0)
    steps, half = np.float32(_STEPS), np.float32(0.5)
    for j in range(step.size):
        x = light[j]
        x = x if x > zero else zero  # also what is not a number
        x = one if x > one else x
        step[j] = np.int32(np.sqrt(x) * steps + half)
    for j in range(signal.shape[1]):
        signal[0, j] = table[step[3 * j]]
        signal[1, j] = table[step[3 * j + 1]]
        signal[2, j] = table[step[3 * j + 2]]
