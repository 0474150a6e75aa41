"""A project of an invented house, ready at once: scanned exactly and traced, to try the studio on."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import numpy as np

from limewash.demo.job import project_house
from limewash.errors import InputError
from limewash.facade.svg import tracing_svg
from limewash.media.images import write_image
from limewash.progress import Progress, part_of
from limewash.project.folder import create_project, open_project
from limewash.scan.correspondence import save_correspondence
from limewash.scan.findings import Finding, Findings, save_findings
from limewash.world.develop import develop
from limewash.world.virtual import load_world

_FINDINGS = Findings(
    (
        Finding("invented", "note", "This house is invented; the scan is exact, not filmed.", "", {}),
        Finding("chain", "good", "The picture reaches the house pixel by pixel.", "", {}),
    )
)


def make_demo_project(root: Path, house: str, progress: Progress, *, size: tuple[int, int] = (1920, 1080)) -> None:
    """Make the project.

    Parameters
    ----------
    root : Path
        A folder that does not exist yet.
    house : str
        One of `limewash.world.virtual.HOUSES`.
    progress : Progress
    size : (int, int)
        Of the photo and of the projector's picture. [px]

    Raises
    ------
    InputError
        If the folder exists, or there is no such house.
    """
    if root.exists():
        raise InputError(f"{root} exists already; open it, or move it away first")
    root.parent.mkdir(parents=True, exist_ok=True)
    progress(0.0, "building the house")
    world = load_world(house, camera_size=size, projector_size=size)
    with tempfile.TemporaryDirectory(dir=root.parent, prefix=f".{root.name}.") as made:
        folder = Path(made) / root.name
        project = create_project(folder, project_house(world))
        scan = folder / "scans" / "scan-1"
        scan.mkdir(parents=True)
        view = world.view(progress=part_of(progress, 0.05, 0.5))
        progress(0.5, "photographing it by the projector's light")
        width, height = world.projector.size
        write_image(scan / "photo.png", develop(view.picture(np.full((height, width), 255, np.uint8))))
        write_image(scan / "daylight.png", view.daylight(part_of(progress, 0.55, 0.85)))
        progress(0.85, "scanning")
        save_correspondence(scan / "correspondence.npz", world.truth())
        save_findings(scan / "findings.json", _FINDINGS)
        project.write(project.tracing_file, tracing_svg(world.tracing(), "scans/scan-1/photo.png").encode("utf-8"))
        shutil.move(str(folder), root)
    open_project(root)
    progress(1.0, "ready")
