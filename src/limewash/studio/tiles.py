"""A photo cut into tiles at halved sizes, so that 12 megapixels can be panned and zoomed."""

from __future__ import annotations

import hashlib
import threading
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.images import read_image
from limewash.studio.wire import PhotoInfo, TileLevel

TILE_PX = 512
_JPEG = [
    cv2.IMWRITE_JPEG_QUALITY, 93,
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
]  # fmt: skip
_READING = threading.Lock()


class Pyramid:
    """One photo: level 0 is the full size, each further level half of the one before."""

    def __init__(self, picture: NDArray[np.uint8], version: str) -> None:
        self.version = version
        self.levels = [np.ascontiguousarray(picture[..., ::-1])]
        while max(self.levels[-1].shape[:2]) > TILE_PX:
            height, width = self.levels[-1].shape[:2]
            half = (max((width + 1) // 2, 1), max((height + 1) // 2, 1))
            # The even size keeps level n's pixel (i, j) over the 2^n x 2^n pixels from (2^n i, 2^n j) on.
            even = cv2.copyMakeBorder(
                self.levels[-1], 0, 2 * half[1] - height, 0, 2 * half[0] - width, cv2.BORDER_REPLICATE
            )
            self.levels.append(np.asarray(cv2.resize(even, half, interpolation=cv2.INTER_AREA), dtype=np.uint8))

    def info(self, name: str) -> PhotoInfo:
        """Size and levels."""
        levels = [
            TileLevel(width=w, height=h, columns=-(-w // TILE_PX), rows=-(-h // TILE_PX))
            for h, w in (level.shape[:2] for level in self.levels)
        ]
        return PhotoInfo(
            name=name,
            width=levels[0].width,
            height=levels[0].height,
            tile_px=TILE_PX,
            version=self.version,
            levels=levels,
        )

    def tile(self, level: int, column: int, row: int) -> bytes:
        """A tile as JPEG. Raises InputError if there is none at that place."""
        if not 0 <= level < len(self.levels):
            raise InputError(f"level must be from 0 to {len(self.levels) - 1}, got {level}")
        picture = self.levels[level]
        height, width = picture.shape[:2]
        if not (0 <= column * TILE_PX < width and 0 <= row * TILE_PX < height):
            raise InputError(f"level {level} has no tile at column {column}, row {row}")
        part = picture[row * TILE_PX : (row + 1) * TILE_PX, column * TILE_PX : (column + 1) * TILE_PX]
        _, data = cv2.imencode(".jpg", part, _JPEG)
        return data.tobytes()


def pyramid_of(path: Path) -> Pyramid:
    """The tiles of a photo; kept until the file changes. Raises InputError if it cannot be read."""
    try:
        stat = path.stat()
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror}") from None
    with _READING:
        return _pyramid(path, stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=2)
def _pyramid(path: Path, changed_ns: int, size_bytes: int) -> Pyramid:
    version = hashlib.sha256(f"{path}|{changed_ns}|{size_bytes}".encode()).hexdigest()[:12]
    return Pyramid(read_image(path), version)
