"""Options that several commands share."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from limewash.errors import InputError

ProjectOption = Annotated[
    Path,
    typer.Option("--project", "-p", metavar="DIR", help="The project folder; the present one when left out."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the figures as JSON.")]
HERE = Path()


def parse_size(text: str) -> tuple[int, int]:
    """Read `1920x1080`. Raises InputError with an example."""
    match = re.fullmatch(r"\s*(\d{2,5})\s*[xX*]\s*(\d{2,5})\s*", text)
    if match is None:
        raise InputError(f"--size must be width x height in pixels, such as 1920x1080, got {text!r}")
    return int(match[1]), int(match[2])
