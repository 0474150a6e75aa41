"""BT.709 luma and chroma of 8-bit pictures, written straight into a frame's planes."""

from __future__ import annotations

import av
import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Plane = NDArray[np.uint8]


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
    """Fill a yuv420p frame from full-range R'G'B' of shape (height, width, 3), both even.

    BT.709 matrix, limited range. Chroma sits on even columns and between two rows, which is where H.264
    players expect it: each sample is the mean of two rows, weighted 1, 2, 1 along the row.
    """
    _fill_from_rgb(np.ascontiguousarray(rgb), *(plane_rows(frame, index) for index in range(3)))


@kernel
def _fill_from_rgb(rgb: NDArray[np.uint8], y_plane: Plane, cb_plane: Plane, cr_plane: Plane) -> None:
    height, width = rgb.shape[0], rgb.shape[1]
    luma = np.float32(219.0 / 255.0)
    for i in range(height):
        for j in range(width):
            r, g, b = np.float32(rgb[i, j, 0]), np.float32(rgb[i, j, 1]), np.float32(rgb[i, j, 2])
            y = np.float32(0.2126) * r + np.float32(0.7152) * g + np.float32(0.0722) * b
            y_plane[i, j] = np.uint8(luma * y + np.float32(16.5))
    cb_scale, cr_scale = np.float32(224.0 / 255.0 / 1.8556 / 8.0), np.float32(224.0 / 255.0 / 1.5748 / 8.0)
    for i in range(height // 2):
        for j in range(width // 2):
            left, mid, right = max(2 * j - 1, 0), 2 * j, 2 * j + 1
            red = green = blue = np.int64(0)
            for row in (2 * i, 2 * i + 1):
                red += np.int64(rgb[row, left, 0]) + 2 * np.int64(rgb[row, mid, 0]) + np.int64(rgb[row, right, 0])
                green += np.int64(rgb[row, left, 1]) + 2 * np.int64(rgb[row, mid, 1]) + np.int64(rgb[row, right, 1])
                blue += np.int64(rgb[row, left, 2]) + 2 * np.int64(rgb[row, mid, 2]) + np.int64(rgb[row, right, 2])
            mean = np.float32(0.2126) * red + np.float32(0.7152) * green + np.float32(0.0722) * blue
            cb_plane[i, j] = np.uint8((np.float32(blue) - mean) * cb_scale + np.float32(128.5))
            cr_plane[i, j] = np.uint8((np.float32(red) - mean) * cr_scale + np.float32(128.5))
