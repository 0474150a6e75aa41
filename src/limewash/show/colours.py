"""Colours as a person writes them, and rows of colours in linear light."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError, did_you_mean
from limewash.light.colour import decode_srgb

NAMES = {
    "white": "#ffffff",
    "warm white": "#ffe3c0",
    "cool white": "#dbe8ff",
    "candle": "#ffd08a",
    "amber": "#ffa63d",
    "gold": "#ffc443",
    "ember": "#ff5a1f",
    "red": "#ff2a1f",
    "berry": "#d81e4a",
    "rose": "#ff6f91",
    "blush": "#ffb3b8",
    "violet": "#8a4fff",
    "deep blue": "#1c2fd6",
    "blue": "#2a62ff",
    "sky": "#5ab8ff",
    "ice": "#b5e6ff",
    "mint": "#7dffc0",
    "leaf": "#7fd13b",
    "pine": "#1fa35a",
    "green": "#2fd148",
    "black": "#000000",
}
"""Plain names with their sRGB codes."""

STEPS = 256
"""Entries of a row of colours."""


def linear_colour(text: str) -> NDArray[np.float64]:
    """Linear BT.709 red, green, blue (0 to 1) of "#rrggbb", "#rgb" or a name.

    Hex codes are sRGB, as colour pickers give them; sRGB has BT.709's primaries.

    Raises
    ------
    InputError
        If it is neither a code nor a known name.
    """
    plain = " ".join(text.strip().lower().replace("-", " ").replace("_", " ").split())
    code = NAMES.get(plain, plain).removeprefix("#")
    if re.fullmatch(r"[0-9a-f]{3}", code):
        code = "".join(2 * digit for digit in code)
    if not re.fullmatch(r"[0-9a-f]{6}", code):
        tail = did_you_mean(plain, NAMES)
        raise InputError(f"colour must be a code such as '#ffc443' or a name, got {text!r}{tail}")
    return decode_srgb(np.array([int(code[k : k + 2], 16) for k in (0, 2, 4)]) / 255.0)


def colour_row(colours: Sequence[str]) -> NDArray[np.float32]:
    """Even steps through the colours in linear light, float32 of shape (256, 3)."""
    stops = np.array([linear_colour(text) for text in colours])
    at = np.linspace(0.0, len(stops) - 1.0, STEPS)
    row = np.stack([np.interp(at, np.arange(len(stops)), stops[:, k]) for k in range(3)], axis=-1)
    return row.astype(np.float32)
