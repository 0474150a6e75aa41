"""Cords, circuits and cost against the published conductor tables and handbook examples."""

from __future__ import annotations

from typing import Any

import pint
import pytest

from limewash.errors import InputError
from limewash.project.site_models import Power
from limewash.site.power import (
    COPPER_PER_K,
    OHM_PER_KFT_75C,
    allowed_current_a,
    energy_kwh,
    gauge_mm2,
    longest_cord_m,
    ohm_per_m,
    plan_power,
    voltage_drop_v,
)

FOOT = 0.3048


def kft(awg: int) -> float:
    return ohm_per_m(awg=awg) * 1000 * FOOT


@pytest.mark.parametrize(("awg", "ohm"), [(16, 4.99), (14, 3.14), (12, 1.98), (10, 1.24)])
def test_the_conductor_table(awg: int, ohm: float) -> None:
    # NEC chapter 9 table 8, stranded uncoated copper at 75 C (sfasoft.com, Conductor Properties).
    assert kft(awg) == pytest.approx(ohm, rel=1e-9)


@pytest.mark.parametrize(("awg", "mm2"), [(16, 1.3087), (14, 2.0809), (12, 3.3088), (10, 5.2612)])
def test_gauge_to_area(awg: int, mm2: float) -> None:
    # ASTM B258 (formula from memory).
    assert gauge_mm2(awg) == pytest.approx(mm2, abs=1e-4)


@pytest.mark.parametrize(("awg", "ohm"), [(16, 4.016), (14, 2.525), (12, 1.588)])
def test_resistivity_route_agrees_with_the_wire_table(awg: int, ohm: float) -> None:
    # A published wire table at 20 C (cirris.com), reached from copper's resistivity and the gauge; pint does the units.
    units = pint.UnitRegistry()
    area = gauge_mm2(awg) * units.mm**2
    per_kft = (1.7241e-8 * units.ohm * units.m / area * 1000 * units.foot).to("ohm").magnitude
    assert per_kft == pytest.approx(ohm, rel=1e-3)


@pytest.mark.parametrize(("awg", "solid"), [(12, 1.93), (14, 3.07), (16, 4.89)])
def test_warm_resistivity_agrees_with_the_solid_column(awg: int, solid: float) -> None:
    # x (1 + 0.00393 * 55) ties the wire table at 20 C to NEC table 8 at 75 C, solid.
    reckoned = 1.7241e-8 / (gauge_mm2(awg) * 1e-6) * 1000 * FOOT * (1 + COPPER_PER_K * 55)
    assert reckoned == pytest.approx(solid, rel=2e-3)


def test_a_gauge_outside_of_the_table_lies_between_its_neighbours() -> None:
    assert 18 not in OHM_PER_KFT_75C
    assert kft(18) > kft(16) * 1.4
    assert kft(8) < kft(10) * 0.75


@pytest.mark.parametrize(
    ("current", "feet", "awg", "volt", "percent"),
    [
        (12.0, 100.0, 12, 4.752, 3.96),  # over the 3 % that NEC 210.19(A) note 4 recommends
        (12.0, 100.0, 10, 2.976, 2.48),
        (4.0, 100.0, 16, 3.992, 3.33),
        (4.0, 100.0, 14, 2.512, 2.09),
    ],
)
def test_drop_along_a_cord(current: float, feet: float, awg: int, volt: float, percent: float) -> None:
    # 2 I L R / 1000 with the table's R.
    drop = voltage_drop_v(current, feet * FOOT, ohm_m=ohm_per_m(awg=awg))
    assert drop == pytest.approx(volt, abs=1e-3)
    assert drop / 120 * 100 == pytest.approx(percent, abs=6e-3)


def test_the_handbooks_worked_example() -> None:
    # Exam example (fatskills.com): 2 K I L / CM with K 12.9, 20 A, 100 ft, 6530 circular mils = 12 AWG: 7.90 V, 6.6 %.
    theirs = 2 * 12.9 * 20 * 100 / 6530
    assert theirs == pytest.approx(7.90, abs=5e-3)
    ours = voltage_drop_v(20.0, 100 * FOOT, ohm_m=ohm_per_m(awg=12))
    assert ours == pytest.approx(theirs, rel=5e-3)


