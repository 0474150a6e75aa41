"""BT.709 luma and chroma, limited range, written straight into a frame's planes.

The row kernels are shared by all that makes frames. Numba's cache does not notice when a kernel in ANOTHER file
changes: after an edit here, delete the ``__pycache__`` folders.
"""

from __future__ import annotations

import av
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Plane = NDArray[np.uint8]
F32 = NDArray[np.float32]


def plane_rows(frame: av.VideoFrame, index: int) -> Plane:
    """One plane of a frame as uint8 (height, line size): contiguous, so that kernels are compiled once.

    Only the first columns up to the plane's width are picture; what lies beyond may be overwritten.
    """
    plane = frame.planes[index]
    rows = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)  # type: ignore[call-overload]
    picture: Plane = rows[: plane.height]
    return picture


def plane_view(frame: av.VideoFrame, index: int) -> Plane:
    """One plane of a frame as a writable uint8 array (height, width) over the frame's own memory."""
    return plane_rows(frame, index)[:, : frame.planes[index].width]


def fill_from_rgb(rgb: NDArray[np.uint8], frame: av.VideoFrame) -> None:
    """Fill a yuv420p frame from full-range R'G'B' of shape (height, width, 3), both even."""
    _fill_from_rgb(np.ascontiguousarray(rgb), *(plane_rows(frame, index) for index in range(3)))


@kernel
def _fill_from_rgb(rgb: NDArray[np.uint8], y_plane: Plane, cb_plane: Plane, cr_plane: Plane) -> None:
    height, width = rgb.shape[0], rgb.shape[1]
    signal = np.empty((2, 3, width), np.float32)
    rounding = np.full(width, np.float32(0.5))
    for pair in range(height // 2):
        for half in range(2):
            row = 2 * pair + half
            for j in range(width):
                for c in range(3):
                    signal[half, c, j] = np.float32(rgb[row, j, c]) / np.float32(255.0)
            luma_row(signal[half], rounding, y_plane[row])
        chroma_row(signal, rounding, cb_plane[pair], cr_plane[pair])


@kernel
def luma_row(signal: F32, threshold: F32, out: Plane) -> None:
    """Luma codes of R'G'B' signal (3, width), 0 to 1; `threshold` (width,) is added before cutting off."""
    red, green, blue = np.float32(219.0 * 0.2126), np.float32(219.0 * 0.7152), np.float32(219.0 * 0.0722)
    for j in range(threshold.size):
        y = red * signal[0, j] + green * signal[1, j] + blue * signal[2, j]
        out[j] = np.uint8(np.int32(y + np.float32(16.0) + threshold[j]))


@kernel
def chroma_row(signal: F32, threshold: F32, cb_row: Plane, cr_row: Plane) -> None:
    """Chroma codes of two rows of R'G'B' signal (2, 3, width), 0 to 1, as `luma_row` otherwise.

    Chroma sits on even columns and between the rows, where H.264 players expect it: each sample is the mean of
    both rows, weighted 1, 2, 1 along them.
    """
    one, two, base = np.float32(1.0), np.float32(2.0), np.float32(128.0)
    cb_scale, cr_scale = np.float32(28.0 / 1.8556), np.float32(28.0 / 1.5748)
    # Colour differences of both rows at every column first: that loop runs many columns at a time.
    blue_less, red_less = np.empty(threshold.size + 1, np.float32), np.empty(threshold.size + 1, np.float32)
    for j in range(threshold.size):
        red, green, blue = (
            signal[0, 0, j] + signal[1, 0, j],
            signal[0, 1, j] + signal[1, 1, j],
            signal[0, 2, j] + signal[1, 2, j],
        )
        y = np.float32(0.2126) * red + np.float32(0.7152) * green + np.float32(0.0722) * blue
        blue_less[j + 1] = blue - y
        red_less[j + 1] = red - y
    blue_less[0], red_less[0] = blue_less[1], red_less[1]
    for j in range(threshold.size // 2):
        cb = blue_less[2 * j] + two * blue_less[2 * j + 1] + blue_less[2 * j + 2]
        cr = red_less[2 * j] + two * red_less[2 * j + 1] + red_less[2 * j + 2]
        cb_row[j] = np.uint8(np.int32(cb * cb_scale + base + threshold[j]))
        cr_row[j] = np.uint8(np.int32(cr * cr_scale + base + one - threshold[j]))
