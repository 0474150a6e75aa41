"""What `house.toml` may say about the site: lengths in any unit, and faults told with key and range."""

from __future__ import annotations

import copy
import math
import tomllib
from pathlib import Path
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.project.folder import create_project, open_project
from limewash.project.lengths import parse_length, show_length, show_small
from limewash.project.models import House
from limewash.project.toml_models import validate

UNITS = pint.UnitRegistry()
SITE = """
format = 1
name = "Test house"
[facade]
width_m = 10.0
height_m = 6.0
[[facade.part]]
name = "wall"
rectangle = [0, 0, 10, 6]
reflectance = 0.5
[site.ambient]
wall_lx = 2.0
[[site.zone]]
name = "lawn"
kind = "lawn"
ground_m = [[0, 2], [10, 2], [10, 8], [0, 8]]
[[site.obstacle]]
name = "post"
across_m = [1, 1.2]
height_m = [0, 3]
distance_m = [1, 1.2]
[site.power]
outlet_x_m = 1.0
[[rig]]
name = "main"
[rig.projector]
throw_range = [1.2, 1.8]
[rig.stand]
x_m = 5
height_m = 1
distance_m = 9
"""


@pytest.fixture
def data() -> dict[str, Any]:
    return copy.deepcopy(tomllib.loads(SITE))


def put(data: dict[str, Any], path: str, value: object) -> None:
    """Set `a.b[0].c` in plain data; delete it when the value is None."""
    *way, last = path.replace("]", "").replace("[", ".").split(".")
    at: Any = data
    for step in way:
        at = at[int(step)] if step.isdigit() else at[step]
    key: Any = int(last) if last.isdigit() else last
    if value is None:
        del at[key]
    else:
        at[key] = value


NO_WEIGHT = dict.fromkeys(("coverage", "contrast", "sharpness", "waste", "obstruction", "cable"), 0)
CROSSED = [[0, 0], [4, 4], [4, 0], [0, 4]]
PART = "facade.part[0]."
SHEET = "rig[0].projector."
STAND = "rig[0].stand."
FAULTS: list[tuple[str, object, str]] = [
    (PART + "reflectance", -0.2, r"facade\.part\[1\]\.reflectance must be more than 0 and at most 1 \(got -0\.2\)"),
    (PART + "reflectance", 60, r"reflectance must be more than 0 and at most 1 \(got 60\)"),
    (PART + "reflectance", None, r"facade\.part\[1\]: give either material .* or reflectance \(more than 0 and"),
    (PART + "material", "red brick", "one of the two"),
    (PART + "rectangle", [0, 0, -3, 6], r"rectangle\[3\] must be more than 0 and at most 1000 m \(got -3\)"),
    (PART + "rectangle", None, "give one of rectangle"),
    (PART + "polygon", CROSSED, "give one of rectangle"),
    ("site.ambient", None, r"site\.ambient is missing: add wall_lx \(0 to 1000"),
    ("site.ambient", {}, r"site\.ambient: give either wall_lx \(0 to 1000"),
    ("site.ambient.wall_lx", -1, r"site\.ambient\.wall_lx must be from 0 to 1000 lx \(got -1\)"),
    ("site.zone[0].ground_m", CROSSED, r"site\.zone\[1\]: ground_m must be a simple polygon"),
    ("site.obstacle[0].height_m", [3, 0], r"height_m must be \[low, high\] with low < high"),
    (SHEET + "throw_range", [1.8, 1.2], r"throw_range must be \[smallest, largest\], each from 0\.1 to 20 .*reversed"),
    (SHEET + "throw_ratio", 2.5, r"throw_ratio must be from 1\.2 to 1\.8, its throw_range \(got 2\.5\)"),
    (SHEET + "throw_ratio", 0.0, r"rig\[1\]\.projector\.throw_ratio must be from 0\.1 to 20 \(got 0\)"),
    (SHEET + "light_lm", 0, r"light_lm must be more than 0 and at most 200000 lm \(got 0\)"),
    (SHEET + "light_share", 80, r"light_share must be more than 0 and at most 1 \(got 80\)"),
    (STAND + "distance_m", "nine metres", r"rig\[1\]\.stand\.distance_m must be metres as a number, or text such as"),
    (STAND + "tilt_deg", 120, r"tilt_deg must be from -89 to 89 degrees \(got 120\)"),
    (STAND + "x_m", math.nan, r"x_m must be from -1000 to 1000 m \(got nan\)"),
    ("site.power.cord_mm2", 40, r"cord_mm2 must be from 0\.5 to 10 mm2 \(got 40\)"),
    ("site.search", {"weights": NO_WEIGHT}, "at least one weight must be more than 0"),
    ("site.search", {"step_m": 0.01}, r"site\.search\.step_m must be from 0\.05 to 5 m"),
    ("site.zoen", [], r"unknown key 'site\.zoen'; did you mean 'zone'"),
]


