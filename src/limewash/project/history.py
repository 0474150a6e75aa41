"""Nothing that the person made is overwritten without a copy kept in the project's history."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from limewash.errors import InputError
from limewash.files import make_folder, replacing, write_bytes

HISTORY = "history"


def keep_copy(root: Path, path: Path, *, now: datetime | None = None) -> Path | None:
    """Copy a file of the project into its history before it is replaced.

    Parameters
    ----------
    root : Path
        The project folder.
    path : Path
        A file inside it; nothing happens if it does not exist.
    now : datetime, optional
        The time in the copy's name; the present when left out.

    Returns
    -------
    copy : Path or None
        `history/<place of the file>/<stem>.<time>[-n]<suffix>`.
    """
    if not path.is_file():
        return None
    inside = path.resolve().relative_to(root.resolve())
    folder = root / HISTORY / inside.parent
    make_folder(folder)
    stamp = (now or datetime.now()).strftime("%Y%m%d-%H%M%S")
    number = 1
    while True:
        tail = "" if number == 1 else f"-{number}"
        copy = folder / f"{path.stem}.{stamp}{tail}{path.suffix}"
        if not copy.exists():
            break
        number += 1
    with replacing(copy) as part:
        shutil.copyfile(path, part)
    return copy


@contextmanager
def replacing_with_copy(root: Path, path: Path) -> Iterator[Path]:
    """As `replacing`; what is replaced is copied into the history, once the new file is whole and not before."""
    with replacing(path) as part:
        yield part
        keep_copy(root, path)


def replace_file(root: Path, path: Path, data: bytes) -> None:
    """Write a file of the project, keeping a copy of what it replaces unless the bytes are the same.

    Raises
    ------
    InputError
        If the file cannot be written; the old one is then still in place.
    """
    try:
        same = path.is_file() and path.read_bytes() == data
    except OSError as error:
        raise InputError(f"cannot read {path} to keep a copy of it: {error.strerror}") from error
    if same:
        return
    keep_copy(root, path)
    write_bytes(path, data)
