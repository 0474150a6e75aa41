"""A projector as its data sheet describes it."""

from __future__ import annotations

from typing import Annotated, Literal, Self

import numpy as np
from pydantic import model_validator

from limewash.geometry.device import Device
from limewash.project.lengths import Height, Length, PositiveLength
from limewash.project.ranges import ranged
from limewash.project.toml_models import TomlModel

Pixels = Annotated[int, ranged(240, 8192, "px")]
Throw = Annotated[float, ranged(0.1, 20.0)]
Shift = Annotated[float, ranged(-2.0, 2.0)]


class Feet(TomlModel):
    """Where a projector's feet are, seen from its lens."""

    front_to_rear_m: PositiveLength
    apart_m: PositiveLength = 0.25
    lens_ahead_m: Length = 0.03
    """Lens in front of the front feet."""
    lens_above_m: Height = 0.06
    lens_aside_m: Length = 0.0
    """Lens to the right of the middle between the feet, seen from behind."""


class Offset(TomlModel):
    """The fixed rise of the picture, in one of the three ways that data sheets count it."""

    percent: Annotated[float, ranged(-300.0, 300.0, "%")]
    of: Literal["half height", "full height", "edge"]
    """`half height`: picture centre above the lens axis, 100 % is half a picture; `full height`: the same,
    100 % is a whole picture; `edge`: 100 % puts the bottom edge level with the lens, 110 % a tenth above it."""

    @property
    def shift(self) -> float:
        """Picture centre above the lens axis, as a share of the full picture height. [-]"""
        share = self.percent / 100.0
        return {"half height": share / 2.0, "full height": share, "edge": share - 0.5}[self.of]


class Projector(TomlModel):
    """A projector as its data sheet describes it; what is left out is reckoned with a usual value, and said so."""

    name: str | None = None
    size: tuple[Pixels, Pixels] = (1920, 1080)
    throw_ratio: Throw = 1.5
    """At the zoom in use."""
    throw_range: tuple[Throw, Throw] | None = None
    """Smallest and largest throw ratio of the zoom."""
    throw_extra_m: Length | None = None
    """Of a maker's lens formula: distance = throw ratio x width + this."""
    lens_shift: tuple[Shift, Shift] = (0.0, 0.0)
    """In use: right and up, as a share of the full picture."""
    shift_range_x: tuple[Shift, Shift] | None = None
    shift_range_y: tuple[Shift, Shift] | None = None
    offset: Offset | None = None
    light_lm: Annotated[float, ranged(0.0, 200000.0, "lm", above=True)] = 3000.0
    light_measured: Literal["ISO 21118", "ANSI", "centre", "unknown"] | None = None
    light_share: Annotated[float, ranged(0.0, 1.0, above=True)] | None = None
    """What is left of it: quiet mode, age, colour mode."""
    corner_light: Annotated[float, ranged(0.05, 1.0)] | None = None
    """Illuminance in the corner of a square-on picture, as a share of its centre's."""
    contrast: Annotated[float, ranged(1.0, 1e7, ": 1", above=True)] = 1000.0
    weight_kg: Annotated[float, ranged(0.0, 200.0, "kg", above=True)] | None = None
    feet: Feet | None = None
    focus_range_m: tuple[PositiveLength, PositiveLength] | None = None
    f_number: Annotated[float, ranged(0.7, 22.0)] | None = None
    panel_width_m: Annotated[PositiveLength, ranged(0.001, 0.1, "m")] | None = None
    fan_clearance_m: Height | None = None
    power_w: Annotated[float, ranged(1.0, 20000.0, "W")] | None = None

    @model_validator(mode="after")
    def _ranges_run_upwards(self) -> Self:
        allowed = {
            "throw_range": "from 0.1 to 20",
            "shift_range_x": "from -2 to 2",
            "shift_range_y": "from -2 to 2",
            "focus_range_m": "more than 0 and at most 1000 m",
        }
        for key, words in allowed.items():
            span = getattr(self, key)
            if span is not None and span[0] > span[1]:
                got = f"[{span[0]:g}, {span[1]:g}]: reversed?"
                raise ValueError(f"{key} must be [smallest, largest], each {words} (got {got})")
        return self

    @model_validator(mode="after")
    def _settings_are_reached(self) -> Self:
        settings = (
            ("throw_ratio", self.throw_ratio, "throw_range", self.throw_range),
            ("lens_shift[1]", self.lens_shift[0], "shift_range_x", self.shift_range_x),
            ("lens_shift[2]", self.lens_shift[1], "shift_range_y", self.shift_range_y),
        )
        for key, value, range_key, span in settings:
            if span is not None and not span[0] - 1e-9 <= value <= span[1] + 1e-9:
                raise ValueError(f"{key} must be from {span[0]:g} to {span[1]:g}, its {range_key} (got {value:g})")
        return self

    @property
    def picture_shift(self) -> tuple[float, float]:
        """Picture centre right of and above the lens axis, fixed offset and lens shift together. [-]"""
        fixed = self.offset.shift if self.offset is not None else 0.0
        return (self.lens_shift[0], self.lens_shift[1] + fixed)

    @property
    def light_left_lm(self) -> float:
        """Light output in the mode in use. [lm]"""
        return self.light_lm * (1.0 if self.light_share is None else self.light_share)

    def device(
        self,
        lens_m: tuple[float, float, float],
        *,
        yaw_rad: float = 0.0,
        tilt_rad: float = 0.0,
        roll_rad: float = 0.0,
    ) -> Device:
        """The pinhole model of this projector with its lens at `lens_m` [m]; angles as `Device.from_throw`."""
        device = Device.from_throw(
            self.size,
            throw_ratio=self.throw_ratio,
            position_m=lens_m,
            yaw_rad=yaw_rad,
            tilt_rad=tilt_rad,
            roll_rad=roll_rad,
            lens_shift=self.picture_shift,
        )
        # A maker's lens formula counts from the front of the lens; the light seems to come from a point
        # `throw_extra_m` nearer to the wall.
        pupil = np.asarray(lens_m) + (self.throw_extra_m or 0.0) * device.rotation[2]
        return Device(device.size, device.focal_px, device.centre_px, device.rotation, pupil)
