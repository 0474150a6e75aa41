"""Effects: pure functions of the house's fields, a moment and a few parameters."""

from limewash.show.effects import growing, openings, outlines, sky, weather, whole_wall
from limewash.show.effects.patch import Draws, Patch
from limewash.show.effects.registry import (
    EFFECTS,
    AnyLight,
    CurveLight,
    Effect,
    Light,
    Moment,
    Param,
    SheetLight,
)

__all__ = [
    "EFFECTS",
    "AnyLight",
    "CurveLight",
    "Draws",
    "Effect",
    "Light",
    "Moment",
    "Param",
    "Patch",
    "SheetLight",
    "growing",
    "openings",
    "outlines",
    "sky",
    "weather",
    "whole_wall",
]
