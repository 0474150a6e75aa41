"""The packet of a project, and films that come back to it."""

from __future__ import annotations

import shutil
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from limewash.facade.map import HouseMap
from limewash.facade.map_files import load_map
from limewash.facade.packet import PacketContents, write_packet
from limewash.facade.returned import check_returned
from limewash.files import make_folder
from limewash.progress import Progress
from limewash.project.folder import Project
from limewash.project.history import replacing_with_copy
from limewash.scan.correspondence import load_correspondence
from limewash.show.folder import wall_of

USUAL_RATE = Fraction(30)


def packet_rate(project: Project) -> Fraction:
    """Frames per second that the player wants."""
    rate_hz = project.rig.player_rate_hz
    return USUAL_RATE if rate_hz is None else Fraction(rate_hz).limit_denominator(1001)


def packet_of(project: Project, path: Path, progress: Progress) -> None:
    """Write the packet of a project. Raises InputError if it has no map or scan yet."""
    scan = project.scan_folder()
    progress(0.0, "reading map and scan")
    wall = wall_of(project.house, load_correspondence(scan / "correspondence.npz"))
    daylight = scan / "daylight.png"
    contents = PacketContents(
        house=project.house.name,
        house_map=load_map(project.map_folder),
        rate=packet_rate(project),
        photo=scan / "photo.png",
        daylight=daylight if daylight.is_file() else None,
        wall_m=np.stack([wall.x_m, wall.y_m], axis=-1).astype(np.float32),
        measured=project.house.facade is not None and len(project.house.facade.measured) >= 4,
    )
    write_packet(path, contents, progress)


def take_in(project: Project, name: str, film: Path, progress: Progress, *, anyway: bool = False) -> dict[str, Any]:
    """Check a film from outside; put it in place as a show when nothing warns, or when the person wants it anyway.

    Returns
    -------
    result : dict
        `findings` as plain data, and whether it was `taken`.

    Raises
    ------
    InputError
        If it is no film, or the project has no map to check it against.
    """
    house_map = load_map(project.map_folder)
    findings = check_returned(
        film, house_map.size, packet_rate(project), keep_dark=_dark_pixels(house_map), progress=progress
    )
    taken = anyway or not findings.warnings
    if taken:
        target = project.show_folder(name) / "show.mp4"
        make_folder(target.parent)
        with replacing_with_copy(project.root, target) as part:
            shutil.copyfile(film, part)
    return {"findings": findings.to_json()["findings"], "taken": taken, "name": name, "film": film.name}


def _dark_pixels(house_map: HouseMap) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Pixels wholly inside a keep-dark area: at its edge a little light is nobody's fault."""
    return np.asarray(house_map.keep_dark == 255)
