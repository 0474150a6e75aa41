"""Whole files or none: written beside their place, forced to disk, renamed over it."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from limewash.errors import InputError


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a path to write to; on success it takes the place of `path`, on any failure it goes away.

    The part file keeps the suffix of `path`, because writers choose their format by it.

    Raises
    ------
    InputError
        If the folder is missing or cannot be written to, or the disk is full.
    """
    part = path.with_name(f".{path.stem}.{secrets.token_hex(4)}.part{path.suffix}")
    try:
        part.touch(exist_ok=False)
        yield part
        with part.open("rb+") as handle:
            os.fsync(handle.fileno())
        part.replace(path)
    except OSError as error:
        # Only what concerns the file being written: an error from reading something else passes unchanged.
        if error.filename is not None and Path(os.fsdecode(error.filename)) not in (part, path):
            raise
        raise InputError(f"cannot write {path}: {error.strerror or error}; {_remedy(error)}") from error
    finally:
        with suppress(OSError):  # what went wrong before is what is to be told
            part.unlink(missing_ok=True)


def write_bytes(path: Path, data: bytes) -> None:
    """Write a whole file atomically. Raises InputError if it cannot be written."""
    with replacing(path) as part:
        part.write_bytes(data)


def write_text(path: Path, text: str) -> None:
    """Write a whole UTF-8 file atomically. Raises InputError if it cannot be written."""
    write_bytes(path, text.encode("utf-8"))


def make_folder(path: Path) -> None:
    """Make a folder and those above it. Raises InputError if it cannot be made."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot make the folder {path}: {error.strerror}; {_remedy(error)}") from error


def new_folder(folder: Path, what: str) -> None:
    """Make a folder for `what`, or take an empty one.

    Raises
    ------
    InputError
        If there is something in it already, or it cannot be made.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder} exists already and is not an empty folder; name a new one for {what}")
    make_folder(folder)


def _remedy(error: OSError) -> str:
    import errno

    if error.errno == errno.ENOSPC:
        return "free some space on that disk and run the same command again"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return "choose a folder that you may write to"
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return "check that its folder exists"
    return "nothing was replaced; put that right and run the same command again"
