"""What `house.toml` may say."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator, model_validator

from limewash.geometry.device import Device
from limewash.project.lengths import Length, PositiveLength
from limewash.project.projector import Feet, Offset, Pixels, Projector
from limewash.project.ranges import ranged
from limewash.project.site_models import Part, Site, check_material
from limewash.project.toml_models import TomlModel

__all__ = [
    "HOUSE_FORMAT",
    "NEWEST",
    "Facade",
    "Feet",
    "House",
    "MeasuredPoint",
    "Offset",
    "Place",
    "Projector",
    "Rig",
    "Stand",
]

HOUSE_FORMAT = 1

NEWEST = "newest"
"""Said in place of a scan's name: the one made last."""

Pair = tuple[float, float]


class Place(TomlModel):
    """Where the house is; the night's schedule needs it."""

    latitude_deg: Annotated[float, Field(ge=-90.0, le=90.0)]
    longitude_deg: Annotated[float, Field(ge=-180.0, le=180.0)]
    time_zone: str

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError):
            raise ValueError(f"unknown time zone {name!r}; write it like 'Europe/Berlin'") from None
        return name


class MeasuredPoint(TomlModel):
    """A point of the wall plane that was measured with a tape and found on the photo."""

    what: str
    wall_m: tuple[Length, Length]
    photo_px: Pair


class Facade(TomlModel):
    """The house front: size, at least four measured points to give the wall its metres, and its flat parts.

    Without parts it is one rectangle of `width_m` x `height_m`, of `material` or `reflectance`.
    """

    width_m: PositiveLength
    height_m: PositiveLength
    material: str | None = None
    reflectance: Annotated[float, ranged(0.0, 1.0, above=True)] | None = None
    measured: tuple[MeasuredPoint, ...] = ()
    part: tuple[Part, ...] = ()

    @model_validator(mode="after")
    def _known_material(self) -> Self:
        if self.material is not None or self.reflectance is not None:
            check_material(self.material, self.reflectance)
        names = [part.name for part in self.part]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"part names must differ (two are {name!r})")
        return self


class Stand(TomlModel):
    """Where a projector stands: the lens in wall coordinates, and how it is turned."""

    x_m: Length
    height_m: Length
    distance_m: PositiveLength
    yaw_deg: Annotated[float, ranged(-180.0, 180.0, "degrees")] = 0.0
    tilt_deg: Annotated[float, ranged(-89.0, 89.0, "degrees")] = 0.0
    roll_deg: Annotated[float, ranged(-180.0, 180.0, "degrees")] = 0.0


class Rig(TomlModel):
    """Projector, player and stand that belong together."""

    name: str = "main"
    projector: Projector = Projector()
    player: str = ""
    player_size: tuple[Pixels, Pixels] | None = None
    """What the player sends; the projector's native size when left out."""
    player_rate_hz: Annotated[float, ranged(20.0, 240.0, "Hz")] | None = None
    video_cable_m: PositiveLength | None = None
    stand: Stand | None = None

    def device(self) -> Device | None:
        """The pinhole model of this rig's projector, if its stand is known."""
        if self.stand is None:
            return None
        stand = self.stand
        return self.projector.device(
            (stand.x_m, stand.height_m, stand.distance_m),
            yaw_rad=math.radians(stand.yaw_deg),
            tilt_rad=math.radians(stand.tilt_deg),
            roll_rad=math.radians(stand.roll_deg),
        )


class House(TomlModel):
    """The whole of `house.toml`."""

    format: Literal[1] = 1
    name: Annotated[str, Field(min_length=1)]
    scan: str = NEWEST
    place: Place | None = None
    facade: Facade | None = None
    site: Site | None = None
    rig: Annotated[tuple[Rig, ...], Field(min_length=1)] = (Rig(),)
