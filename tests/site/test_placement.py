"""A placement's figures: exact sums, people, spill, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from limewash.errors import InputError
from limewash.project.models import House
from limewash.project.site_models import Ambient
from limewash.site.ambient import ambient_on_wall_lx
from limewash.site.cautions import ALWAYS, cautions
from limewash.site.people import eye_illuminance_lx
from limewash.site.placement import Placement, check_rig
from limewash.site.scene import build_scene

Make = Callable[[dict[str, Any]], House]


def placed(house: House, **how: Any) -> Placement:
    return check_rig(build_scene(house), house.rig[0], **how)


def test_lumens_over_area_agree_with_the_mean_of_the_map(house: House) -> None:
    # Two routes: exact polygons in the picture, and a sum of lux over cells of the wall.
    found = placed(house, step_m=0.04)
    for part in found.parts:
        mapped = part.maps.illuminance_lx[part.maps.lit]
        assert mapped.mean() == pytest.approx(part.mean_lx, rel=2e-3)
        assert part.maps.lit.sum() * 0.04**2 == pytest.approx(part.lit_m2, rel=0.02)


def test_all_the_light_is_accounted_for(house: House) -> None:
    # What hits the front, the ground and the neighbour, and what the tree and the air take, is no more than there is.
    found = placed(house)
    on_front = sum(part.light_lm for part in found.parts)
    spilled = sum(spill.light_lm for spill in found.spills)
    assert on_front == pytest.approx((1.0 - found.wasted) * 3000.0, rel=1e-9)
    assert on_front + spilled < 3000.0


def test_an_even_wall_alone_gets_all_the_lumens(data: dict[str, Any], make: Make) -> None:
    data["facade"]["part"] = [{"name": "wall", "rectangle": [-50, -50, 100, 100], "reflectance": 0.8}]
    data["site"].pop("obstacle")
    found = placed(make(data), step_m=1.0)
    assert found.parts[0].light_lm == pytest.approx(3000.0, rel=1e-9)
    assert found.wasted == pytest.approx(0.0, abs=1e-9)


def test_feet_and_metres_give_the_same_figures(data: dict[str, Any], make: Make) -> None:
    # The same house told in feet; pint checks the parser elsewhere.
    metric = placed(make(data))
    foot = 0.3048
    data["site"]["units"] = "imperial"
    stand = data["rig"][0]["stand"]
    for key in ("x_m", "height_m", "distance_m"):
        stand[key] = f"{stand[key] / foot} ft"
    wall = data["facade"]["part"][0]
    wall["polygon"] = [[f"{v / foot} ft" for v in corner] for corner in wall["polygon"]]
    imperial = placed(make(data))
    assert imperial.lit_m2 == pytest.approx(metric.lit_m2, rel=1e-9)
    assert imperial.values("contrast") == pytest.approx(metric.values("contrast"), rel=1e-9)
    assert imperial.prop_m == pytest.approx(metric.prop_m)


def test_the_tree_throws_the_shadow_that_similar_triangles_say(house: House) -> None:
    found = placed(house)
    shadow = next(s for s in found.shadows if s.by == "tree")
    assert shadow.on == "wall"
    # The tree's corners seen from 14.6 m, thrown onto the wall; its left side falls beyond the picture's edge.
    _, _, right, _ = shadow.plane.bounds
    thrown = [6.1 + (x - 6.1) * 14.6 / (14.6 - z) for x, z in ((2.0, 5.0), (2.4, 5.0), (2.0, 5.4), (2.4, 5.4))]
    assert right == pytest.approx(max(thrown), abs=1e-6)
    assert 0.0 <= shadow.seen_share <= 1.0


def test_aim_and_distance_are_where_the_middle_ray_lands(house: House) -> None:
    found = placed(house)
    assert found.aim_m is not None
    assert found.device.project(found.aim_m) == pytest.approx([959.5, 539.5], abs=1e-6)
    assert found.distance_m == pytest.approx(np.linalg.norm(found.aim_m - found.device.position_m))


def test_an_eye_in_the_beam_gets_the_lux_of_the_distance(house: House) -> None:
    # 3.31: F TR^2 16/9 at one metre, by the inverse square further out.
    found = placed(house)
    axis = found.device.rotation[2]
    for metres in (1.0, 4.0):
        eye = found.device.position_m + metres * axis
        lux = float(eye_illuminance_lx(found.device, found.output, eye))
        assert lux == pytest.approx(3000.0 * 1.3**2 * 16 / 9 / metres**2, rel=1e-9)


def test_people_on_the_pavement_before_the_lens_are_told(house: House) -> None:
    found = placed(house)
    where = {hit.where for hit in found.in_beam}
    assert "pavement" in where
    told = cautions(found, build_scene(house))
    assert any("'pavement'" in text for text in told)
    assert list(ALWAYS) == told[-len(ALWAYS) :]
    assert not any(word in text.lower() for text in told for word in ("is safe", "is legal", "harmless"))


def test_a_high_stand_clears_the_pavement(data: dict[str, Any], make: Make) -> None:
    data["rig"][0]["stand"].update(height_m=6.0, tilt_deg=-16.0)
    found = placed(make(data))
    assert "pavement" not in {hit.where for hit in found.in_beam}


def test_a_wall_between_hides_the_lens(data: dict[str, Any], make: Make) -> None:
    data["site"]["obstacle"].append(
        {"name": "fence", "across_m": [-20, 30], "height_m": [0, 20], "distance_m": [11.5, 11.6]}
    )
    found = placed(make(data))
    assert "gate" not in {hit.where for hit in found.in_beam}
    assert found.lit_m2 == 0.0


def test_light_on_a_neighbours_window_is_told_from_either_side(data: dict[str, Any], make: Make) -> None:
    data["rig"][0]["stand"]["yaw_deg"] = 20.0
    corners = [[13.0, 2.0, 3.0], [13.0, 2.0, 1.0], [13.0, 4.0, 1.0], [13.0, 4.0, 3.0]]
    for way in (corners, corners[::-1]):
        data["site"]["neighbour"] = [{"name": "bedroom", "corners": way}]
        found = placed(make(data))
        spill = next(s for s in found.spills if s.name == "bedroom")
        assert spill.light_lm > 1.0
        assert any("'bedroom'" in text for text in cautions(found, build_scene(make(data))))


@pytest.mark.parametrize("light_lm", [0.04, 0.3, 0.6, 41.7, 1234.5])
@pytest.mark.parametrize("kind", ["neighbour", "road"])
def test_a_little_spilled_light_is_not_told_as_none(
    data: dict[str, Any], make: Make, kind: str, light_lm: float
) -> None:
    data["rig"][0]["stand"]["yaw_deg"] = 20.0
    house = make(data)
    found = placed(house)
    spill = replace(found.spills[0], kind=kind, light_lm=light_lm)
    (caution,) = [c for c in cautions(replace(found, spills=(spill,)), build_scene(house)) if " lm fall on " in c]
    told = float(caution.split()[0])
    assert told == pytest.approx(light_lm, abs=0.5 if light_lm > 0.5 else 0.005)


def test_focus_is_told_only_where_the_lens_is_known(data: dict[str, Any], make: Make) -> None:
    sharp = placed(make(data))
    assert sharp.blur is not None
    assert sharp.blur.focus.near_m < sharp.parts[0].near_m
    data["rig"][0]["projector"].pop("f_number")
    assert placed(make(data)).blur is None


@pytest.mark.parametrize(
    ("stand", "said"),
    [
        ({"x_m": 9.0, "distance_m": 1.5}, r"rig\[1\]\.stand\.distance_m must be more than 2 m .*'garage'"),
        ({"x_m": 2.2, "distance_m": 5.2}, r"rig\[1\]\.stand stands inside the obstacle 'tree'"),
        ({"height_m": -0.5}, r"rig\[1\]\.stand\.height_m must be more than 0 m"),
    ],
)
def test_an_impossible_stand_is_refused(data: dict[str, Any], make: Make, stand: dict[str, float], said: str) -> None:
    data["rig"][0]["stand"].update(stand)
    with pytest.raises(InputError, match=said):
        placed(make(data))


@pytest.mark.parametrize(
    ("missing", "said"),
    [
        (("rig", "stand"), r"rig\[1\]\.stand is missing; give x_m"),
        (("site",), "'site' is missing; add"),
        (("facade",), "'facade' is missing; add"),
    ],
)
def test_what_is_missing_is_named(data: dict[str, Any], make: Make, missing: tuple[str, ...], said: str) -> None:
    if missing[0] == "rig":
        data["rig"][0].pop("stand")
    else:
        data.pop(missing[0])
    with pytest.raises(InputError, match=said):
        placed(make(data))


def test_a_front_without_parts_is_one_rectangle(data: dict[str, Any], make: Make) -> None:
    data["facade"].pop("part")
    with pytest.raises(InputError, match=r"facade\.material is missing .*red brick"):
        placed(make(data))
    data["facade"]["material"] = "red brick"
    found = placed(make(data))
    assert found.parts[0].area_m2 == pytest.approx(11.9 * 7.4)
    assert found.parts[0].surface.reflectance == 0.2


@pytest.mark.parametrize(("street", "lux"), [("P1", 15.0), ("P4", 5.0), ("P6", 2.0), ("C0", 50.0), ("C5", 7.5)])
def test_street_classes(street: str, lux: float) -> None:
    # EN 13201-2:2015 as printed at performanceinlighting.com; horizontal, so an upper estimate for a wall.
    assert ambient_on_wall_lx(Ambient.model_validate({"street": street})) == lux


def test_a_measured_value_is_taken_as_it_is() -> None:
    assert ambient_on_wall_lx(Ambient(wall_lx=1.7, moon="full")) == 1.7
    # A typical full moon gives 0.05 to 0.1 lx (Kyba 2017 as quoted).
    assert 0.05 <= ambient_on_wall_lx(Ambient(street="none", moon="full")) <= 0.1


def test_wasted_light_is_what_misses_the_parts(house: House) -> None:
    found = placed(house)
    width, height = found.device.size
    lit = shapely.union_all([part.seen.picture for part in found.parts])
    assert found.wasted == pytest.approx(1.0 - lit.area / (width * height), abs=1e-9)


def test_a_picture_that_misses_the_front_is_told(house: House) -> None:
    found = placed(house)
    scene = build_scene(house)
    past = " ".join(cautions(replace(found, wasted=0.5), scene))
    assert "50% of the picture falls past what is to be lit" in past
    assert "falls past" not in " ".join(cautions(replace(found, wasted=0.1), scene))
    dark = tuple(replace(part, lit_m2=0.0) for part in found.parts)
    assert "None of the picture falls on the front" in " ".join(cautions(replace(found, parts=dark), scene))