@pytest.mark.parametrize(("path", "value", "said"), FAULTS)
def test_each_fault_is_one_line_with_key_and_range(data: dict[str, Any], path: str, value: object, said: str) -> None:
    put(data, path, value)
    with pytest.raises(InputError, match=said) as caught:
        validate(data, House, where="house.toml")
    assert str(caught.value).count("\n") == 0


@pytest.mark.parametrize(
    ("outline", "said"),
    [
        ([[0, 0], [4, 4], [4, 0], [0, 4]], "must be a simple polygon, its corners in order"),
        ([[0, 0], [4, 0], [8, 0]], "simple polygon|must enclose"),
    ],
)
def test_an_impossible_polygon_is_refused(data: dict[str, Any], outline: list[list[float]], said: str) -> None:
    put(data, "facade.part[0].rectangle", None)
    put(data, "facade.part[0].polygon", outline)
    with pytest.raises(InputError, match=rf"facade\.part\[1\].*({said})"):
        validate(data, House, where="house.toml")


def test_corners_off_one_plane_are_refused(data: dict[str, Any]) -> None:
    put(data, "facade.part[0].rectangle", None)
    put(data, "facade.part[0].corners", [[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0.5]])
    with pytest.raises(InputError, match=r"corners must lie in one plane to within 0\.02 m"):
        validate(data, House, where="house.toml")


@pytest.mark.parametrize(
    ("text", "unit", "amount"),
    [
        ("12 ft 6 in", "inch", 150.0),
        ("12' 6\"", "inch", 150.0),
        ("12ft6in", "inch", 150.0),
        ("6 1/2 in", "inch", 6.5),
        ("3/4 in", "inch", 0.75),
        ("-2 ft", "foot", -2.0),
        ("12.5 feet", "foot", 12.5),
        ("3.5 m", "meter", 3.5),
        ("350 cm", "centimeter", 350.0),
        ("12 mm", "millimeter", 12.0),
    ],
)
def test_lengths_with_units_agree_with_pint(text: str, unit: str, amount: float) -> None:
    expected = (amount * UNITS(unit)).to("meter").magnitude
    assert parse_length(text) == pytest.approx(expected, rel=1e-12)


@given(st.floats(-900.0, 900.0))
def test_what_is_shown_in_feet_is_read_back_to_a_thirty_second_of_an_inch(length_m: float) -> None:
    assert parse_length(show_length(length_m, "imperial", fine=True)) == pytest.approx(length_m, abs=0.0254 / 32 + 1e-9)
    assert parse_length(show_length(length_m, "metric", fine=True)) == pytest.approx(length_m, abs=0.00051)


@pytest.mark.parametrize(
    ("length_m", "metric", "imperial"),
    [(0.0052, "5.2 mm", "3/16 in"), (0.020, "20 mm", "13/16 in"), (0.002, "2.0 mm", "0.079 in")],
)
def test_small_lengths(length_m: float, metric: str, imperial: str) -> None:
    assert show_small(length_m, "metric") == metric
    assert show_small(length_m, "imperial") == imperial


def test_metric_and_imperial_inputs_give_the_same_house(data: dict[str, Any]) -> None:
    metric = validate(copy.deepcopy(data), House, where="house.toml")
    put(data, "facade.width_m", "32 ft 9 11/16 in")
    put(data, "rig[0].stand.distance_m", "29 ft 6 5/16 in")
    imperial = validate(data, House, where="house.toml")
    assert metric.facade is not None
    assert imperial.facade is not None
    assert imperial.facade.width_m == pytest.approx(metric.facade.width_m, abs=1e-3)
    assert imperial.rig[0].stand is not None
    assert imperial.rig[0].stand.distance_m == pytest.approx(9.0, abs=1e-3)


def test_a_house_with_a_site_is_written_and_read_back(tmp_path: Path, data: dict[str, Any]) -> None:
    house = validate(data, House, where="house.toml")
    project = create_project(tmp_path / "house", house)
    assert open_project(project.root).house == house


def test_parts_can_be_added_by_hand_to_a_new_house_file(tmp_path: Path) -> None:
    project = create_project(tmp_path / "house", validate({"name": "New"}, House, where="house.toml"))
    path = project.root / "house.toml"
    added = '[facade]\nwidth_m = "24 ft"\nheight_m = 5\n[[facade.part]]\nname = "wall"\nmaterial = "plaster"\n'
    path.write_text(path.read_text("utf-8") + added + "rectangle = [0, 0, '24 ft', 5]\n", encoding="utf-8")
    facade = open_project(project.root).house.facade
    assert facade is not None
    assert facade.part[0].rectangle is not None
    assert facade.part[0].rectangle[2] == pytest.approx(7.3152)


def test_two_parts_of_one_name_are_refused(data: dict[str, Any]) -> None:
    data["facade"]["part"].append(dict(data["facade"]["part"][0]))
    with pytest.raises(InputError, match="part names must differ"):
        validate(data, House, where="house.toml")
