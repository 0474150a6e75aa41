"""A project with a scan and a map, without a projector: what `trace` and `show` work on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from limewash.facade.map import HouseMap, MapPath, Mask, export_map
from limewash.facade.tracing import Kind
from limewash.media.images import write_image
from limewash.project.folder import Project, create_project
from limewash.project.models import House
from limewash.scan.correspondence import Correspondence, save_correspondence

PROJECTOR_SIZE = (240, 240)


@pytest.fixture
def scanned(tmp_path: Path) -> Callable[..., Project]:
    """Make a project whose photo has the size (width, height) and whose map has one window."""

    def make(photo_size: tuple[int, int] = (640, 480), *, folder: str = "house") -> Project:
        project = create_project(tmp_path / folder, House(name="Test house"))
        scan = project.next_scan()
        scan.mkdir()
        write_image(scan / "photo.png", np.full((photo_size[1], photo_size[0], 3), 120, dtype=np.uint8))
        save_correspondence(scan / "correspondence.npz", straight_on(photo_size))
        export_map(project.map_folder, one_window())
        return project

    return make


def straight_on(photo_size: tuple[int, int]) -> Correspondence:
    """The projector's picture fills the photo."""
    y, x = np.mgrid[: PROJECTOR_SIZE[1], : PROJECTOR_SIZE[0]].astype(np.float32)
    across, down = ((photo_size[axis] - 1) / (PROJECTOR_SIZE[axis] - 1) for axis in (0, 1))
    return Correspondence(x * across, y * down, np.ones_like(x), photo_size, PROJECTOR_SIZE)


def one_window() -> HouseMap:
    left, top, width, height = 60, 80, 100, 60
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)]) + np.array([left - 0.5, top - 0.5])
    areas = np.zeros(PROJECTOR_SIZE[::-1], np.int32)
    areas[top : top + height, left : left + width] = 1
    line = MapPath("window-1", Kind.WINDOW, "", closed=True, points=corners, label=1)
    mask = Mask(left, top, np.full((height, width), 255, np.uint8))
    return HouseMap(PROJECTOR_SIZE, (line,), areas, {"window-1": mask})
