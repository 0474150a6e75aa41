"""What `house.toml` says about the site: the sketch of the front, the ground, the light, the people, the power.

Places are in world axes: x along the wall, height above the ground, distance out of the wall; see
`limewash.geometry.device`.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from limewash.errors import did_you_mean
from limewash.light.materials import REFLECTANCES
from limewash.project.lengths import Height, Length, PositiveLength, Units
from limewash.project.ranges import ranged
from limewash.project.sketch import Sketch, checked_polygon
from limewash.project.toml_models import TomlModel

Share = Annotated[float, ranged(0.0, 1.0)]
Span = tuple[Length, Length]

Street = Literal[
    "none", "P1", "P2", "P3", "P4", "P5", "P6", "C0", "C1", "C2", "C3", "C4", "C5"
]  # fmt: skip

GroundKind = Literal["lawn", "drive", "path", "pavement", "road", "bed", "other"]
_NO_STAND = ("road", "bed")
_PUBLIC = ("road", "pavement")


class Part(Sketch):
    """A flat part of the house front that is to be lit."""

    name: Annotated[str, Field(min_length=1)]
    section: Annotated[str, Field(min_length=1)] = "house"
    """Parts of one section can be lit alone: `garage`, `gable`."""
    material: str | None = None
    reflectance: Annotated[float, ranged(0.0, 1.0, above=True)] | None = None
    openings: tuple[tuple[Length, Length, PositiveLength, PositiveLength], ...] = ()
    """Glass, which gives no light back: left, bottom, width and height of each."""
    sides: bool = True
    """Whether it has sides back to the part that stands furthest back, which cast shadows too."""

    @model_validator(mode="after")
    def _reflectance_is_known(self) -> Self:
        check_material(self.material, self.reflectance)
        if self.openings and self.corners is not None:
            raise ValueError("openings go with rectangle or polygon, not with corners; leave one of the two out")
        return self


def check_material(material: str | None, reflectance: float | None) -> None:
    """Exactly one of the two, and a material from the table."""
    if (material is None) == (reflectance is None):
        raise ValueError(
            "give either material (a name from the table) or reflectance (more than 0 and at most 1), one of the two"
        )
    if material is not None and material not in REFLECTANCES:
        raise ValueError(f"unknown material {material!r}{did_you_mean(material, REFLECTANCES)}")


class Neighbour(Sketch):
    """A window or wall of somebody else that should get no light."""

    name: Annotated[str, Field(min_length=1)]


class Obstacle(TomlModel):
    """A box that casts a shadow and that no stand can be in."""

    name: Annotated[str, Field(min_length=1)]
    kind: Literal["tree", "post", "car", "hedge", "eaves", "other"] = "other"
    across_m: Span
    height_m: tuple[Height, Height]
    distance_m: Span

    @model_validator(mode="after")
    def _spans_run_upwards(self) -> Self:
        for key in ("across_m", "height_m", "distance_m"):
            low, high = getattr(self, key)
            if low >= high:
                raise ValueError(f"{key} must be [low, high] with low < high (got [{low:g}, {high:g}])")
        return self


class Zone(TomlModel):
    """A piece of ground: what it is, whether a projector may stand there, whether anybody may walk there."""

    name: Annotated[str, Field(min_length=1)]
    kind: GroundKind = "other"
    ground_m: Annotated[tuple[tuple[Length, Length], ...], Field(min_length=3)]
    """Corners in plan: x along the wall, distance from it."""
    stand: bool | None = None
    public: bool | None = None

    @model_validator(mode="after")
    def _is_a_polygon(self) -> Self:
        checked_polygon(self.ground_m, key="ground_m")
        return self

    @property
    def stand_allowed(self) -> bool:
        return self.kind not in _NO_STAND if self.stand is None else self.stand

    @property
    def is_public(self) -> bool:
        return self.kind in _PUBLIC if self.public is None else self.public


class Spot(TomlModel):
    """Where people stand and watch."""

    name: Annotated[str, Field(min_length=1)]
    x_m: Length
    distance_m: PositiveLength
    eye_m: PositiveLength = 1.6


class Ambient(TomlModel):
    """The light on the wall that is not the projector's."""

    wall_lx: Annotated[float, ranged(0.0, 1000.0, "lx")] | None = None
    """Measured on the wall at show time, projector off."""
    street: Street | None = None
    """Lighting class of the street, an upper estimate for the wall."""
    moon: Literal["none", "full"] = "none"

    @model_validator(mode="after")
    def _is_given(self) -> Self:
        if (self.wall_lx is None) == (self.street is None):
            raise ValueError(
                "give either wall_lx (0 to 1000, measured on the wall) "
                "or street (P1 to P6, C0 to C5, none), one of the two"
            )
        return self


