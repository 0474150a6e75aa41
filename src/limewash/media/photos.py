"""Photos as cameras store them: JPEG, PNG, TIFF, and HEIC or raw by optional packages; with the camera's own note."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, UnidentifiedImageError

from limewash.errors import InputError
from limewash.media.opening import check_file

Codes = NDArray[np.uint8 | np.uint16]

PLAIN = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".webp")
HEIC = (".heic", ".heif", ".hif")
RAW = (".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".rw2", ".orf", ".pef", ".srw")
SUFFIXES = (*PLAIN, *HEIC, *RAW)
"""Endings of the files that are taken for photos."""

_FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
_MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0}  # Exif 2.32, tag 41488: inch, centimetre, millimetre
_RAW_GAMMA = (2.222, 4.5)  # of BT.709, so that raw photos come out as others do


@dataclass(frozen=True)
class PhotoNote:
    """What the camera wrote beside a photo (Exif), None where it says nothing.

    Attributes
    ----------
    taken : str or None
        Date, time and fraction of a second; sorts in the order of time.
    focal_35mm : float or None
        Focal length in terms of 35 mm film: by the diagonal of the picture, as the Exif standard has it. [mm]
    zoom : float
        Digital zoom that the picture was cropped by; 1 for none. [-]
    exposure_s, iso : float or None
        Exposure time [s] and sensitivity.
    """

    taken: str | None = None
    focal_35mm: float | None = None
    zoom: float = 1.0
    exposure_s: float | None = None
    iso: float | None = None

    def focal_per_width(self, size: tuple[int, int]) -> float | None:
        """Focal length by the width of the picture, for a picture of a size [px]; None where it is not known.

        Film of 36 x 24 mm has a diagonal of 43.3 mm; what a phone calls 26 mm has the same view from corner to corner.
        """
        if self.focal_35mm is None:
            return None
        return self.focal_35mm / _FILM_DIAGONAL_MM * math.hypot(*size) / size[0]


def read_photo(path: Path) -> Codes:
    """Read a photo as R'G'B' of shape (height, width, 3), uint8 or uint16 full range, upright as its note says.

    Raises
    ------
    InputError
        If the file is missing, empty, no picture, or of a kind whose optional package is not installed.
    """
    check_file(path)
    suffix = path.suffix.lower()
    if suffix in HEIC:
        return _read_heic(path)
    if suffix in RAW:
        return _read_raw(path)
    try:
        data = np.frombuffer(path.read_bytes(), np.uint8)
        picture = cv2.imdecode(data, cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH)
    except cv2.error:
        picture = None
    if picture is None or picture.dtype not in (np.uint8, np.uint16):
        raise InputError(f"{path} is not a photo that can be read, or it is damaged; use JPEG, PNG or TIFF")
    return np.ascontiguousarray(picture[..., ::-1])


def read_note(path: Path) -> PhotoNote:
    """Read what the camera wrote beside a photo; an empty note where there is none or it makes no sense.

    Raises
    ------
    InputError
        If the file is missing, empty, or HEIC without its optional package.
    """
    check_file(path)
    if path.suffix.lower() in HEIC:
        _heic()
    try:
        with Image.open(path) as picture:
            exif, size = picture.getexif(), picture.size
            tags = {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return PhotoNote()
    return note_of(tags, size)


def note_of(tags: Mapping[int, Any], size: tuple[int, int]) -> PhotoNote:
    """Make sense of Exif tags by number, as of Exif 2.32; `size` is that of the picture as stored [px]."""
    base = ExifTags.Base
    taken = tags.get(base.DateTimeOriginal) or tags.get(base.DateTime)
    fraction = str(tags.get(base.SubsecTimeOriginal) or "").strip("\0 ")
    return PhotoNote(
        taken=f"{str(taken).strip(chr(0))}.{fraction or 0}" if taken else None,
        focal_35mm=_positive(tags.get(base.FocalLengthIn35mmFilm)) or _by_sensor(tags, size),
        zoom=max(_positive(tags.get(base.DigitalZoomRatio)) or 1.0, 1.0),
        exposure_s=_positive(tags.get(base.ExposureTime)),
        iso=_positive(tags.get(base.ISOSpeedRatings)),
    )


def _by_sensor(tags: Mapping[int, Any], size: tuple[int, int]) -> float | None:
    """Focal length in terms of film from the true one and the pixels to a millimetre of the sensor."""
    base = ExifTags.Base
    focal_mm, density = _positive(tags.get(base.FocalLength)), _positive(tags.get(base.FocalPlaneXResolution))
    unit = _MM_PER_UNIT.get(int(_positive(tags.get(base.FocalPlaneResolutionUnit)) or 2))
    if focal_mm is None or density is None or unit is None:
        return None
    diagonal_mm = math.hypot(*size) / density * unit
    film_mm = focal_mm * _FILM_DIAGONAL_MM / diagonal_mm
    return film_mm if 8.0 <= film_mm <= 400.0 else None


def _positive(value: Any) -> float | None:
    """A number above zero, or None: cameras write 0, 0/0 and lists where they do not know."""
    try:
        number = float(value[0] if isinstance(value, tuple | list) else value)
    except (TypeError, ValueError, ZeroDivisionError, IndexError):
        return None
    return number if math.isfinite(number) and number > 0.0 else None


def _heic() -> None:
    try:
        import pillow_heif
    except ImportError as error:
        raise InputError(
            "HEIC photos need one more package: pip install 'limewash[heic]'; or set the phone to store JPEG "
            "('most compatible')"
        ) from error
    pillow_heif.register_heif_opener()


def _read_heic(path: Path) -> Codes:
    _heic()
    try:
        with Image.open(path) as picture:
            return np.ascontiguousarray(np.asarray(picture.convert("RGB")))
    except (UnidentifiedImageError, OSError, ValueError, RuntimeError) as error:
        raise InputError(f"{path} is not an HEIC photo that can be read, or it is damaged ({error})") from error


def _read_raw(path: Path) -> Codes:
    try:
        import rawpy
    except ImportError as error:
        raise InputError(
            "raw photos need one more package: pip install 'limewash[raw]'; or let the camera store JPEG"
        ) from error
    try:
        with rawpy.imread(str(path)) as raw:
            # The camera's own white balance and no brightening: the photos of a series must stay comparable.
            picture = raw.postprocess(gamma=_RAW_GAMMA, no_auto_bright=True, use_camera_wb=True, output_bps=16)
    except rawpy.LibRawError as error:
        raise InputError(f"{path} is not a raw photo that can be read, or it is damaged ({error})") from error
    return np.ascontiguousarray(picture)
