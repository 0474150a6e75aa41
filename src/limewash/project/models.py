"""What `house.toml` may say."""

from __future__ import annotations

from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator

from limewash.geometry.device import Device
from limewash.project.toml_models import TomlModel

HOUSE_FORMAT = 1

NEWEST = "newest"
"""Said in place of a scan's name: the one made last."""

Pair = tuple[float, float]
Positive = Annotated[float, Field(gt=0.0)]


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
    wall_m: Pair
    photo_px: Pair


class Facade(TomlModel):
    """The house front: size, and at least four measured points to give the wall its metres."""

    width_m: Positive
    height_m: Positive
    measured: tuple[MeasuredPoint, ...] = ()


class Projector(TomlModel):
    """A projector as its data sheet describes it."""

    size: tuple[Annotated[int, Field(ge=320, le=8192)], Annotated[int, Field(ge=240, le=8192)]] = (1920, 1080)
    throw_ratio: Positive = 1.5
    lens_shift: Pair = (0.0, 0.0)
    light_lm: Positive = 3000.0
    contrast: Positive = 1000.0


class Stand(TomlModel):
    """Where a projector stands: the lens in wall coordinates, and how it is turned."""

    x_m: float
    height_m: float
    distance_m: Positive
    yaw_deg: float = 0.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0


class Rig(TomlModel):
    """Projector, player and stand that belong together."""

    name: str = "main"
    projector: Projector = Projector()
    player: str = ""
    stand: Stand | None = None

    def device(self) -> Device | None:
        """The pinhole model of this rig's projector, if its stand is known."""
        if self.stand is None:
            return None
        import math

        return Device.from_throw(
            self.projector.size,
            throw_ratio=self.projector.throw_ratio,
            position_m=(self.stand.x_m, self.stand.height_m, self.stand.distance_m),
            yaw_rad=math.radians(self.stand.yaw_deg),
            tilt_rad=math.radians(self.stand.tilt_deg),
            roll_rad=math.radians(self.stand.roll_deg),
            lens_shift=self.projector.lens_shift,
        )


class House(TomlModel):
    """The whole of `house.toml`."""

    format: Literal[1] = 1
    name: Annotated[str, Field(min_length=1)]
    scan: str = NEWEST
    place: Place | None = None
    facade: Facade | None = None
    rig: Annotated[tuple[Rig, ...], Field(min_length=1)] = (Rig(),)
