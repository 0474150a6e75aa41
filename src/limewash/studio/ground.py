"""What the tracing is drawn on: the scan in use, its photo, and the way to projector pixels."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.images import read_image, write_image
from limewash.project.folder import Project
from limewash.scan.correspondence import Correspondence, load_correspondence, save_correspondence
from limewash.studio.carry import Carrier

Points = NDArray[np.float64]

BY_EYE = "by-eye"
_CARRYING = threading.Lock()


@dataclass
class Ground:
    """A scan opened for tracing; what is heavy is read when it is first needed."""

    name: str
    folder: Path

    @cached_property
    def correspondence(self) -> Correspondence:
        return load_correspondence(self.folder / "correspondence.npz")

    @cached_property
    def photo_size(self) -> tuple[int, int]:
        """Width and height of the photo. [px]"""
        height, width = read_image(self.folder / "photo.png").shape[:2]
        return width, height

    @property
    def projector_size(self) -> tuple[int, int]:
        return self.correspondence.projector_size

    @property
    def carrier(self) -> Carrier:
        with _CARRYING:
            return self._carrier

    @cached_property
    def _carrier(self) -> Carrier:
        return Carrier(self.correspondence)

    def photo_of(self, points: Points) -> Points:
        """Photo pixels of projector pixels (N, 2): from the scan, and beyond it as a plane would go on. [px]"""
        found = self.correspondence.sample(points)
        unseen = np.isnan(found).any(axis=1)
        if unseen.any():
            found[unseen] = self.carrier.back(points[unseen])
        return found

    def photos(self) -> dict[str, Path]:
        """The pictures that can be traced on, all of the same size; `photo` is the scan's own."""
        found = {"photo": self.folder / "photo.png", "daylight": self.folder / "daylight.png"}
        return {name: path for name, path in found.items() if path.is_file()}


def open_ground(project: Project) -> Ground | None:
    """The scan in use, or None when the project has none yet."""
    if not project.scans():
        return None
    folder = project.scan_folder()
    return Ground(folder.name, folder)


def make_by_eye(project: Project) -> None:
    """Make a scan without a camera: the photo is the projector's own picture, pixel by pixel.

    What is drawn while looking at the house is then a tracing like any other, and map and show follow from it.

    Raises
    ------
    InputError
        If it is there already.
    """
    folder = project.root / "scans" / BY_EYE
    if folder.exists():
        raise InputError(f"{folder} is there already; choose it as the scan in use")
    folder.mkdir(parents=True)
    width, height = project.rig.projector.size
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    ones = np.ones_like(x)
    write_image(folder / "photo.png", _plain_photo((width, height)))
    save_correspondence(folder / "correspondence.npz", Correspondence(x, y, ones, (width, height), (width, height)))


def _plain_photo(size: tuple[int, int]) -> NDArray[np.uint8]:
    """A dark ground with a faint line every twelfth of the width."""
    width, height = size
    picture = np.full((height, width, 3), 18, dtype=np.uint8)
    step = width / 12
    for n in range(1, 12):
        cv2.line(picture, (round(n * step), 0), (round(n * step), height), (34, 34, 34), 1)
    for n in range(1, int(height / step) + 1):
        cv2.line(picture, (0, round(n * step)), (width, round(n * step)), (34, 34, 34), 1)
    return picture
