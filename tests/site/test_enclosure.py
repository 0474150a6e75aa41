"""Heat and dew against published examples, ASHRAE tables and psychrolib."""

from __future__ import annotations

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.project.site_models import Box, Night
from limewash.site.enclosure import (
    AIR_J_KG_K,
    air_density_kg_m3,
    air_flow_m3_h,
    dew_point_c,
    dew_through_the_night,
    inside_c,
    plan_box,
    saturation_hpa,
)

psychrolib.SetUnitSystem(psychrolib.SI)
CFM = 0.3048**3 * 60.0  # m3/h in a cubic foot a minute


def test_air_flow_agrees_with_the_american_rule() -> None:
    # A drive maker's note: CFM = 3160 kW / dT_F; 0.3 kW at 18 F = 10 K: 52.67 CFM.
    assert pytest.approx(52.67, abs=5e-3) == 3160 * 0.3 / 18
    assert air_flow_m3_h(300.0, 10.0) / CFM == pytest.approx(52.67, rel=2e-3)


def test_air_flow_metric() -> None:
    # 3600 W / (rho cp dT): 89.55 m3/h.
    assert air_flow_m3_h(300.0, 10.0) == pytest.approx(89.55, abs=5e-3)


def test_air_flow_at_35_degrees() -> None:
    # The "3.1" of catalogues: 3.124 W / dT at rho 1.1455.
    assert air_density_kg_m3(35.0) == pytest.approx(1.1455, abs=5e-4)
    assert air_flow_m3_h(1.0, 1.0, density_kg_m3=air_density_kg_m3(35.0)) == pytest.approx(3.124, rel=5e-3)


def test_published_mass_flow() -> None:
    # Worked example (industrialmonitordirect.com): 800 W at 3 K need 0.265 kg/s.
    assert air_flow_m3_h(800.0, 3.0, density_kg_m3=1.2) * 1.2 / 3600 == pytest.approx(0.2653, abs=1e-4)


def test_the_wrong_page_is_not_followed() -> None:
    # A page divides watts by 1.08 dT in Celsius: 2.64 CFM for 100 W and 35 K; right are 5.02 CFM.
    assert air_flow_m3_h(100.0, 35.0) / CFM == pytest.approx(5.02, rel=1e-2)


def test_thin_air() -> None:
    # ASHRAE table 1: 89875 / 101325 Pa at 1000 m, so that the flow grows by 1.127.
    thin = air_density_kg_m3(20.0, pressure_pa=89875.0)
    assert thin / air_density_kg_m3(20.0) == pytest.approx(0.887, abs=5e-4)
    flows = [air_flow_m3_h(300, 10, density_kg_m3=rho) for rho in (thin, air_density_kg_m3(20.0))]
    assert flows[0] / flows[1] == pytest.approx(1.127, abs=1e-3)


@given(st.floats(10.0, 2000.0), st.floats(-20.0, 40.0), st.floats(1.0, 40.0))
def test_the_needed_flow_gives_the_rise(heat: float, air: float, rise: float) -> None:
    flow = air_flow_m3_h(heat, rise, density_kg_m3=air_density_kg_m3(air))
    assert inside_c(heat, air, flow_m3_h=flow, wall_w_k=0.0) == pytest.approx(air + rise, abs=1e-6)


def test_a_closed_box() -> None:
    # P / (U A): 36 W through 1.2 m2 of 3 W/(m2 K) warm it by 10 K.
    assert inside_c(36.0, 5.0, flow_m3_h=0.0, wall_w_k=3.6) == pytest.approx(15.0)
    with pytest.raises(InputError, match="no steady temperature"):
        inside_c(36.0, 5.0, flow_m3_h=0.0, wall_w_k=0.0)


@pytest.mark.parametrize(("air", "hpa"), [(0, 6.112), (10, 12.260), (20, 23.326), (25, 31.601), (30, 42.337)])
def test_saturation_by_magnus(air: float, hpa: float) -> None:
    # WMO/Sonntag coefficients (ing-moehn.de).
    assert float(saturation_hpa(air)) == pytest.approx(hpa, abs=1e-3)


@pytest.mark.parametrize(("air", "pascal"), [(5, 872.6), (25, 3169.7), (50, 12351.3)])
def test_psychrolib_itself_agrees_with_ashrae_and_magnus_comes_near(air: float, pascal: float) -> None:
    # ASHRAE Fundamentals 2017 chapter 1 table 3; Magnus is up to 0.5 % off it.
    assert psychrolib.GetSatVapPres(air) == pytest.approx(pascal, rel=3e-4)
    assert float(saturation_hpa(air)) * 100 == pytest.approx(pascal, rel=6e-3)


@pytest.mark.parametrize(
    ("air", "humidity", "dew"),
    [(20, 50, 9.255), (20, 60, 11.995), (25, 60, 16.693), (10, 90, 8.434), (5, 95, 4.265)],
)
def test_dew_point_agrees_with_psychrolib(air: float, humidity: float, dew: float) -> None:
    found = float(dew_point_c(air, humidity))
    assert found == pytest.approx(dew, abs=1e-3)
    assert found == pytest.approx(psychrolib.GetTDewPointFromRelHum(air, humidity / 100), abs=0.05)


def test_dew_point_of_a_worked_answer() -> None:
    # assignmentexpert.com: 22 C, 78 % gives 17.98 C with other Magnus coefficients.
    assert float(dew_point_c(22.0, 78.0)) == pytest.approx(17.98, abs=0.02)


def test_below_freezing_it_is_the_dew_point_over_water() -> None:
    # 0 C, 80 %: over water -3.040; over ice (psychrolib's frost point) -2.683, a little warmer.
    assert float(dew_point_c(0.0, 80.0)) == pytest.approx(-3.040, abs=1e-3)
    assert psychrolib.GetTDewPointFromRelHum(0.0, 0.8) == pytest.approx(-2.683, abs=0.05)


def test_glass_at_11_degrees_is_wet_and_at_13_dry() -> None:
    # Air 20 C, 60 %: dew point 12 C.
    dew = float(dew_point_c(20.0, 60.0))
    assert 11.0 <= dew < 13.0


def test_a_projector_that_runs_stays_dry_and_gets_wet_after_the_show() -> None:
    night = Night(from_hour=18, air_c=(6.0,) * 9, humidity_percent=(96.0,) * 9, show_from_hour=18, show_hours=4.0)
    hours = dew_through_the_night(night)
    assert [hour.hour for hour in hours] == [18, 19, 20, 21, 22, 23, 0, 1, 2]
    assert [hour.wet for hour in hours[:4]] == [False] * 4
    assert hours[-1].wet
    cooling = [hour.skin_c for hour in hours[4:]]
    assert cooling == sorted(cooling, reverse=True)
    assert min(cooling) >= 4.0


def test_a_dry_night_stays_dry() -> None:
    night = Night(air_c=(10.0, 8.0, 6.0), humidity_percent=(40.0, 45.0, 50.0))
    assert not any(hour.wet for hour in dew_through_the_night(night))


def test_a_box_that_gets_too_warm_is_told() -> None:
    plan = plan_box(Box(air_flow_m3_h=0.0), heat_w=300.0, air_c=20.0)
    assert plan.closed_c > 100.0
    assert any("let about" in note for note in plan.notes)
    assert plan.needed_m3_h == pytest.approx(300 * 3600 / (air_density_kg_m3(20.0) * AIR_J_KG_K * 10.0))
    assert plan_box(Box(air_flow_m3_h=200.0), heat_w=300.0, air_c=10.0).vented_c < 15.0
