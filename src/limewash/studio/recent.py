"""Which projects were opened lately, on this computer."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path

from limewash.errors import InputError
from limewash.files import make_folder, write_text

MOST = 12


@dataclass(frozen=True)
class RecentProject:
    """A project that was opened: its folder and what the house was called then."""

    folder: str
    name: str


class Recent:
    """The list, newest first, in the person's settings folder; a damaged or missing file is an empty list."""

    def __init__(self, file: Path | None = None) -> None:
        self._file = file or settings_folder() / "recent.json"

    def projects(self) -> list[RecentProject]:
        """Those that still exist."""
        return [item for item in self._read() if (Path(item.folder) / "house.toml").is_file()]

    def add(self, folder: Path, name: str) -> None:
        """Put a project first. That it cannot be noted is no reason to stop anybody's work."""
        first = RecentProject(str(folder), name)
        items = [first, *(item for item in self._read() if item.folder != first.folder)][:MOST]
        try:
            make_folder(self._file.parent)
            write_text(self._file, json.dumps([item.__dict__ for item in items], indent=2))
        except InputError:
            return

    def _read(self) -> list[RecentProject]:
        try:
            items = json.loads(self._file.read_text(encoding="utf-8"))
            return [RecentProject(str(item["folder"]), str(item["name"])) for item in items]
        except (OSError, ValueError, TypeError, KeyError):
            return []


def settings_folder() -> Path:
    """Where this system keeps a program's settings; `LIMEWASH_SETTINGS` names another place."""
    named = os.environ.get("LIMEWASH_SETTINGS")
    if named:
        return Path(named)
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA", Path.home() / "AppData" / "Roaming")) / "Limewash"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "Limewash"
    return Path(os.environ.get("XDG_CONFIG_HOME", Path.home() / ".config")) / "limewash"
