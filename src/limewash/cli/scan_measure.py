"""`limewash scan measure`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from limewash.cli.console import bar, print_json, print_table, say
from limewash.cli.options import HERE, JsonOption, ProjectOption


def measure(
    project: ProjectOption = HERE,
    scan: Annotated[str | None, typer.Option(help="Which scan; the one in use when left out.")] = None,
    phone_mm: Annotated[
        float | None,
        typer.Option(
            help="Focal length of the phone while filming, in mm of 35 mm film, if known.",
            min=8.0,
            max=400.0,
        ),
    ] = None,
    photo: Annotated[
        Path | None,
        typer.Option(
            metavar="IMG.jpg",
            help="A photo that the same phone took with the same lens and zoom: its Exif note tells the focal length. "
            "Without both, what the scan's own photos or clip tell, else about 28 mm.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Measure the scene of a scan in metres: depth of everything, and where projector and phone stood.

    Two places that were measured with a tape (facade.measured in house.toml), such as foot and top of a door, give
    the metres; more of them give a check. Shows then know true sizes on parts that stand forward, too.

    Example:  limewash scan measure --project our-house --photo IMG_0041.HEIC
    """
    from limewash.project.folder import open_project
    from limewash.scan.measure import FILE, PICTURE, describe, measure_scan

    opened = open_project(project)
    with bar("Measure") as report:
        report(0.0, "lenses, places, depth")
        folder, geometry = measure_scan(opened, scan, phone_mm, photo)
    if as_json:
        print_json(
            {
                "scan": folder.name,
                "metric": geometry.metric,
                "projector_m": geometry.projector.position_m.tolist(),
                "camera_m": geometry.camera.position_m.tolist(),
                "throw_ratio": geometry.projector.focal_px[0] / geometry.projector.size[0],
                "throw_sigma_share": geometry.throw_sigma,
                "stretch_share": geometry.stretch,
                "tape_m": geometry.tape_m if geometry.metric else None,
            }
        )
        return
    print_table("The measured scene", ["", ""], [list(row) for row in describe(geometry)])
    if not geometry.metric:
        say("No metres yet: put two or more measured places into house.toml (facade.measured) and measure again.")
    say(f"Saved as {folder / FILE}; {folder / PICTURE} shows it.")
