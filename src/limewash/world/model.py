"""A virtual house as data: what a file in `houses/` may say.

World axes as everywhere: the wall plane is z = 0, x to the right, y up, z out to the street; metres.
"""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from limewash.errors import InputError, did_you_mean

HOUSES = ("painted", "brick")
"""Names of the houses that come with Limewash."""

EVERY_HOUSE_HAS = ("glass", "room", "trim", "stone", "metal", "dark", "clay")
"""Materials that parts use without being told."""

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
Span = tuple[float, float]
Place = tuple[float, float, float]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]*$")]
Colour = Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")]


class Data(BaseModel):
    """Unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Material(Data):
    """What a surface looks like; `limewash.world.textures.surface` says what each kind is."""

    kind: Literal["loose", "courses", "leaf", "glass", "room"] = "loose"
    colour: Colour
    second: Colour | None = None
    """Another colour, mixed in unit by unit or in patches."""
    joint: Colour | None = None
    unit_m: tuple[Positive, Positive] = (1.0, 1.0)
    """Size of a unit, or of a patch of the second colour."""
    joint_m: tuple[NotNegative, NotNegative] = (0.0, 0.0)
    """Width of the joints between units, upright and level ones."""
    bond: NotNegative = 0.0
    """How far every other course is shifted. [units]"""
    wander: NotNegative = 0.0
    """How far courses are shifted at random. [units]"""
    lean: NotNegative = 0.0
    """How far a unit leans back, as a slope. [-]"""
    shade: Share = 0.0
    """How dark the shadow at a unit's upper edge is. [-]"""
    tints: NotNegative = 0.0
    """How much units differ from one another, as a share of their reflectance. [-]"""
    grain: NotNegative = 0.0
    """How much the surface varies within a unit. [-]"""
    grain_m: tuple[Positive, Positive] = (0.05, 0.05)
    relief: NotNegative = 0.0
    """Slope of the grain's relief. [-]"""


class Opening(Data):
    """A hole in a wall, given by its middle, its sill and its clear size, all in world metres."""

    id: Name
    title: str
    middle_x_m: float
    sill_y_m: float
    width_m: Positive
    height_m: Positive
    recess_m: NotNegative = 0.09
    """How far the frame lies behind the wall."""
    casing_m: NotNegative = 0.0
    """Width of the boards around the opening; 0 has none."""
    casing: Name = "trim"
    frame: Name = "trim"
    head: Literal["plain", "crown", "soldier"] = "plain"
    lintel_traced: bool = False
    """Whether the stone over it is among the features (for `head` = soldier)."""


class Window(Opening):
    """A window; a half-round one has `height_m` = half of `width_m`."""

    shape: Literal["rectangle", "half-round"] = "rectangle"
    panes: tuple[int, int] = (2, 2)
    """Panes across and up in each sash; for a half-round window: sectors and rings."""
    sashes: Literal["one", "hung", "pair"] = "hung"
    lit: bool = False
    """Whether a lamp is on behind it at dusk."""
    shutters_m: NotNegative = 0.0
    shutter: Name = "door"

    @model_validator(mode="after")
    def _half_round_is_half(self) -> Self:
        if self.shape == "half-round" and abs(self.height_m - self.width_m / 2) > 1e-9:
            raise ValueError(f"a half-round window needs height_m = width_m / 2, got {self.height_m:g}")
        return self


class Door(Opening):
    """A door with panels below and panes of glass above; none of either where a count is 0."""

    leaf: Name = "door"
    panels: tuple[int, int] = (2, 2)
    panes: tuple[int, int] = (2, 1)


class GarageDoor(Opening):
    """A sectional door: rows of panels, the top row glazed where `glazed`."""

    leaf: Name = "trim"
    panels: tuple[int, int] = (4, 4)
    glazed: bool = True


class Roof(Data):
    """A pitched roof: ridge towards the street (`front`) or along it (`side`)."""

    gable: Literal["front", "side"]
    pitch_deg: Annotated[float, Field(gt=5.0, lt=75.0)]
    overhang_m: NotNegative = 0.35
    rake_m: NotNegative = 0.3
    covering: Name = "shingle"
    fascia: Name = "trim"
    fascia_m: Positive = 0.2


class Block(Data):
    """A part of the house: four walls under one roof."""

    id: Name
    title: str
    x_m: Span
    front_z_m: float
    depth_m: Positive
    base_y_m: float = 0.0
    eaves_y_m: float
    wall: Name
    plinth_m: NotNegative = 0.0
    plinth: Name = "plinth"
    corner_m: NotNegative = 0.0
    roof: Roof
    windows: tuple[Window, ...] = ()
    doors: tuple[Door, ...] = ()
    garages: tuple[GarageDoor, ...] = ()
    traced_x_m: Span | None = None
    """The part of its wall that one would trace, where something before it hides the rest."""
    traced_from_y_m: float | None = None

    @property
    def openings(self) -> tuple[Opening, ...]:
        return (*self.windows, *self.doors, *self.garages)


