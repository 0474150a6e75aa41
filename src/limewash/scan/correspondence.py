"""For each projector pixel, the camera pixel that sees it."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError
from limewash.files import write_bytes
from limewash.media.opening import check_file

FORMAT = 1

Map = NDArray[np.float32]


@dataclass(frozen=True)
class Correspondence:
    """Dense projector-to-camera map; arrays have shape (projector height, projector width).

    Attributes
    ----------
    camera_x, camera_y : ndarray of float32
        Camera pixel (pixel centres are integers) that sees this projector pixel; NaN where unseen. [px]
    confidence : ndarray of float32
        0 (unseen) to 1.
    camera_size, projector_size : (int, int)
        Width and height. [px]
    """

    camera_x: Map
    camera_y: Map
    confidence: Map
    camera_size: tuple[int, int]
    projector_size: tuple[int, int]

    def __post_init__(self) -> None:
        shape = (self.projector_size[1], self.projector_size[0])
        for name in ("camera_x", "camera_y", "confidence"):
            array = getattr(self, name)
            if array.shape != shape:
                raise InputError(f"{name} must have shape {shape} (rows, columns), got {array.shape}")

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Where a camera pixel is known."""
        return np.isfinite(self.camera_x) & np.isfinite(self.camera_y)

    def sample(self, points: ArrayLike) -> NDArray[np.float64]:
        """Camera pixels for projector points (..., 2), bilinear; NaN where one of the four is unseen."""
        p = np.asarray(points, dtype=np.float64)
        width, height = self.projector_size
        x, y = p[..., 0], p[..., 1]
        inside = (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)
        x0 = np.clip(np.floor(np.where(inside, x, 0)).astype(np.intp), 0, width - 2)
        y0 = np.clip(np.floor(np.where(inside, y, 0)).astype(np.intp), 0, height - 2)
        fx, fy = x - x0, y - y0
        out = np.empty((*x.shape, 2))
        for axis, grid in enumerate((self.camera_x, self.camera_y)):
            top = grid[y0, x0] * (1 - fx) + grid[y0, x0 + 1] * fx
            low = grid[y0 + 1, x0] * (1 - fx) + grid[y0 + 1, x0 + 1] * fx
            out[..., axis] = np.where(inside, top * (1 - fy) + low * fy, np.nan)
        return out


def save_correspondence(path: Path, correspondence: Correspondence) -> None:
    """Write `correspondence.npz` as docs/formats.md describes it."""
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        format=np.int64(FORMAT),
        camera_x=correspondence.camera_x.astype(np.float32),
        camera_y=correspondence.camera_y.astype(np.float32),
        confidence=correspondence.confidence.astype(np.float32),
        camera_size=np.asarray(correspondence.camera_size, dtype=np.int64),
        projector_size=np.asarray(correspondence.projector_size, dtype=np.int64),
    )
    write_bytes(path, buffer.getvalue())


def load_correspondence(path: Path) -> Correspondence:
    """Read `correspondence.npz`.

    Raises
    ------
    InputError
        If the file is missing, damaged, not a correspondence, or of a newer format.
    """
    if not path.is_file():
        raise InputError(f"{path} does not exist; make it with 'limewash scan read CLIP --project ...'")
    check_file(path)
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as data:
            version = int(data["format"])
            if version > FORMAT:
                raise InputError(
                    f"{path} has format {version}; this Limewash reads up to {FORMAT}: install a newer one"
                )
            camera, projector = data["camera_size"], data["projector_size"]
            return Correspondence(
                camera_x=data["camera_x"],
                camera_y=data["camera_y"],
                confidence=data["confidence"],
                camera_size=(int(camera[0]), int(camera[1])),
                projector_size=(int(projector[0]), int(projector[1])),
            )
    except InputError:
        raise
    except (OSError, KeyError, IndexError, TypeError, ValueError, EOFError, zipfile.BadZipFile, zlib.error) as error:
        raise InputError(f"{path} is damaged or is not a correspondence file ({error}): scan again") from None
