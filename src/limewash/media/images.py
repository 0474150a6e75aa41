"""Still pictures on disk: 8-bit RGB or grey, PNG or JPEG."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.files import write_bytes
from limewash.media.opening import check_file

_WRITERS: dict[str, list[int]] = {
    # Level 4 writes a photo about three times as fast as the default at 2 per cent more bytes.
    ".png": [cv2.IMWRITE_PNG_COMPRESSION, 4],
    ".jpg": [cv2.IMWRITE_JPEG_QUALITY, 92],
    ".jpeg": [cv2.IMWRITE_JPEG_QUALITY, 92],
}


def read_image(path: Path) -> NDArray[np.uint8]:
    """Read a still as R'G'B' of shape (height, width, 3), upright as the camera's note (Exif) says.

    Raises
    ------
    InputError
        If the file is missing, empty, or not a picture.
    """
    check_file(path)
    try:
        picture = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    except cv2.error:
        picture = None
    if picture is None:
        raise InputError(f"{path} is not a picture that can be read, or it is damaged; use PNG or JPEG")
    return np.ascontiguousarray(picture[..., ::-1], dtype=np.uint8)


def write_image(path: Path, picture: NDArray[np.uint8]) -> None:
    """Write R'G'B' (height, width, 3) or grey (height, width), as PNG or JPEG by the suffix, atomically.

    Raises
    ------
    InputError
        If the suffix is neither, the array is not such a picture, or the file cannot be written.
    """
    settings = _WRITERS.get(path.suffix.lower())
    if settings is None:
        raise InputError(f"{path}: a picture is written as .png or .jpg, got {path.suffix or 'no suffix'!r}")
    if picture.dtype != np.uint8 or not (picture.ndim == 2 or (picture.ndim == 3 and picture.shape[2] == 3)):
        raise InputError(
            f"picture must be uint8 (H, W) or (H, W, 3), got {picture.dtype} {picture.shape}; "
            "did you pass values from 0 to 1?"
        )
    swapped = picture if picture.ndim == 2 else np.ascontiguousarray(picture[..., ::-1])
    done, data = cv2.imencode(path.suffix.lower(), swapped, settings)
    if not done:
        raise InputError(f"{path}: this picture of shape {picture.shape} cannot be encoded")
    write_bytes(path, data.tobytes())