class Porch(Data):
    """A roofed platform in front of a wall, with posts and steps."""

    id: Name
    title: str
    x_m: Span
    wall_z_m: float
    depth_m: Positive
    floor_y_m: Positive
    beam_y_m: Positive
    beam_m: Positive = 0.24
    posts_x_m: tuple[float, ...]
    post_m: Positive = 0.16
    roof: Roof
    steps: Annotated[int, Field(ge=0, le=8)] = 3
    steps_x_m: Span
    tread_m: Positive = 0.32
    floor: Name = "deck"
    post: Name = "trim"
    rails: bool = False


class Chimney(Data):
    x_m: Span
    z_m: Span
    y_m: Span
    wall: Name = "chimney"


class Strip(Data):
    """A flat piece of ground, lawn, drive, path or street."""

    x_m: Span
    z_m: Span
    y_m: float = 0.0
    surface: Name


class Bush(Data):
    middle_m: Place
    radii_m: tuple[Positive, Positive, Positive]
    leaf: Name = "leaf"
    seed: int = 0


class Tree(Data):
    foot_m: Place
    height_m: Positive
    crown_m: Positive
    shape: Literal["round", "cone"] = "round"
    leaf: Name = "tree-leaf"
    bark: Name = "bark"
    seed: int = 0


class Lamp(Data):
    """A lamp that burns at night; its light falls off with the square of the distance."""

    place_m: Place
    lumens: Positive
    colour_k: Annotated[float, Field(ge=1500, le=10000)] = 2700.0
    down_only: bool = True
    pole: bool = True
    dusk_only: bool = False
    """True for the house's own lamps, which are off while a show runs."""


class ProjectorStand(Data):
    lumens: Positive
    contrast: Positive = 1500.0
    throw_ratio: Positive
    place_m: Place
    yaw_deg: float = 0.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    lens_shift: tuple[float, float] = (0.0, 0.0)


class CameraStand(Data):
    focal_per_width: Positive
    place_m: Place
    yaw_deg: float = 0.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)


class Sky(Data):
    """Light that comes from no lamp of ours."""

    night_lx: NotNegative = 0.4
    sun_azimuth_deg: float = 35.0
    """0 is straight behind the viewer in the street, positive from the viewer's right."""
    sun_height_deg: float = 38.0


class House(Data):
    """A house, its garden, and the rig in front of it."""

    name: Name
    title: str
    materials: dict[Name, Material]
    blocks: Annotated[tuple[Block, ...], Field(min_length=1)]
    porches: tuple[Porch, ...] = ()
    chimneys: tuple[Chimney, ...] = ()
    ground: tuple[Strip, ...] = ()
    bushes: tuple[Bush, ...] = ()
    trees: tuple[Tree, ...] = ()
    lamps: tuple[Lamp, ...] = ()
    sky: Sky = Sky()
    projector: ProjectorStand
    camera: CameraStand

    @model_validator(mode="after")
    def _materials_are_known(self) -> Self:
        for where, name in self._materials_used():
            if name not in self.materials:
                raise ValueError(f"{where} uses the unknown material {name!r}{did_you_mean(name, self.materials)}")
        return self

    @model_validator(mode="after")
    def _ids_differ(self) -> Self:
        seen: set[str] = set()
        ids = [block.id for block in self.blocks] + [porch.id for porch in self.porches]
        ids += [opening.id for block in self.blocks for opening in block.openings]
        for name in ids:
            if name in seen:
                raise ValueError(f"two parts have the id {name!r}")
            seen.add(name)
        return self

    def _materials_used(self) -> list[tuple[str, str]]:
        fields = ("wall", "plinth", "covering", "fascia", "casing", "frame", "leaf", "shutter",
                  "floor", "post", "bark", "surface")  # fmt: skip
        parts: list[tuple[str, Data]] = []
        for block in self.blocks:
            parts += [(block.id, block), (block.id, block.roof)]
            parts += [(opening.id, opening) for opening in block.openings]
        for porch in self.porches:
            parts += [(porch.id, porch), (porch.id, porch.roof)]
        for group in ("chimneys", "ground", "bushes", "trees"):
            parts += [(f"{group}[{i}]", part) for i, part in enumerate(getattr(self, group))]
        return [("every house", name) for name in EVERY_HOUSE_HAS] + [
            (where, getattr(part, field))
            for where, part in parts
            for field in fields
            if getattr(part, field, None) is not None
        ]


def read_house(source: str | Path) -> House:
    """Read a house by its name in `HOUSES`, or from a TOML file.

    Raises
    ------
    InputError
        If there is no such house or file, or it says something that is not allowed (names the key).
    """
    if isinstance(source, Path):
        if not source.is_file():
            raise InputError(f"{source} does not exist; give a house file or one of {', '.join(HOUSES)}")
        text = source.read_text(encoding="utf-8")
    else:
        if source not in HOUSES:
            raise InputError(f"unknown house {source!r}{did_you_mean(source, HOUSES)}")
        text = resources.files("limewash.world").joinpath("houses", f"{source}.toml").read_text("utf-8")
    try:
        return House.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{source} is not a TOML file: {error}") from error
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(step) for step in first["loc"]) or "house"
        raise InputError(f"{source}: {where}: {first['msg']}") from error
