"""Lengths as people write them: metres, or text with a unit such as "12 ft 6 in"."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import BeforeValidator

from limewash.project.ranges import ranged

Units = Literal["metric", "imperial"]

FOOT_M = 0.3048
INCH_M = 0.0254
"""Exact, by the international yard and pound agreement of 1959 (value from memory; checked against pint)."""

_METRIC_M = {"m": 1.0, "cm": 0.01, "mm": 0.001}
_NUMBER = r"\d+(?:\.\d+)?|\.\d+"
_METRIC = re.compile(rf"({_NUMBER})\s*(m|cm|mm)")
_IMPERIAL = re.compile(
    rf"(?:({_NUMBER})\s*(?:ft|feet|foot|['\u2032]))?"
    rf"\s*(?:(?:({_NUMBER})(?:\s+(\d+)\s*/\s*(\d+))?|(\d+)\s*/\s*(\d+))\s*(?:in|inch|inches|[\"\u2033]))?"
)
_ALLOWED = "metres as a number, or text such as '3.5 m', '350 cm', '12 ft 6 in' or '6 1/2 in'"


def parse_length(value: object) -> object:
    """Metres from a number or from text with a unit; what is neither passes on for pydantic to refuse.

    Raises
    ------
    ValueError
        If it is text that names no length: pydantic puts the key before it.
    """
    if not isinstance(value, str):
        return value
    text = value.strip().lower()
    sign = -1.0 if text.startswith("-") else 1.0
    metres = _positive_length_m(text.removeprefix("-").strip())
    if metres is None:
        raise ValueError(f"must be {_ALLOWED} (got {value!r})")
    return sign * metres


def _positive_length_m(text: str) -> float | None:
    if metric := _METRIC.fullmatch(text):
        return float(metric[1]) * _METRIC_M[metric[2]]
    imperial = _IMPERIAL.fullmatch(text)
    if imperial is None or not any(imperial.groups()):
        return None
    feet, inches, over, under, over_alone, under_alone = imperial.groups()
    if "0" in (under, under_alone):
        return None
    total = float(inches or 0.0)
    for top, bottom in ((over, under), (over_alone, under_alone)):
        if top:
            total += int(top) / int(bottom)
    return float(feet or 0.0) * FOOT_M + total * INCH_M


Length = Annotated[float, BeforeValidator(parse_length), ranged(-1000.0, 1000.0, "m")]
"""A place along an axis: may be negative. [m]"""
PositiveLength = Annotated[float, BeforeValidator(parse_length), ranged(0.0, 1000.0, "m", above=True)]
"""A size. [m]"""
Height = Annotated[float, BeforeValidator(parse_length), ranged(0.0, 1000.0, "m")]
"""A size that may be nothing. [m]"""


def show_length(length_m: float, units: Units, *, fine: bool = False) -> str:
    """A length with its unit, for people: `3.42 m` or `11 ft 2 5/8 in`.

    Parameters
    ----------
    length_m : float
        Any length. [m]
    units : "metric" or "imperial"
        Which the person reads.
    fine : bool
        Down to the millimetre or the sixteenth of an inch; else to the centimetre or half inch.
    """
    if not math.isfinite(length_m):
        return "-"
    if units == "metric":
        return f"{length_m:.3f} m" if fine else f"{length_m:.2f} m"
    return _feet_and_inches(length_m, 16 if fine else 2)


def show_small(length_m: float, units: Units) -> str:
    """A length of a hand's breadth or less: `23 mm` or `7/8 in`."""
    if not math.isfinite(length_m):
        return "-"
    if units == "metric":
        return f"{length_m * 1000:.1f} mm" if abs(length_m) < 0.0095 else f"{length_m * 1000:.0f} mm"
    if abs(length_m) < INCH_M / 8:
        return f"{length_m / INCH_M:.3f} in"
    return _feet_and_inches(length_m, 16)


def _feet_and_inches(length_m: float, parts: int) -> str:
    sign = "-" if length_m < 0 else ""
    units = round(abs(length_m) / INCH_M * parts)
    feet, rest = divmod(units, 12 * parts)
    whole, part = divmod(rest, parts)
    fraction = f"{Fraction(part, parts)}" if part else ""
    inches = " ".join(text for text in ((str(whole) if whole or not part else ""), fraction) if text)
    return f"{sign}{feet} ft {inches} in" if feet else f"{sign}{inches} in"
