"""Saving without being asked: soon after each change, never half a file, without flooding the history."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

from limewash.errors import LimewashError
from limewash.files import write_bytes
from limewash.project.folder import Project

SAVE_WITHIN_S = 0.5
KEEP_EVERY_S = 300.0
RETRY_S = 2.0
LOOK_EVERY_S = 2.0


class ThinnedFile:
    """A file of the project that is written often; a copy goes into the history at most every five minutes.

    What somebody else wrote meanwhile (a vector editor) always goes into the history before it is replaced.
    """

    def __init__(self, project: Project, path: Path, *, keep_every_s: float = KEEP_EVERY_S) -> None:
        self.project = project
        self.path = path
        self._keep_every_s = keep_every_s
        self._written: bytes | None = None
        self._kept_at = -float("inf")

    def write(self, data: bytes) -> None:
        """Replace the file's content. Raises InputError if it cannot be written."""
        on_disk = self._on_disk()
        if on_disk != data:
            mine = on_disk is None or on_disk == self._written
            if mine and time.monotonic() - self._kept_at < self._keep_every_s:
                write_bytes(self.path, data)
            else:
                self.project.write(self.path, data)
                self._kept_at = time.monotonic()
        self._written = data

    def took_in(self) -> None:
        """Remember the present content as known."""
        self._written = self._on_disk()

    @property
    def changed_outside(self) -> bool:
        """Whether somebody else wrote the file since it was last read or written here."""
        on_disk = self._on_disk()
        return on_disk is not None and on_disk != self._written

    def _on_disk(self) -> bytes | None:
        try:
            return self.path.read_bytes()
        except OSError:
            return None


class Autosave:
    """A thread that calls `save` within half a second after `touch`, and once more when it is closed.

    Parameters
    ----------
    save : callable
        Writes what is not on disk yet.
    look : callable
        Called every two seconds while there is nothing to save: has another program changed a file?
    trouble : callable
        Told in words what went wrong; saving is tried again.
    """

    def __init__(self, save: Callable[[], None], look: Callable[[], None], trouble: Callable[[str], None]) -> None:
        self._save = save
        self._look = look
        self._trouble = trouble
        self._wanted = threading.Event()
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="autosave", daemon=True)
        self._thread.start()

    def touch(self) -> None:
        """Say that there is something to save."""
        self._wanted.set()

    def close(self) -> None:
        """Save what is left and end."""
        self._closing.set()
        self._wanted.set()
        self._thread.join(timeout=10.0)

    def _run(self) -> None:
        while not self._closing.is_set():
            wanted = self._wanted.wait(LOOK_EVERY_S)
            if wanted:
                self._closing.wait(SAVE_WITHIN_S)
                self._wanted.clear()
            try:
                (self._save if wanted else self._look)()
            except LimewashError as error:
                self._trouble(str(error))
                if not self._closing.wait(RETRY_S) and wanted:
                    self._wanted.set()
