"""Shapes stay sound at whatever scale they are drawn."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from limewash.demo.job import project_house
from limewash.site.draw_eye import draw_eye
from limewash.site.placement import Placement, check_rig
from limewash.site.scene import build_scene
from limewash.site.shapes import moved
from limewash.world.model import read_house
from limewash.world.virtual import HOUSES, VirtualHouse


@pytest.fixture(params=HOUSES)
def placement(request: pytest.FixtureRequest) -> Placement:
    world = VirtualHouse(read_house(request.param), camera_size=(1920, 1080), projector_size=(1920, 1080))
    house = project_house(world)
    return check_rig(build_scene(house), house.rig[0])


def test_the_projectors_view_is_drawn_at_any_size(placement: Placement) -> None:
    """Rounding made edges that touch cross, and the union of the parts failed at a third of all sizes."""
    rng = np.random.default_rng(1)
    for size_mm in rng.uniform((60.0, 50.0), (300.0, 200.0), (20, 2)).tolist():
        assert draw_eye(placement, size_mm=tuple(size_mm)).items


def test_parts_stay_sound_and_keep_their_size_at_any_scale(placement: Placement) -> None:
    for scale in np.random.default_rng(2).uniform(0.02, 0.3, 20).tolist():
        for part in placement.parts:
            there = moved(part.seen.picture, lambda points, scale=scale: points * scale + 7.3)  # type: ignore[misc]
            assert there.is_valid
            assert there.area == pytest.approx(part.seen.picture.area * scale**2, rel=1e-9)


def test_a_bow_tie_becomes_its_two_halves() -> None:
    tied = moved(shapely.box(0, 0, 2, 2), lambda points: np.where(points[:, :1] > 1, points * (1, -1), points))
    assert tied.is_valid
    assert tied.area == pytest.approx(2.0)
