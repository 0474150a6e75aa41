"""What photos and clips say of the lens that took them, and how far it can be trusted."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path

from limewash.errors import InputError
from limewash.files import write_text
from limewash.media.photos import PhotoNote, read_note, read_photo
from limewash.media.reading import ClipInfo

FILE = "lens.json"
FORMAT = 1

_NOTE_SIGMA = 0.025  # whole millimetres, and makers who mean the width where the standard means the diagonal
_CROP, _CROP_SIGMA = 1.08, 0.06  # by which films show less than photos: 1 without, 1.2 with strong steadying


@dataclass(frozen=True)
class LensNote:
    """Focal length of the camera that made a scan.

    Attributes
    ----------
    focal_per_width : float
        By the width of the scan's pictures. [-]
    sigma : float
        Its standard deviation, as a share. [-]
    told_by : str
        Where that is known from, for people.
    """

    focal_per_width: float
    sigma: float
    told_by: str


def lens_of_photos(note: PhotoNote, size: tuple[int, int]) -> LensNote | None:
    """The lens of a scan that was made of photos, by the note of one of them; `size` is theirs, upright [px]."""
    focal = note.focal_per_width(size)
    return None if focal is None else _zoomed(note, focal, _NOTE_SIGMA, "the photos' Exif note")


def lens_of_clip(info: ClipInfo) -> LensNote | None:
    """The lens of a scan that was filmed, by what the clip says of itself; None for most clips."""
    if info.focal_35mm is None:
        return None
    # The figure is that of the phone's photos, which are 4 to 3 and as wide as a film before steadying.
    photo_size = (4, 3) if info.size[0] > info.size[1] else (3, 4)
    return _filmed(PhotoNote(focal_35mm=info.focal_35mm), photo_size, "the clip's own note")


def lens_by_photo(photo: Path, clip_size: tuple[int, int]) -> LensNote:
    """The lens of a scan that was filmed, by a photo that the same phone took with the same lens.

    Raises
    ------
    InputError
        If the photo cannot be read, or does not tell its focal length.
    """
    note, (height, width) = read_note(photo), read_photo(photo).shape[:2]
    if note.focal_35mm is None:
        raise InputError(
            f"{photo} does not tell its focal length (no Exif note, or one without it); pass on the photo as the "
            "phone stored it, since messengers and editors strip the note; or give --phone-mm"
        )
    lies = clip_size[0] > clip_size[1]
    size = (max(width, height), min(width, height)) if lies else (min(width, height), max(width, height))
    return _filmed(note, size, f"the Exif note of {photo.name}")


def save_lens(path: Path, lens: LensNote) -> None:
    """Write `lens.json`."""
    write_text(path, json.dumps({"format": FORMAT, **asdict(lens)}, indent=2, ensure_ascii=False) + "\n")


def load_lens(path: Path) -> LensNote | None:
    """Read `lens.json`; None if the scan has none. Raises InputError if it is damaged or of a newer format."""
    if not path.is_file():
        return None
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if int(data["format"]) > FORMAT:
            raise InputError(
                f"{path} has format {data['format']}; this Limewash reads up to {FORMAT}: install a newer one"
            )
        focal, sigma = float(data["focal_per_width"]), float(data["sigma"])
        if not (0.1 < focal < 20.0 and 0.0 < sigma < 1.0):
            raise ValueError("figures out of range")
        return LensNote(focal, sigma, str(data["told_by"]))
    except (OSError, KeyError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{path} is damaged ({error}); delete it, or give --phone-mm") from error


def _filmed(note: PhotoNote, photo_size: tuple[int, int], told_by: str) -> LensNote:
    """A film shows a photo's width, less what steadying crops."""
    focal = note.focal_per_width(photo_size)
    assert focal is not None
    return _zoomed(note, focal * _CROP, math.hypot(_NOTE_SIGMA, _CROP_SIGMA), told_by)


def _zoomed(note: PhotoNote, focal: float, sigma: float, told_by: str) -> LensNote:
    """Some makers reckon digital zoom into the focal length, some do not: the truth lies at either end."""
    half = 0.5 * math.log(note.zoom)
    return LensNote(focal * math.exp(half), math.hypot(sigma, half), told_by)
