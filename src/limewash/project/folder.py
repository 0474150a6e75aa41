"""The project folder: one house, its files, and where each of them is."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from limewash.errors import InputError, as_typed, did_you_mean
from limewash.files import make_folder, replacing
from limewash.project.history import replace_file
from limewash.project.models import HOUSE_FORMAT, NEWEST, House, Rig
from limewash.project.toml_models import read_model
from limewash.project.update import house_text, updated_house_text

HOUSE_FILE = "house.toml"
FOLDERS = ("scans", "map", "shows", "night")


@dataclass(frozen=True)
class Project:
    """An opened project: the folder and what its `house.toml` said when it was read."""

    root: Path
    house: House

    @property
    def rig(self) -> Rig:
        """The rig in use: the first of `house.toml`."""
        return self.house.rig[0]

    @property
    def tracing_file(self) -> Path:
        return self.root / "tracing.svg"

    @property
    def map_folder(self) -> Path:
        return self.root / "map"

    def show_folder(self, name: str) -> Path:
        return self.root / "shows" / checked_name(name, what="show")

    def shows(self) -> list[str]:
        """Names of the shows that have a score, in order."""
        return sorted(path.parent.name for path in (self.root / "shows").glob("*/score.toml"))

    def scans(self) -> list[str]:
        """Names of the finished scans, oldest first (`scan-2` before `scan-10`)."""
        if (self.root / "scans").is_dir() and not os.access(self.root / "scans", os.R_OK):
            raise InputError(f"{self.root / 'scans'} may not be read; change its permissions")
        found = [path.parent.name for path in (self.root / "scans").glob("[!.]*/correspondence.npz")]
        return sorted(found, key=lambda name: [int(t) if t.isdigit() else t for t in re.split(r"(\d+)", name)])

    def check_takes_scans(self) -> None:
        """Raise InputError if no scan could be kept: told before a clip is read, not after."""
        folder = self.root / "scans"
        make_folder(folder)
        trial = folder / ".trial"
        try:
            with replacing(trial):
                pass
        except InputError as error:
            raise InputError(str(error).replace(str(trial), str(folder))) from error
        trial.unlink(missing_ok=True)

    def next_scan(self) -> Path:
        """A folder for a new scan, not made yet; its number is above all others, so that it is the newest."""
        numbers = [re.match(r"scan-(\d+)", path.name) for path in (self.root / "scans").glob("scan-*")]
        return self.root / "scans" / f"scan-{max((int(n[1]) for n in numbers if n), default=0) + 1}"

    def scan_folder(self, name: str | None = None) -> Path:
        """The named scan, else the one that `house.toml` names, else the newest.

        Raises
        ------
        InputError
            If there is no scan yet, or none of that name.
        """
        scans = self.scans()
        if not scans:
            command = f"limewash scan read CLIP --project {as_typed(self.root)}"
            raise InputError(f"{self.root} has no scan yet; film the pattern and run '{command}'")
        chosen = name or self.house.scan
        if chosen == NEWEST:
            chosen = scans[-1]
        if chosen not in scans:
            raise InputError(f"{self.root} has no scan {chosen!r}{did_you_mean(chosen, scans)}")
        return self.root / "scans" / chosen

    def write(self, path: Path, data: bytes) -> None:
        """Write a file of the project; what it replaces goes into the history."""
        make_folder(path.parent)
        replace_file(self.root, path, data)

    def with_house(self, **changes: object) -> Project:
        """Change top-level values of `house.toml`, keeping the person's comments, and re-read it."""
        path = self.root / HOUSE_FILE
        text = updated_house_text(path, changes)
        self.write(path, text.encode("utf-8"))
        return open_project(self.root)


def create_project(root: Path, house: House) -> Project:
    """Make a project folder.

    Raises
    ------
    InputError
        If the folder exists and is not empty, or cannot be written.
    """
    if root.is_file():
        raise InputError(f"{root} is a file; name a folder for the project")
    if root.is_dir() and any(root.iterdir()):
        what = "already is a project" if (root / HOUSE_FILE).is_file() else "is not empty"
        raise InputError(f"{root} {what}; name a new folder (nothing was changed)")
    make_folder(root)
    for name in FOLDERS:
        make_folder(root / name)
    replace_file(root, root / HOUSE_FILE, house_text(house).encode("utf-8"))
    return open_project(root)


def open_project(root: Path) -> Project:
    """Open a project folder.

    Raises
    ------
    InputError
        If it is not a project, or its `house.toml` has a fault: file, key and what is allowed.
    """
    path = root / HOUSE_FILE
    if not path.is_file():
        raise InputError(
            f"{root} is not a Limewash project: it has no {HOUSE_FILE}; make one with 'limewash new {as_typed(root)}'"
        )
    return Project(root, read_model(path, House, newest_format=HOUSE_FORMAT))


def checked_name(name: str, *, what: str) -> str:
    """Refuse names that would leave the project folder or trouble a file system."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,59}", name) or name.endswith((".", " ")):
        raise InputError(
            f"{what} name must be 1 to 60 of the letters a to z, digits, spaces, '-', '_' and '.', beginning with a "
            f"letter or digit (it is also a folder's name), got {name!r}"
        )
    return name
