"""`limewash new`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from limewash.cli.console import say
from limewash.cli.options import parse_size
from limewash.errors import as_typed
from limewash.project.folder import create_project
from limewash.project.models import House
from limewash.project.toml_models import validate


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder to make.")],
    name: Annotated[str, typer.Option(help="What you call the house; the folder's name when left out.")] = "",
    size: Annotated[str, typer.Option(help="Native pixels of the projector.")] = "1920x1080",
) -> None:
    """Make an empty project for one house.

    Example:  limewash new our-house --size 1280x800
    """
    given_size = parse_size(size)
    given = {"name": name or folder.resolve().name, "rig": [{"projector": {"size": given_size}}]}
    house = validate(given, House, where="the new project")
    project = create_project(folder, house)
    say(
        f"Made {project.root}. Next:\n"
        f"  1. limewash scan pattern pattern.mp4 --size {given_size[0]}x{given_size[1]}\n"
        "     Play it on the house with the projector and player of the show, and film it with a phone on a tripod.\n"
        f"  2. limewash scan read CLIP.mp4 --project {as_typed(folder)}\n"
        "Keep cords off wet ground and paths, and nobody in front of the lens while you set up."
    )
