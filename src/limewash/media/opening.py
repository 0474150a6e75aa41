"""Opening a film or a sound file, with errors that a person can act on."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
import av.container
import av.error

from limewash.errors import InputError


@contextmanager
def opened(path: Path) -> Iterator[av.container.InputContainer]:
    """Open a media file for reading and close it at the end.

    Raises
    ------
    InputError
        If the file is missing, empty, may not be read, or is not a film or a sound.
    """
    check_file(path)
    try:
        container = av.open(os.fspath(path))
    except (av.error.InvalidDataError, av.error.EOFError, av.error.PatchWelcomeError) as error:
        raise InputError(
            f"{path} cannot be read as a film or a sound: it is something else, or its end is missing "
            "because the recording or the copy was cut short; copy it again from the phone as it is"
        ) from error
    except av.error.FFmpegError as error:
        raise InputError(f"{path} cannot be opened: {error.strerror}; check the file") from error
    with container:
        yield container


def check_file(path: Path) -> None:
    """Raise InputError unless `path` is a file with something in it that may be read."""
    try:
        there = path.exists()
    except PermissionError:
        raise InputError(f"{path} lies in a folder that may not be entered; copy it elsewhere") from None
    if not there:
        raise InputError(f"{path} does not exist; check the name and the folder")
    if path.is_dir():
        raise InputError(f"{path} is a folder; give the file in it")
    if path.stat().st_size == 0:
        raise InputError(f"{path} is empty (0 bytes); copy it again from where it came")
    if not os.access(path, os.R_OK):
        raise InputError(f"{path} may not be read; change its permissions or copy it elsewhere")
