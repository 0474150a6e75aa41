"""`checkpoints.toml`: places of the map that people moved on the house until they sat."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self

import tomlkit
from pydantic import Field, model_validator

from limewash.errors import InputError, did_you_mean
from limewash.facade.settle import Method
from limewash.project.toml_models import TomlModel, read_model, validate

FORMAT = 1
FILE = "checkpoints.toml"

Pixel = Annotated[float, Field(ge=-20_000, le=20_000, allow_inf_nan=False)]
Place = tuple[Pixel, Pixel]
Name = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f]+$")]


class CheckPoint(TomlModel):
    """One place: where the map has it, and which projector pixel really meets it."""

    name: Name
    part: Annotated[str, Field(max_length=60, pattern=r"^[^\x00-\x1f\x7f]*$")] = ""
    """The flat part of the house that it lies on, such as `porch`; points of one part make one plane."""
    map_px: Place
    house_px: Place


class CheckPoints(TomlModel):
    """The whole file; `scan` is the scan whose map the points belong to."""

    format: Literal[1] = 1
    scan: str
    method: Method = "smooth"
    point: Annotated[tuple[CheckPoint, ...], Field(max_length=200)] = ()

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [point.name for point in self.point]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"check points must have names of their own (two are {name!r})")
        return self

    def named(self, name: str) -> CheckPoint:
        """The point of that name. Raises InputError naming the nearest if there is none."""
        for point in self.point:
            if point.name == name:
                return point
        names = [point.name for point in self.point]
        raise InputError(f"there is no check point {name!r}{did_you_mean(name, names) if names else ''}")

    def with_point(self, name: str, changed: CheckPoint) -> CheckPoints:
        """The same with one point replaced."""
        self.named(name)
        points = tuple(changed if point.name == name else point for point in self.point)
        return self.with_points(points)

    def with_points(self, points: tuple[CheckPoint, ...]) -> CheckPoints:
        """The same with other points. Raises InputError if two have one name."""
        plain = {**self.model_dump(), "point": [point.model_dump() for point in points]}
        return validate(plain, CheckPoints, where=FILE)


def read_checkpoints(path: Path) -> CheckPoints:
    """Read the file. Raises InputError if it is missing or has a fault."""
    return read_model(path, CheckPoints, newest_format=FORMAT)


def checkpoints_text(points: CheckPoints) -> str:
    """The file's text."""
    document = tomlkit.document()
    document.add(tomlkit.comment("Places of the map, moved on the house until they sat. See docs/studio.md."))
    plain = points.model_dump(mode="json", exclude={"point"})
    for key, value in plain.items():
        document.add(key, tomlkit.item(value))
    tables = tomlkit.aot()
    for point in points.point:
        table = tomlkit.table()
        for key, value in point.model_dump(mode="json").items():
            table.add(key, tomlkit.item(value))
        tables.append(table)
    document.add("point", tables)
    return tomlkit.dumps(document)
