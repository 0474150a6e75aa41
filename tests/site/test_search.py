"""The search: its kernel against the exact reckoning, its ranking, and what it says."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from limewash.errors import InputError
from limewash.project.models import House
from limewash.project.site_models import Weights
from limewash.site import aim_kernel as k
from limewash.site.advice import what_would_help, why_first
from limewash.site.placement import check_rig
from limewash.site.projector_classes import PROJECTOR_CLASSES
from limewash.site.scene import WHOLE, build_scene
from limewash.site.search import (
    CRITERIA,
    Candidate,
    SearchResult,
    projectors_to_try,
    search,
    stand_places,
    weights,
)
from limewash.site.tables import ground_grid, projector_row, section_table
from limewash.site.visibility import seen_by_eye

STEP = np.array([0.5, 0.05, 0.05])
"""What the search calls the same on the Pareto picture: m2, 5 % of contrast, sharpness."""
Make = Callable[[dict[str, Any]], House]


@pytest.fixture
def wide(data: dict[str, Any], make: Make) -> House:
    """A coarse search with three kinds of projector."""
    data["site"]["search"] = {
        "step_m": 0.75,
        "heights_m": [0.3, 1.5],
        "projectors": ["standard", "laser", "short throw"],
        "need_contrast": 5,
        "need_coverage": 0.6,
    }
    return make(data)


def found_in(house: House, **how: Any) -> SearchResult:
    return search(house, build_scene(house), **how)


def test_the_kernel_agrees_with_the_exact_reckoning(wide: House) -> None:
    scene = build_scene(wide)
    result = search(wide, scene, count=9)
    assert len(result.best) == 9
    for candidate in result.best:
        exact = check_rig(scene, candidate.rig, step_m=0.05)
        parts = [part for part in exact.parts if candidate.section in (WHOLE, part.surface.section)]
        watched = [part.seen.plane.intersection(scene.watched[part.surface.name]) for part in parts]
        light, contrast = [], []
        for part, shape in zip(parts, watched, strict=True):
            maps = part.maps
            u = maps.left_m + maps.step_m * (np.arange(maps.lit.shape[1]) + 0.5)
            v = maps.bottom_m + maps.step_m * (np.arange(maps.lit.shape[0]) + 0.5)
            inside = maps.lit & shapely.contains_xy(shape, *np.meshgrid(u, v))
            light.append(maps.illuminance_lx[inside])
            contrast.append(maps.contrast[inside])
        lit = sum(shape.area for shape in watched)
        lux = np.concatenate(light).mean()
        assert candidate.lit_m2 == pytest.approx(lit, rel=0.05)
        assert candidate.mean_lx == pytest.approx(lux, rel=0.03)
        assert candidate.contrast == pytest.approx(np.exp(np.log(np.concatenate(contrast)).mean()), rel=0.03)
        assert 1.0 - candidate.wasted == pytest.approx(lit * lux / exact.output.light_lm, abs=0.03)


def test_a_class_that_was_taken_as_a_rig_is_tried_once(data: dict[str, Any], make: Make) -> None:
    data["site"]["search"] = {"projectors": ["laser", "standard"]}
    laser = PROJECTOR_CLASSES["laser"].model_copy(update={"throw_ratio": 1.7})
    data["rig"].append({"name": "laser", "projector": laser.model_dump(mode="json", exclude_none=True)})
    tried = projectors_to_try(make(data))
    assert [label for label, _ in tried] == ["office projector", "laser", "standard"]
    assert tried[1][1].throw_ratio == 1.7  # as it is in the house file, at the zoom that was taken


def test_wall_that_nobody_sees_needs_no_light(house: House) -> None:
    scene = build_scene(house)
    seen = scene.watched["wall"]
    assert seen.area < scene.parts[0].shape.area
    from_the_gate = seen_by_eye(np.array([4.0, 1.6, 10.0]), scene.parts[0], scene.blockers)
    assert seen.symmetric_difference(from_the_gate).area == pytest.approx(0.0, abs=1e-9)


def test_the_aim_holds_the_whole_section_when_the_zoom_can(data: dict[str, Any], make: Make) -> None:
    data["site"].pop("obstacle")
    data["site"]["zone"] = [{"name": "far", "kind": "lawn", "ground_m": [[0, 16], [12, 16], [12, 30], [0, 30]]}]
    data["rig"][0]["projector"].update(throw_ratio=1.3, throw_range=[0.8, 2.5])
    house = make(data)
    scene = build_scene(house)
    result = search(house, scene, count=4)
    for candidate in result.best:
        if candidate.section != WHOLE:
            continue
        device = candidate.rig.device()
        assert device is not None
        corners = np.concatenate([p.world(np.array(p.outline.exterior.coords)) for p in scene.parts])
        pixels = device.project(corners)
        assert (pixels > -0.5).all()
        assert (pixels[:, 0] < 1919.5).all()
        assert (pixels[:, 1] < 1079.5).all()
        # ... and no larger than that: the section fills the picture in one direction.
        filled = np.ptp(pixels, axis=0) / (1920, 1080)
        assert filled.max() == pytest.approx(0.99, abs=0.01)


def test_lens_shift_is_used_before_the_projector_is_turned(data: dict[str, Any], make: Make) -> None:
    data["rig"][0]["projector"].update(
        lens_shift=[0.0, 0.0], shift_range_x=[-1.5, 1.5], shift_range_y=[-1.5, 1.5], throw_range=[0.5, 3.0]
    )
    for candidate in found_in(make(data)).best:
        assert candidate.rig.stand is not None
        assert (candidate.rig.stand.yaw_deg, candidate.rig.stand.tilt_deg) == (0.0, 0.0)


def test_a_wall_beyond_the_focus_range_is_less_sharp(data: dict[str, Any], make: Make) -> None:
    # From 6 m away on, about square on, a lens that focuses to 1.5 m at most blurs all of the front.
    data["site"]["search"] = {"step_m": 1.5, "need_contrast": 1, "sections": ["whole"]}
    found = found_in(make(data))
    sharp = found.trials[0].results
    data["rig"][0]["projector"]["focus_range_m"] = [0.5, 1.5]
    blurred = found_in(make(data)).trials[0].results
    lit = (sharp[:, k.COVERAGE] > 0.0) & (found.stands[:, 2] > 6.0) & (np.abs(sharp[:, k.YAW]) < 0.5)
    assert lit.sum() > 20
    assert (blurred[lit, k.SHARPNESS] < 0.9 * sharp[lit, k.SHARPNESS]).all()
    assert blurred[:, k.COVERAGE] == pytest.approx(sharp[:, k.COVERAGE])


def test_settings_stay_within_the_data_sheet(wide: House) -> None:
    for candidate in found_in(wide, count=9).best:
        sheet = PROJECTOR_CLASSES.get(candidate.label, wide.rig[0].projector)
        used = candidate.rig.projector
        low, high = sheet.throw_range or (sheet.throw_ratio,) * 2
        assert low <= used.throw_ratio <= high
        low, high = sheet.shift_range_y or (sheet.lens_shift[1],) * 2
        assert low - 1e-4 <= used.lens_shift[1] <= high + 1e-4


def test_the_best_come_in_order_and_good_ones_first(wide: House) -> None:
    best = found_in(wide, count=8).best
    ranks = [(candidate.meets, candidate.score) for candidate in best]
    assert ranks == sorted(ranks, reverse=True)
    assert any(candidate.meets for candidate in best)


def test_a_score_is_the_weighted_mean_of_its_criteria(wide: House) -> None:
    share = weights(Weights(coverage=1, contrast=2, sharpness=0, waste=0, obstruction=0, cable=1))
    assert share.sum() == pytest.approx(1.0)
    assert share.tolist() == [0.25, 0.5, 0.0, 0.0, 0.0, 0.25]
    scene = build_scene(wide)
    used = dict(zip(CRITERIA, weights(scene.site.search.weights), strict=True))
    for candidate in found_in(wide).best:
        assert candidate.score == pytest.approx(sum(used[name] * part for name, part in candidate.parts.items()))
        assert all(0.0 <= part <= 1.0 for part in candidate.parts.values())


def test_weights_change_the_ranking(data: dict[str, Any], make: Make) -> None:
    nothing = dict.fromkeys(CRITERIA, 0.0)
    first = {}
    for name in ("coverage", "contrast", "cable"):
        data["site"]["search"] = {
            "step_m": 1.0,
            "need_coverage": 0,
            "need_contrast": 1,
            "weights": {**nothing, name: 1},
        }
        first[name] = found_in(make(data)).best[0]
    assert first["coverage"].lit_m2 > first["contrast"].lit_m2
    assert first["contrast"].contrast > first["coverage"].contrast
    assert first["cable"].cable_m == min(c.cable_m for c in first.values())


def test_no_member_of_the_pareto_front_beats_another(wide: House) -> None:
    front = found_in(wide).pareto
    values = np.array([(c.lit_m2, math.log(c.contrast), c.sharpness) for c in front])
    assert len(front) > 5
    for value in values:
        # Members are told apart in steps of 0.5 m2, 5 % and 0.05; a whole step in all three is a win.
        assert not ((values - value) > STEP).all(axis=1).any()


def test_nothing_searched_beats_the_front(wide: House) -> None:
    result = found_in(wide)
    scene = build_scene(wide)
    front = np.array([(c.lit_m2, math.log(c.contrast), c.sharpness) for c in result.pareto])
    for trial in result.trials:
        area = sum(scene.watched[part.name].area for part in scene.section(trial.section))
        r = trial.results
        tried = np.column_stack([r[:, k.COVERAGE] * area, r[:, k.LOG_CONTRAST], r[:, k.SHARPNESS]])
        for value in tried[r[:, k.COVERAGE] > 0][::37]:
            assert (front >= value - STEP).all(axis=1).any()


def test_stands_keep_off_what_is_forbidden(wide: House) -> None:
    places = stand_places(build_scene(wide))
    x, y, z = places.T
    assert (z < 11.0).all()  # the road begins there
    assert not ((x > 1.8) & (x < 2.6) & (z > 4.8) & (z < 5.6)).any()  # the tree
    assert not ((x > 7.6) & (z < 2.5)).any()  # the garage and some room before it
    assert set(y) == {0.3, 1.5}


def test_ground_beside_and_behind_the_wall_plane_is_not_tried(data: dict[str, Any], make: Make) -> None:
    data["site"]["zone"] = [{"name": "lawn", "kind": "lawn", "ground_m": [[-9, -9], [20, -9], [20, 9], [-9, 9]]}]
    data["site"]["search"] = {"step_m": 1.0}
    house = make(data)
    assert (stand_places(build_scene(house))[:, 2] > 0.0).all()
    assert found_in(house).best


def test_a_forbidden_zone_wins_over_an_allowed_one(data: dict[str, Any], make: Make) -> None:
    data["site"]["zone"].append({"name": "bed", "kind": "bed", "ground_m": [[3, 4], [6, 4], [6, 8], [3, 8]]})
    grid = ground_grid(build_scene(make(data)), 0.25)
    assert not ((grid[:, 0] > 3) & (grid[:, 0] < 6) & (grid[:, 1] > 4) & (grid[:, 1] < 8)).any()


def test_no_ground_at_all_is_told(data: dict[str, Any], make: Make) -> None:
    data["site"]["zone"] = [{"name": "road", "kind": "road", "ground_m": [[-90, 0], [90, 0], [90, 90], [-90, 90]]}]
    with pytest.raises(InputError, match=r"site\.zone leaves no ground"):
        found_in(make(data))


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"projectors": ["lazer"]}, r"unknown projector class 'lazer'; did you mean 'laser'"),
        ({"sections": ["garrage"]}, r"no part has the section 'garrage'; did you mean 'garage'"),
        ({"heights_m": [0.0]}, r"heights_m must be more than 0 m"),
    ],
)
def test_wrong_search_settings_are_told(data: dict[str, Any], make: Make, settings: dict[str, Any], said: str) -> None:
    data["site"]["search"] = settings
    with pytest.raises(InputError, match=said):
        found_in(make(data))


def test_the_sentence_names_what_decides(wide: House) -> None:
    scene = build_scene(wide)
    first, *_ = found_in(wide).best
    second = replace(first, parts={**first.parts, "contrast": 0.1, "cable": 1.0}, contrast=2.0, cable_m=1.0)
    assert why_first(first, second, scene).startswith("The first is better for contrast (")
    assert "though not for cable" in why_first(first, second, scene)
    assert "as good as each other" in why_first(first, first, scene)
    poor: Candidate = replace(first, meets=False)
    assert "does not" in why_first(replace(first, meets=True), poor, scene)


def test_what_would_help_in_the_dark_of_a_weak_projector(data: dict[str, Any], make: Make) -> None:
    data["site"]["search"] = {"step_m": 1.0, "need_contrast": 60.0, "need_coverage": 0.7, "sections": ["whole"]}
    data["rig"][0]["projector"].update(throw_ratio=0.8, contrast=2000)
    house = make(data)
    scene = build_scene(house)
    (advice,) = what_would_help(house, scene, search(house, scene))
    assert "60:1 is needed" in advice.short
    more = next(step for step in advice.steps if step.startswith("More light: about"))
    # Taking that advice must work: the same search with that many lumens finds a stand.
    data["rig"][0]["projector"]["light_lm"] = float(more.split()[3]) * 1.05
    bright = make(data)
    assert any(trial.meets.any() for trial in found_in(bright).trials)


def test_what_would_help_a_long_throw(data: dict[str, Any], make: Make) -> None:
    data["site"]["search"] = {"step_m": 1.0, "need_contrast": 2.0, "need_coverage": 0.95, "sections": ["house"]}
    data["site"].pop("obstacle")
    data["rig"][0]["projector"]["throw_ratio"] = 2.5
    house = make(data)
    scene = build_scene(house)
    (advice,) = what_would_help(house, scene, search(house, scene))
    shorter = next(step for step in advice.steps if step.startswith("A shorter throw"))
    data["rig"][0]["projector"]["throw_ratio"] = float(shorter.split()[6])
    assert found_in(make(data)).best[0].coverage > 0.93


def test_two_projectors_help_where_one_is_too_narrow(data: dict[str, Any], make: Make) -> None:
    # Room for half the front from anywhere, never for all of it.
    data["facade"]["part"] = [{"name": "wall", "rectangle": [0, 0, 12, 3.2], "reflectance": 0.7}]
    data["site"]["zone"] = [{"name": "lawn", "kind": "lawn", "ground_m": [[0, 8], [12, 8], [12, 9], [0, 9]]}]
    data["site"].pop("obstacle")
    data["site"]["search"] = {"step_m": 0.5, "need_contrast": 5.0, "need_coverage": 0.95}
    data["rig"][0]["projector"].update(throw_ratio=1.2, lens_shift=[0, 0])
    house = make(data)
    scene = build_scene(house)
    (advice,) = what_would_help(house, scene, search(house, scene))
    assert any(step.startswith("Two projectors") for step in advice.steps)


def test_only_a_smaller_section_is_called_smaller(data: dict[str, Any], make: Make) -> None:
    data["site"]["search"] = {"step_m": 1.0, "need_contrast": 20.0, "need_coverage": 0.7}
    house = make(data)
    scene = build_scene(house)
    (advice,) = what_would_help(house, scene, search(house, scene))
    assert advice.section == "whole"
    assert advice.steps[0] == "Light a smaller section: a stand that serves 'garage' or 'house' was found."


def test_projector_classes_are_in_the_kernels_columns() -> None:
    for name, projector in PROJECTOR_CLASSES.items():
        row = projector_row(projector)
        assert np.isfinite(row).all(), name
        assert row[k.THROW_MIN] <= row[k.THROW_MAX]
        assert row[k.SHIFT_DOWN] <= row[k.SHIFT_UP]


def test_samples_stand_for_the_whole_area(house: House) -> None:
    scene = build_scene(house)
    table = section_table(WHOLE, scene)
    assert table.samples[:, 9].sum() == pytest.approx(table.area_m2)
    assert table.area_m2 == pytest.approx(sum(shape.area for shape in scene.watched.values()))
