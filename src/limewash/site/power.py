"""Current, cords and cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

from limewash.errors import InputError
from limewash.project.lengths import Units, show_length
from limewash.project.site_models import Power

OHM_PER_KFT_75C = {16: 4.99, 14: 3.14, 12: 1.98, 10: 1.24}
"""Stranded uncoated copper at 75 C, NEC chapter 9 table 8 [1]_; key: AWG. [ohm / 1000 ft]

.. [1] sfasoft.com/look/35/Conductor_Properties
"""

OHM_PER_KM_20C = {0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98}
"""Flexible class 5 plain copper at 20 C, largest, IEC 60228 [1]_; key: mm2. [ohm / km]

.. [1] mycableengineering.com/knowledge-base/iec-60228-dc-resistance
"""

COPPER_OHM_M = 1.7241e-8
COPPER_PER_K = 0.00393
"""Annealed copper at 20 C and its rise with temperature (wire tables; cirris.com/wire-resistance-calculator)."""

_WARM_C = 40.0
"""A cord of mm2 is reckoned at this temperature: outdoors and lightly loaded."""

CONTINUOUS_H = 3.0
CONTINUOUS_SHARE = 0.8
"""NEC: what runs for three hours or more may take 80 % of the breaker (trade pages; clause numbers from memory)."""

DROP_ADVISED = 0.03
"""NEC 210.19(A) note 4 recommends at most 3 % on a branch; IEC 60364-5-52 annex G (from memory) 3 % for light."""

_FOOT_M = 0.3048


def gauge_mm2(awg: int) -> float:
    """Cross-section of a solid wire of an AWG number (ASTM B258). [mm2]"""
    diameter_mm: float = 0.127 * 92.0 ** ((36 - awg) / 39.0)
    return math.pi / 4.0 * diameter_mm**2


def ohm_per_m(*, mm2: float | None = None, awg: int | None = None, warm_c: float = _WARM_C) -> float:
    """Resistance of one conductor of a cord.

    Parameters
    ----------
    mm2, awg : float or int
        Its size, one of the two. A size of the published tables takes their value, any other is reckoned
        from copper's resistivity.
    warm_c : float
        Temperature of the conductor; the AWG table is for 75 C as printed, and stays so. [C]
    """
    if (mm2 is None) == (awg is None):
        raise InputError("give the cord's size as either mm2 or awg, one of the two")
    if awg is not None:
        if awg in OHM_PER_KFT_75C:
            return OHM_PER_KFT_75C[awg] / (1000.0 * _FOOT_M)
        return COPPER_OHM_M / (gauge_mm2(awg) * 1e-6) * (1.0 + COPPER_PER_K * 55.0)
    assert mm2 is not None
    if mm2 <= 0.0:
        raise InputError(f"mm2 must be > 0, got {mm2!r}")
    cold = OHM_PER_KM_20C.get(mm2, 1e9 * COPPER_OHM_M / mm2) / 1000.0
    return cold * (1.0 + 0.004 * (warm_c - 20.0))


def voltage_drop_v(current_a: float, length_m: float, *, ohm_m: float) -> float:
    """Along a cord and back: 2 I L R. [V]"""
    return 2.0 * current_a * length_m * ohm_m


def longest_cord_m(current_a: float, voltage_v: float, *, ohm_m: float, drop_share: float = DROP_ADVISED) -> float:
    """How long a cord may be before its drop passes a share of the voltage. [m]"""
    return drop_share * voltage_v / (2.0 * current_a * ohm_m)


def allowed_current_a(breaker_a: float, hours: float) -> float:
    """What a circuit may carry for that long. [A]"""
    return breaker_a * (CONTINUOUS_SHARE if hours >= CONTINUOUS_H else 1.0)


def energy_kwh(load_w: float, hours: float, nights: int) -> float:
    """Energy of a season. [kWh]"""
    return load_w * hours * nights / 1000.0


@dataclass(frozen=True)
class PowerPlan:
    """The way of the current to one rig.

    Attributes
    ----------
    load_w, current_a : float
        Projector and all else on the circuit. [W], [A]
    circuit_share : float
        Of what the breaker may carry for that long. [-]
    cord_m, cord : float, str
        Length and size of the cord.
    drop_v, drop_share : float
        Voltage lost along it by the projector's current. [V], [-]
    season_kwh, season_cost : float, float or None
        Of the projector alone.
    notes : tuple of str
        What to look at.
    """

    load_w: float
    current_a: float
    circuit_share: float
    cord_m: float
    cord: str
    drop_v: float
    drop_share: float
    season_kwh: float
    season_cost: float | None
    notes: tuple[str, ...]


def plan_power(
    power: Power, *, projector_w: float, cord_m: float, player_w: float = 10.0, units: Units = "metric"
) -> PowerPlan:
    """Load, circuit, cord and season for a projector at the end of `cord_m` of cord.

    A load is taken as purely resistive (power factor 1).
    """
    rig_w = projector_w + player_w
    total_w = rig_w + power.other_load_w
    current = total_w / power.voltage_v
    share = current / allowed_current_a(power.breaker_a, power.hours_a_night)
    mm2, awg = _size(power)
    resistance = ohm_per_m(mm2=mm2, awg=awg)
    length = power.cord_m if power.cord_m is not None else cord_m
    rig_a = rig_w / power.voltage_v
    drop = voltage_drop_v(rig_a, length, ohm_m=resistance)
    kwh = energy_kwh(rig_w, power.hours_a_night, power.nights)
    return PowerPlan(
        load_w=total_w,
        current_a=current,
        circuit_share=share,
        cord_m=length,
        cord=f"{awg} AWG" if awg is not None else f"{mm2:g} mm2",
        drop_v=drop,
        drop_share=drop / power.voltage_v,
        season_kwh=kwh,
        season_cost=None if power.price_per_kwh is None else kwh * power.price_per_kwh,
        notes=tuple(_notes(power, share, rig_a, drop / power.voltage_v, length, cord_m, units)),
    )


def _size(power: Power) -> tuple[float | None, int | None]:
    if power.cord_awg is not None:
        return None, power.cord_awg
    if power.cord_mm2 is not None:
        return power.cord_mm2, None
    return (None, 14) if power.voltage_v < 150.0 else (1.5, None)


def _notes(
    power: Power, share: float, rig_a: float, drop: float, length: float, needed: float, units: Units
) -> list[str]:
    notes = []
    if share > 1.0:
        notes.append(
            f"The circuit would carry {share:.0%} of what a {power.breaker_a:g} A breaker may carry for "
            f"{power.hours_a_night:g} h; take load off it or use another circuit."
        )
    if drop > DROP_ADVISED:
        notes.append(f"The cord loses {drop:.1%} of the voltage; a thicker or shorter one brings it below 3 %.")
    if length + 1e-9 < needed:
        notes.append(
            f"The cord of {show_length(length, units)} is too short: the way along the ground is "
            f"{show_length(needed, units)}."
        )
    if power.rcd is None:
        notes.append(
            "Look whether this outlet has a residual current device (RCD, GFCI) and press its test button; outdoor "
            "cords belong on one."
        )
    elif not power.rcd:
        notes.append("This outlet has no residual current device (RCD, GFCI); use one that has, or a portable one.")
    notes.append(
        f"{rig_a:.1f} A flow through the cord: compare with the amperes printed on it, and unroll a reel wholly."
    )
    notes.append("Outdoor cords and plugs only, joints off the ground and covered, drip loops, no cord across a path.")
    return notes
