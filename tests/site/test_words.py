"""Words on drawings: over a grid of sites none meets another, leaves the paper or lies on a black line."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import pytest
import shapely

from limewash.demo.job import project_house
from limewash.project.models import House
from limewash.site.canvas import Shape, Sheet, overlaps
from limewash.site.draw_elevation import draw_elevation
from limewash.site.draw_eye import draw_eye
from limewash.site.draw_plan import draw_plan
from limewash.site.draw_section import draw_section
from limewash.site.drawings import all_drawings
from limewash.site.placement import check_rig
from limewash.site.projector_classes import PROJECTOR_CLASSES
from limewash.site.scene import build_scene
from limewash.site.words import Words
from limewash.studio.routes.site import SCREEN_MM
from limewash.world.model import read_house
from limewash.world.virtual import HOUSES, VirtualHouse

Make = Callable[[dict[str, Any]], House]
GRID = list(itertools.product(("metric", "imperial"), ("pocket", "standard", "large laser"), (2.5, 6.1, 9.0)))


def on_black_lines(sheet: Sheet) -> list[str]:
    lines, weights = Words(sheet)._drawn_lines()
    boxes = {label.text: shapely.Polygon(label.corners_mm()) for label in sheet.labels}
    return [text for text, box in boxes.items() if shapely.intersects(lines[weights >= 1.0], box).any()]


@pytest.mark.parametrize(("units", "projector", "x_m"), GRID)
def test_words_stay_off_words_lines_and_the_paper_edge(
    data: dict[str, Any], make: Make, units: str, projector: str, x_m: float
) -> None:
    data["site"]["units"] = units
    rig = data["rig"][0]
    rig["projector"] = PROJECTOR_CLASSES[projector].model_dump(mode="json", exclude_none=True)
    rig["stand"].update(x_m=x_m)
    house = make(data)
    scene = build_scene(house)
    placement = check_rig(scene, house.rig[0])
    sheets = {
        "plan": draw_plan(placement, scene),
        "section": draw_section(placement, scene),
        "front": draw_elevation(placement, scene),
        "view": draw_eye(placement),
        "card's plan": draw_plan(placement, scene, size_mm=(186.0, 88.0)),
    }
    for name, sheet in sheets.items():
        assert overlaps(sheet.labels) == [], name
        paper = shapely.box(0, 0, sheet.width_mm, sheet.height_mm)
        assert all(paper.covers(shapely.Polygon(label.corners_mm())) for label in sheet.labels), name
        assert on_black_lines(sheet) == [], name


@pytest.mark.parametrize("name", HOUSES)
def test_words_of_the_demo_houses_stay_off_lines(name: str) -> None:
    house = project_house(VirtualHouse(read_house(name), camera_size=(1920, 1080), projector_size=(1920, 1080)))
    scene = build_scene(house)
    placement = check_rig(scene, house.rig[0])
    sheets = all_drawings(placement, scene)
    for which in ("plan", "section", "front", "projector-view"):
        assert on_black_lines(sheets[which]) == [], which
    on_screen = (draw_elevation(placement, scene, size_mm=SCREEN_MM), draw_eye(placement, size_mm=SCREEN_MM))
    assert [on_black_lines(sheet) for sheet in on_screen] == [[], []]


def test_words_go_further_to_stand_clear_of_a_black_line() -> None:
    sheet = Sheet(100.0, 100.0)
    sheet.line((10.0, 50.0), (90.0, 50.0))
    for x in (30.0, 70.0):
        sheet.line((x, 20.0), (x, 80.0))
    label = Words(sheet).put([(30.0, 51.0), (50.0, 45.0)], "a post", lead_to=(30.0, 50.0))
    assert label is not None
    assert (label.x_mm, label.y_mm) == (50.0, 45.0)
    assert isinstance(sheet.items[-2], Shape)  # the line that leads back


def test_a_name_moves_to_a_piece_of_its_area_that_no_line_cuts() -> None:
    sheet = Sheet(100.0, 100.0)
    sheet.line((50.0, 0.0), (50.0, 100.0))
    label = Words(sheet).name(shapely.box(20, 40, 80, 60), "garage")
    assert label is not None
    assert not shapely.Polygon(label.corners_mm()).intersects(shapely.LineString([(50, 0), (50, 100)]))
