"""What the person told of the wall while drawing: a rectangle's directions, one known length. Kept beside the photo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import pydantic
from pydantic import Field

from limewash.errors import InputError
from limewash.files import write_text
from limewash.studio.wire import Coordinate, Point, Wire

FILE = "wall.json"

Vanishing = tuple[
    Annotated[float, Field(allow_inf_nan=False)],
    Annotated[float, Field(allow_inf_nan=False)],
    Annotated[float, Field(allow_inf_nan=False)],
]
"""Where parallel lines of the wall meet in the photo, (x, y, w): at infinity when w is 0. [px]"""


class KnownLength(Wire):
    """Two places of the photo and how far they are apart on the wall."""

    from_px: Point
    to_px: Point
    length_m: Annotated[Coordinate, Field(gt=0.0)]


class ToldWall(Wire):
    """What was told last; None for what never was."""

    level: Vanishing | None = None
    plumb: Vanishing | None = None
    length: KnownLength | None = None


def read_told(folder: Path) -> ToldWall:
    """What was told of a scan's wall. Raises InputError if the file has a fault."""
    path = folder / FILE
    if not path.is_file():
        return ToldWall()
    try:
        return ToldWall.model_validate_json(path.read_bytes())
    except pydantic.ValidationError as error:
        raise InputError(f"{path}: {error.errors()[0]['msg']}; take it away to begin anew") from None


def write_told(folder: Path, told: ToldWall) -> None:
    """Keep it. Raises InputError if it cannot be written."""
    write_text(folder / FILE, told.model_dump_json(indent=1, exclude_none=True) + "\n")
