"""Reading a scan from whatever a person hands over: a clip, a folder of photos, or a ZIP file of photos."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from limewash.errors import InputError
from limewash.media.opening import check_file
from limewash.media.photos import SUFFIXES
from limewash.progress import Progress, silent
from limewash.scan.read import ScanResult, read_clip
from limewash.scan.shots import read_shots

_LARGEST = 16 * 2**30  # bytes, unpacked: some hundred raw photos


def read_any(
    path: Path, projector_size: tuple[int, int], progress: Progress = silent, *, keep: Path | None = None
) -> ScanResult:
    """Read a clip (see `read_clip`), or a folder or a ZIP file of photos (see `read_shots`).

    Raises
    ------
    InputError
        As those do; if a ZIP file is damaged or holds no photos.
    """
    path = Path(path)
    if os.path.isdir(path):  # noqa: PTH112 - Path.is_dir raises where a folder above may not be entered
        return read_shots(path, projector_size, progress, keep=keep)
    if path.suffix.lower() == ".zip":
        with unpacked(path) as folder:
            try:
                return read_shots(folder, projector_size, progress, keep=keep)
            except InputError as error:
                raise InputError(str(error).replace(str(folder), str(path))) from error
    return read_clip(path, projector_size, progress, keep=keep)


@contextmanager
def unpacked(archive: Path) -> Iterator[Path]:
    """A folder with the photos of a ZIP file, whatever folders they lie in there; gone at the end.

    Raises
    ------
    InputError
        If it is damaged, too large, or holds no photos.
    """
    check_file(archive)
    with tempfile.TemporaryDirectory(prefix="limewash-photos-") as temporary:
        try:
            with zipfile.ZipFile(archive) as whole:
                photos = [one for one in whole.infolist() if _is_photo(one)]
                if sum(one.file_size for one in photos) > _LARGEST:
                    raise InputError(f"{archive} holds more than {_LARGEST >> 30} GB of photos; unpack it yourself")
                for number, one in enumerate(photos):
                    # Names from outside never become paths: a number and the known ending are enough.
                    name = _safe_name(number, one.filename)
                    with whole.open(one) as source, (Path(temporary) / name).open("xb") as target:
                        shutil.copyfileobj(source, target)
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error) as error:
            raise InputError(f"{archive} is damaged, locked, or no ZIP file ({error}); pack it again") from error
        except OSError as error:
            raise InputError(f"{archive} cannot be unpacked: {error.strerror}; free some space") from error
        if not photos:
            raise InputError(f"{archive} holds no photos; pack the photos of the pattern's pictures")
        yield Path(temporary)


def _safe_name(number: int, inside: str) -> str:
    """A number, so that no two are alike, and what is harmless of the name, so that a person knows the photo by it."""
    path = PurePosixPath(inside)
    stem = re.sub(r"[^A-Za-z0-9._-]", "-", path.stem)[:60]
    return f"{number:04}-{stem}{path.suffix.lower()}"


def _is_photo(entry: zipfile.ZipInfo) -> bool:
    name = PurePosixPath(entry.filename)
    # Some systems pack a second, hidden file beside each.
    return not entry.is_dir() and name.suffix.lower() in SUFFIXES and not name.name.startswith(".")