def test_longest_cord() -> None:
    # 3.6 V / (2 I R) * 1000 = 75.76 ft for 12 A on 12 AWG.
    assert longest_cord_m(12.0, 120.0, ohm_m=kft(12) / 1000 / FOOT) / FOOT == pytest.approx(75.76, abs=0.01)
    # The published R is rounded: our 1.98 gives the table's own figure exactly.
    assert pytest.approx(75.76, abs=0.01) == 3.6 / (2 * 12 * 1.98) * 1000


@pytest.mark.parametrize(("mm2", "ohm"), [(0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98)])
def test_flexible_metric_cords(mm2: float, ohm: float) -> None:
    # IEC 60228 class 5, plain copper, 20 C, largest.
    assert ohm_per_m(mm2=mm2, warm_c=20.0) * 1000 == pytest.approx(ohm, rel=1e-9)


@pytest.mark.parametrize(("warm", "times"), [(40.0, 1.080), (70.0, 1.200)])
def test_a_warm_cord_resists_more(warm: float, times: float) -> None:
    # IEC 60228 annex A: R = R20 (1 + 0.004 (t - 20)).
    assert ohm_per_m(mm2=1.5, warm_c=warm) / ohm_per_m(mm2=1.5, warm_c=20.0) == pytest.approx(times, abs=1e-3)


@pytest.mark.parametrize(
    ("mm2", "length", "volt", "percent"), [(1.0, 25, 9.75, 4.24), (1.5, 25, 6.65, 2.89), (2.5, 50, 7.98, 3.47)]
)
def test_metric_drop(mm2: float, length: float, volt: float, percent: float) -> None:
    # 2 I L R / 1000, 10 A, 230 V.
    drop = voltage_drop_v(10.0, length, ohm_m=ohm_per_m(mm2=mm2, warm_c=20.0))
    assert drop == pytest.approx(volt, abs=1e-3)
    assert drop / 230 * 100 == pytest.approx(percent, abs=5e-3)


@pytest.mark.parametrize(("breaker", "hours", "amps"), [(15, 3.0, 12.0), (20, 4.0, 16.0), (15, 2 + 59 / 60, 15.0)])
def test_continuous_load(breaker: float, hours: float, amps: float) -> None:
    # NEC: 80 % for three hours or more; 2 h 59 is not continuous.
    assert allowed_current_a(breaker, hours) == pytest.approx(amps)


def test_energy_of_a_season() -> None:
    assert energy_kwh(300.0, 4.0, 30) == pytest.approx(36.0)


def power(**more: Any) -> Power:
    return Power.model_validate({"outlet_x_m": 0.0, **more})


def test_a_plan_adds_up() -> None:
    plan = plan_power(power(price_per_kwh=0.3, other_load_w=400.0), projector_w=290.0, cord_m=20.0)
    assert plan.load_w == pytest.approx(700.0)
    assert plan.current_a == pytest.approx(700 / 230)
    assert plan.drop_v == pytest.approx(2 * 300 / 230 * 20 * ohm_per_m(mm2=1.5))
    assert plan.season_cost == pytest.approx(300 * 4 * 30 / 1000 * 0.3)
    assert any("residual current" in note for note in plan.notes)


def test_an_overloaded_circuit_and_a_short_cord_are_told() -> None:
    plan = plan_power(
        power(voltage_v=120, breaker_a=15, other_load_w=1500, cord_m=10, rcd=False), projector_w=290, cord_m=20
    )
    assert plan.cord == "14 AWG"
    told = " ".join(plan.notes)
    for words in ("take load off", "too short", "has no residual current device"):
        assert words in told


def test_two_sizes_for_one_cord_are_refused() -> None:
    with pytest.raises(InputError, match="one of the two"):
        ohm_per_m(mm2=1.5, awg=14)


def test_the_amperes_through_the_cord_are_told_to_compare_with_its_own_rating() -> None:
    # 1500 W and a player of 10 W at 120 V: 12.58 A by I = P / U; thin cords are sold for less.
    plan = plan_power(power(voltage_v=120.0, breaker_a=15.0, cord_awg=18), projector_w=1500.0, cord_m=2.0)
    assert any("12.6 A flow through the cord" in note for note in plan.notes[:-1]), "the card leaves the last one out"
