"""Effects: pure functions of the house's fields, a moment and a few parameters."""

from limewash.show.effects import growing, openings, outlines, sky, weather, whole_wall
from limewash.show.effects.patch import Draws, Patch
from limewash.show.effects.registry import EFFECTS, Effect, Light, Moment, Param

__all__ = [
    "EFFECTS",
    "Draws",
    "Effect",
    "Light",
    "Moment",
    "Param",
    "Patch",
    "growing",
    "openings",
    "outlines",
    "sky",
    "weather",
    "whole_wall",
]
