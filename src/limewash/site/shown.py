"""Quantities in the person's units, with the unit behind them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from limewash.light.photometry import FOOT_CANDLE_LX, FOOT_LAMBERT_CD_M2
from limewash.project.lengths import FOOT_M, Units

_CFM_M3_H = FOOT_M**3 * 60.0
"""One cubic foot a minute. [m3 h⁻¹]"""

_POUND_KG = 0.45359237
"""Exact, by the agreement of 1959 (value from memory; checked against pint)."""


def show_area(area_m2: float, units: Units) -> str:
    """`3.45 m2` or `37 ft2`."""
    value, unit = (area_m2 / FOOT_M**2, "ft2") if units == "imperial" else (area_m2, "m2")
    return f"{_told(value)} {unit}"


def show_light(light_lx: float, units: Units) -> str:
    """Illuminance: `31.1 lx` or `2.89 fc`."""
    value, unit = (light_lx / FOOT_CANDLE_LX, "fc") if units == "imperial" else (light_lx, "lx")
    return f"{_told(value)} {unit}"


def show_light_range(light_lx: ArrayLike, units: Units) -> str:
    """The middle of many, and from where to where they reach: `30.8 lx (8.0 to 40.3)`."""
    low, middle, high = (float(q) for q in np.quantile(np.asarray(light_lx), (0.0, 0.5, 1.0)))
    ends = [show_light(value, units).split()[0] for value in (low, high)]
    return f"{show_light(middle, units)} ({ends[0]} to {ends[1]})"


def show_luminance(luminance_cd_m2: float, units: Units) -> str:
    """`7.5 cd/m2` or `2.2 fL`."""
    if units == "imperial":
        return f"{_told(luminance_cd_m2 / FOOT_LAMBERT_CD_M2)} fL"
    return f"{_told(luminance_cd_m2)} cd/m2"


def show_air(flow_m3_h: float, units: Units) -> str:
    """Air through a box, up to the next five: `90 m3/h` or `55 cfm`."""
    value, unit = (flow_m3_h / _CFM_M3_H, "cfm") if units == "imperial" else (flow_m3_h, "m3/h")
    return f"{5 * np.ceil(value / 5 - 1e-9):.0f} {unit}"


def show_warmth(temperature_c: float, units: Units) -> str:
    """A temperature: `20 \N{DEGREE SIGN}C` or `68 \N{DEGREE SIGN}F`."""
    if units == "imperial":
        return f"{32.0 + 1.8 * temperature_c:.0f} \N{DEGREE SIGN}F"
    return f"{temperature_c:.0f} \N{DEGREE SIGN}C"


def show_weight(weight_kg: float, units: Units) -> str:
    """`3.2 kg` or `7.1 lb`."""
    return f"{weight_kg / _POUND_KG:.1f} lb" if units == "imperial" else f"{weight_kg:.1f} kg"


def show_share(share: float) -> str:
    """A share in per cent, small ones to a tenth."""
    return f"{share:.0%}" if share >= 0.095 or share == 0.0 else f"{share:.1%}"


def _told(value: float) -> str:
    """Three figures, and never more than two behind the point."""
    digits = 0 if abs(value) >= 99.95 else (1 if abs(value) >= 9.995 else 2)
    return f"{value:.{digits}f}"