class Weights(TomlModel):
    """How much each matter counts in the search; only their proportion matters."""

    coverage: Annotated[float, ranged(0.0, 100.0)] = 4.0
    contrast: Annotated[float, ranged(0.0, 100.0)] = 3.0
    sharpness: Annotated[float, ranged(0.0, 100.0)] = 2.0
    waste: Annotated[float, ranged(0.0, 100.0)] = 1.0
    obstruction: Annotated[float, ranged(0.0, 100.0)] = 2.0
    cable: Annotated[float, ranged(0.0, 100.0)] = 0.5

    @model_validator(mode="after")
    def _something_counts(self) -> Self:
        if not any(self.model_dump().values()):
            raise ValueError("at least one weight must be more than 0")
        return self


class Search(TomlModel):
    """What the search tries, and what it must reach."""

    step_m: Annotated[PositiveLength, ranged(0.05, 5.0, "m")] = 0.25
    heights_m: Annotated[tuple[Height, ...], Field(min_length=1)] = (0.3, 1.0, 2.0)
    projectors: tuple[str, ...] = ()
    """Classes to try beside the rigs' own projectors."""
    sections: tuple[str, ...] = ()
    """Sections to try; `whole` is the whole front. All of them when left out."""
    need_coverage: Share = 0.8
    need_contrast: Annotated[float, ranged(1.0, 10000.0, ": 1")] = 15.0
    weights: Weights = Weights()


class Power(TomlModel):
    """Where the current comes from, and what it costs."""

    outlet_x_m: Length
    outlet_distance_m: Length = 0.0
    outlet_height_m: Height = 0.3
    voltage_v: Annotated[float, ranged(90.0, 260.0, "V")] = 230.0
    breaker_a: Annotated[float, ranged(1.0, 125.0, "A")] = 16.0
    other_load_w: Annotated[float, ranged(0.0, 20000.0, "W")] = 0.0
    cord_mm2: Annotated[float, ranged(0.5, 10.0, "mm2")] | None = None
    cord_awg: Annotated[int, ranged(8, 18, "AWG")] | None = None
    cord_m: PositiveLength | None = None
    """Length of the cord that is there; reckoned from the places when left out."""
    rcd: bool | None = None
    """Whether the circuit has a residual current device (GFCI)."""
    price_per_kwh: Annotated[float, ranged(0.0, 100.0)] | None = None
    currency: str = ""
    hours_a_night: Annotated[float, ranged(0.0, 24.0, "h")] = 4.0
    nights: Annotated[int, ranged(1, 366)] = 30

    @model_validator(mode="after")
    def _one_gauge(self) -> Self:
        if self.cord_mm2 is not None and self.cord_awg is not None:
            raise ValueError("give cord_mm2 (0.5 to 10) or cord_awg (8 to 18), not both")
        return self


class Box(TomlModel):
    """The box that keeps the projector dry, and the air around it."""

    wall_m2: Annotated[float, ranged(0.0, 50.0, "m2", above=True)] = 1.2
    conductance_w_m2_k: Annotated[float, ranged(0.1, 50.0, "W/(m2 K)")] = 3.0
    """Heat through its walls: about 3 for thin plywood, 5.5 for sheet metal."""
    air_flow_m3_h: Annotated[float, ranged(0.0, 2000.0, "m3/h")] = 0.0
    rise_k: Annotated[float, ranged(1.0, 40.0, "K")] = 10.0
    """How much warmer than outside it may get inside."""
    limit_c: Annotated[float, ranged(10.0, 70.0, "C")] = 35.0
    """Warmest air that the projector's data sheet allows."""


class Night(TomlModel):
    """The weather of one night, for the condensation check: one value an hour from `from_hour` on."""

    from_hour: Annotated[int, ranged(0, 23)] = 17
    air_c: Annotated[tuple[Annotated[float, ranged(-50.0, 60.0, "C")], ...], Field(min_length=2)]
    humidity_percent: Annotated[tuple[Annotated[float, ranged(1.0, 100.0, "%")], ...], Field(min_length=2)]
    show_from_hour: Annotated[int, ranged(0, 23)] = 18
    show_hours: Annotated[float, ranged(0.0, 24.0, "h")] = 4.0

    @model_validator(mode="after")
    def _as_many(self) -> Self:
        if len(self.air_c) != len(self.humidity_percent):
            raise ValueError(
                f"air_c and humidity_percent must have as many values as each other "
                f"(got {len(self.air_c)} and {len(self.humidity_percent)})"
            )
        return self


class Site(TomlModel):
    """Everything around the house front that decides where a projector can stand."""

    units: Units = "metric"
    ambient: Ambient | None = None
    obstacle: tuple[Obstacle, ...] = ()
    zone: tuple[Zone, ...] = ()
    audience: tuple[Spot, ...] = ()
    neighbour: tuple[Neighbour, ...] = ()
    search: Search = Search()
    power: Power | None = None
    box: Box | None = None
    night: Night | None = None

    @model_validator(mode="after")
    def _ambient_is_there(self) -> Self:
        if self.ambient is None:
            raise ValueError(
                "site.ambient is missing: add wall_lx (0 to 1000, measured on the wall with the projector off) "
                "or street (P1 to P6, C0 to C5, none)"
            )
        return self
