"""Quantities in the person's units, against pint, whose units are not ours."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pint
import pytest

from limewash.project.lengths import Units
from limewash.project.models import House
from limewash.site import report
from limewash.site.cautions import cautions
from limewash.site.packing import packing_list
from limewash.site.placement import check_rig
from limewash.site.scene import build_scene
from limewash.site.services import services_of
from limewash.site.shown import (
    show_air,
    show_area,
    show_light,
    show_light_range,
    show_luminance,
    show_share,
    show_warmth,
    show_weight,
)

UNITS = pint.UnitRegistry()
Q = UNITS.Quantity


@pytest.mark.parametrize(
    ("show", "value", "unit", "imperial", "word"),
    [
        (show_area, 76.8, "m**2", "ft**2", "ft2"),
        (show_light, 30.8, "lm / m**2", "lm / ft**2", "fc"),
        (show_weight, 3.2, "kg", "lb", "lb"),
        (show_warmth, 20.4, "degC", "degF", "\N{DEGREE SIGN}F"),
    ],
)
def test_imperial_figures_are_those_of_pint(
    show: Callable[[float, Units], str], value: float, unit: str, imperial: str, word: str
) -> None:
    told, said = show(value, "imperial").split(" ", 1)
    assert said == word
    # To half of the last digit that is told.
    half = 0.5 * 10.0 ** -len(told.partition(".")[2])
    assert float(told) == pytest.approx(Q(value, unit).to(imperial).magnitude, abs=half)
    assert float(show(value, "metric").split()[0]) == pytest.approx(value, abs=0.5)


def test_luminance_in_foot_lamberts() -> None:
    # pint has no foot-lambert: one is 1/pi candela a square foot.
    told = show_luminance(48.0, "imperial")
    assert told.endswith(" fL")
    assert float(told.split()[0]) == pytest.approx(Q(48.0, "cd / m**2").to("cd / ft**2").magnitude * np.pi, abs=0.05)


def test_air_is_rounded_up() -> None:
    assert show_air(86.0, "metric") == "90 m3/h"
    need = Q(86.0, "m**3 / hour").to("ft**3 / minute").magnitude
    assert need <= float(show_air(86.0, "imperial").split()[0]) < need + 5.0
    assert show_air(90.0, "metric") == "90 m3/h"


def test_ranges_and_small_shares() -> None:
    assert show_light_range([1.0, 2.0, 40.0], "metric") == "2.00 lx (1.00 to 40.0)"
    assert show_share(0.0) == "0%"
    assert show_share(0.004) == "0.4%"
    assert show_share(0.5) == "50%"


def test_no_metric_unit_is_left_in_an_imperial_report(data: dict[str, Any], make: Callable[..., House]) -> None:
    data["site"]["units"] = "imperial"
    data["site"]["power"].update(cord_awg=14, cord_m=3.0)
    data["rig"][0]["projector"].update(weight_kg=3.0, fan_clearance_m=0.3, focus_range_m=[1.0, 5.0])
    house = make(data)
    scene = build_scene(house)
    placement = check_rig(scene, house.rig[0])
    services = services_of(placement, scene)
    assert services.power is not None
    assert services.box is not None
    rows = [
        *report.placement_rows(placement, scene),
        *report.part_rows(placement, "imperial"),
        *report.shadow_rows(placement, "imperial"),
        *report.service_rows(services, scene),
    ]
    texts = [cell for row in rows for cell in row]
    texts += [*cautions(placement, scene), *services.power.notes, *services.box.notes, *services.assumed]
    texts += [thing.what for thing in packing_list(placement, scene, services)]
    words = {word.strip(",.();:") for text in texts for word in text.split()}
    assert not words & {"m", "mm", "cm", "m2", "mm2", "lx", "cd/m2", "m3/h", "kg", "\N{DEGREE SIGN}C", "C"}
    assert {"ft", "in", "ft2", "fc", "fL", "lb", "\N{DEGREE SIGN}F", "AWG"} <= words
