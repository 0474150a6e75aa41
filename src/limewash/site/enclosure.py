"""Heat in a box, and dew on a cold projector."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError
from limewash.project.lengths import Units
from limewash.project.site_models import Box, Night
from limewash.site.shown import show_air, show_warmth

Array = NDArray[np.float64]

AIR_J_KG_K = 1005.0
_GAS_J_KG_K = 287.05
_SEA_LEVEL_PA = 101325.0

_MAGNUS_A, _MAGNUS_B = 17.62, 243.12
"""Over water, WMO/Sonntag coefficients [1]_. [-], [C]

.. [1] ing-moehn.de/die-magnus-formel
"""

SKY_COOLING_K = 2.0
"""How far a lid under a clear sky may cool below the air; a cautious guess, from memory. [K]"""

_LAG_H = 1.0
"""How fast a switched-off projector follows the air; a guess for a few kilograms in a box. [h]"""


def air_density_kg_m3(air_c: float, *, pressure_pa: float = _SEA_LEVEL_PA) -> float:
    """Of dry air. [kg m⁻³]"""
    return pressure_pa / (_GAS_J_KG_K * (air_c + 273.15))


def air_flow_m3_h(heat_w: float, rise_k: float, *, density_kg_m3: float = 1.2) -> float:
    """Air that carries heat away at a rise of temperature: P / (rho cp dT). [m³ h⁻¹]"""
    if rise_k <= 0.0:
        raise InputError(f"rise_k must be > 0, got {rise_k!r}")
    return 3600.0 * heat_w / (density_kg_m3 * AIR_J_KG_K * rise_k)


def inside_c(heat_w: float, air_c: float, *, flow_m3_h: float, wall_w_k: float) -> float:
    """Steady temperature in a box whose heat leaves with the air and through its walls. [C]"""
    by_air = air_density_kg_m3(air_c) * AIR_J_KG_K * flow_m3_h / 3600.0
    carried = by_air + wall_w_k
    if carried <= 0.0:
        raise InputError("a box with neither air flow nor walls that let heat through has no steady temperature")
    return air_c + heat_w / carried


def saturation_hpa(air_c: ArrayLike) -> Array:
    """Vapour pressure over water, Magnus formula. [hPa]"""
    t = np.asarray(air_c, dtype=np.float64)
    pressure: Array = 6.112 * np.exp(_MAGNUS_A * t / (_MAGNUS_B + t))
    return pressure


def dew_point_c(air_c: ArrayLike, humidity_percent: ArrayLike) -> Array:
    """Dew point over water, below freezing too (where frost forms a little earlier). [C]"""
    t = np.asarray(air_c, dtype=np.float64)
    gamma = _MAGNUS_A * t / (_MAGNUS_B + t) + np.log(np.asarray(humidity_percent, dtype=np.float64) / 100.0)
    dew: Array = _MAGNUS_B * gamma / (_MAGNUS_A - gamma)
    return dew


@dataclass(frozen=True)
class BoxPlan:
    """A box around the projector.

    Attributes
    ----------
    needed_m3_h : float
        Air flow that keeps it within the rise, walls not counted. [m3/h]
    closed_c, vented_c : float
        Inside with all openings shut, and with the box's own air flow. [C]
    notes : tuple of str
        What to look at.
    """

    needed_m3_h: float
    closed_c: float
    vented_c: float
    notes: tuple[str, ...]


def plan_box(box: Box, *, heat_w: float, air_c: float, units: Units = "metric") -> BoxPlan:
    """Air flow and temperature in a box with `heat_w` in it on an evening of `air_c`."""
    walls = box.wall_m2 * box.conductance_w_m2_k
    needed = air_flow_m3_h(heat_w, box.rise_k, density_kg_m3=air_density_kg_m3(air_c))
    closed = inside_c(heat_w, air_c, flow_m3_h=0.0, wall_w_k=walls)
    vented = inside_c(heat_w, air_c, flow_m3_h=box.air_flow_m3_h, wall_w_k=walls)
    notes = []
    if vented > box.limit_c:
        notes.append(
            f"Inside it would get {show_warmth(vented, units)}; {show_warmth(box.limit_c, units)} is allowed; "
            f"let about {show_air(needed, units)} through, intake low, outlet high."
        )
    if closed > box.limit_c:
        notes.append(f"Never run it with the openings shut: it would reach {show_warmth(closed, units)}.")
    return BoxPlan(needed, closed, vented, tuple(notes))


@dataclass(frozen=True)
class DewHour:
    """One hour of a night: is the projector's skin as cold as the dew point?"""

    hour: int
    air_c: float
    dew_c: float
    skin_c: float
    wet: bool


def dew_through_the_night(night: Night, *, warm_k: float = 8.0) -> tuple[DewHour, ...]:
    """Condensation hour by hour.

    While the show runs the projector is `warm_k` above the air; afterwards it follows the air with a lag of
    an hour, down to `SKY_COOLING_K` below it under a clear sky. Dew forms where the skin is at or below the
    dew point.
    """
    hours = []
    skin = night.air_c[0]
    for number, (air, humidity) in enumerate(zip(night.air_c, night.humidity_percent, strict=True)):
        hour = (night.from_hour + number) % 24
        runs = (hour - night.show_from_hour) % 24 < night.show_hours
        goal = air + warm_k if runs else air - SKY_COOLING_K
        skin = goal if runs else goal + (skin - goal) * math.exp(-1.0 / _LAG_H)
        dew = float(dew_point_c(air, humidity))
        hours.append(DewHour(hour, air, dew, skin, skin <= dew))
    return tuple(hours)
