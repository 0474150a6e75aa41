"""Drawings: to scale, units on every dimension, no words on words, readable without colour."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely

from limewash.light.photometry import CONTRAST_CLASSES
from limewash.project.models import House
from limewash.site.canvas import Label, Shape, Sheet, overlaps, printable, text_width_mm, wrapped
from limewash.site.drafting import dimension, fitted, hatch
from limewash.site.draw_elevation import draw_elevation
from limewash.site.draw_eye import check_points
from limewash.site.draw_heat import BANDS, draw_heat_map
from limewash.site.draw_pareto import draw_pareto
from limewash.site.draw_plan import draw_plan
from limewash.site.drawings import all_drawings
from limewash.site.placement import Placement, check_rig
from limewash.site.scene import Scene, build_scene
from limewash.site.search import search
from limewash.site.svg_writer import svg_text
from limewash.site.words import Words

Make = Callable[[dict[str, Any]], House]
NUMBER = re.compile(r"^-?\d[\d .]*$")


def ready(house: House) -> tuple[Placement, Scene]:
    scene = build_scene(house)
    return check_rig(scene, house.rig[0]), scene


def variants(data: dict[str, Any], make: Make) -> list[House]:
    """The test house, the same in feet, and the same from a steep side with a short throw."""
    houses = [make(data)]
    data["site"]["units"] = "imperial"
    houses.append(make(data))
    data["site"]["units"] = "metric"
    data["rig"][0]["stand"].update(x_m=0.5, height_m=4.0, distance_m=7.0, yaw_deg=25.0, tilt_deg=-8.0, roll_deg=2.0)
    data["rig"][0]["projector"].update(throw_ratio=0.8)
    houses.append(make(data))
    return houses


def test_no_words_lie_on_words(data: dict[str, Any], make: Make) -> None:
    for house in variants(data, make):
        for name, sheet in all_drawings(*ready(house)).items():
            met = [(a.text, b.text) for a, b in overlaps(sheet.labels)]
            assert met == [], name


def test_all_words_are_on_the_paper(data: dict[str, Any], make: Make) -> None:
    for house in variants(data, make):
        for name, sheet in all_drawings(*ready(house)).items():
            paper = shapely.box(0, 0, sheet.width_mm, sheet.height_mm)
            for label in sheet.labels:
                assert paper.covers(shapely.Polygon(label.corners_mm())), (name, label.text)


def test_drawings_are_well_formed_svg_at_their_size_in_millimetres(house: House) -> None:
    for name, sheet in all_drawings(*ready(house)).items():
        root = ElementTree.fromstring(svg_text(sheet, title=name))
        assert root.get("width") == "277mm"
        assert root.get("viewBox") == "0 0 277 190"
        assert len(root) > 10


def test_every_dimension_has_a_unit(data: dict[str, Any], make: Make) -> None:
    # A bare number may stand only in heat maps (unit in the strip), and as pixel numbers along the picture's edge.
    for house in variants(data, make):
        for name, sheet in all_drawings(*ready(house)).items():
            bare = [label.text for label in sheet.labels if NUMBER.match(label.text)]
            if name in ("light", "contrast", "pixels"):
                assert any("numbers in" in label.text for label in sheet.labels)
            elif name == "projector-view":
                assert set(bare) <= {"960", "1919", "540", "1079"}
            else:
                assert bare == [], name


def test_feet_are_shown_where_they_are_wanted(data: dict[str, Any], make: Make) -> None:
    _, imperial, _ = variants(data, make)
    for name, sheet in all_drawings(*ready(imperial)).items():
        metric = [label.text for label in sheet.labels if re.search(r"\d m\b|\bm2\b|\blx\b|\bmm\b", label.text)]
        assert metric == [], name


def test_every_lit_spot_of_a_heat_map_has_the_grey_of_its_value(house: House) -> None:
    placement, scene = ready(house)
    sheet = draw_heat_map(placement, scene, "contrast")
    covers = [
        (shapely.Polygon(item.rings[0], item.rings[1:]), item.fill)
        for item in sheet.items
        if isinstance(item, Shape) and item.closed and item.fill is not None
    ]
    note = next(label.text for label in sheet.labels if label.text.startswith("1 : "))
    garage = placement.parts[1]
    maps, scale = garage.maps, float(note.split()[2])
    # The garage stands before the wall, so that nothing is drawn over it; its outline gives the place on the sheet.
    wide = next(c for c, _ in covers if abs(np.ptp(c.exterior.xy[0]) * scale / 1000 - 4.3) < 1e-6)
    left, _, _, bottom = wide.bounds
    rows, columns = np.nonzero(maps.lit)
    assert len(rows) > 500
    # The cells along two edges are among them: smoothing must not eat corners.
    assert (rows.max(), columns.min()) == (maps.lit.shape[0] - 1, 0)
    least = [edge for _, edge in CONTRAST_CLASSES]
    for row, column in zip(rows, columns, strict=True):
        value = maps.contrast[row, column]
        if min(abs(value / edge - 1.0) for edge in least) < 0.1:
            continue  # the edges between bands are smoothed
        u, v = (column + 0.5) * maps.step_m, (row + 0.5) * maps.step_m
        spot = shapely.Point(left + 1000 * u / scale, bottom - 1000 * v / scale)
        top = [fill for cover, fill in covers if cover.covers(spot)][-1]
        assert top == BANDS[np.searchsorted(least, value, side="right")]


def test_greys_differ_on_any_printer() -> None:
    levels = [int(band[1:3], 16) for band in BANDS]
    assert levels == sorted(levels)
    assert min(np.diff(levels)) >= 25
    assert all(band[1:3] == band[3:5] == band[5:7] for band in BANDS)


def test_the_scale_is_what_the_strip_says(house: House) -> None:
    placement, scene = ready(house)
    sheet = draw_elevation(placement, scene)
    note = next(label.text for label in sheet.labels if label.text.startswith("1 : "))
    scale = float(note.split()[2])
    widths = [np.ptp(item.rings[0][:, 0]) for item in sheet.items if isinstance(item, Shape) and item.closed]
    # The garage is 4.3 m wide.
    assert any(abs(width * scale / 1000 - 4.3) < 1e-6 for width in widths)


def test_lit_outline_on_the_elevation_is_the_exact_one(house: House) -> None:
    placement, scene = ready(house)
    sheet = draw_elevation(placement, scene)
    thick = [
        item for item in sheet.items if isinstance(item, Shape) and item.pen is not None and item.pen.width_mm >= 0.5
    ]
    note = next(label.text for label in sheet.labels if label.text.startswith("1 : "))
    scale = float(note.split()[2])
    drawn = sum(
        shapely.Polygon(item.rings[0], item.rings[1:]).area for item in thick if item.closed and len(item.rings[0]) > 2
    )
    assert drawn * (scale / 1000) ** 2 == pytest.approx(placement.lit_m2, rel=1e-6)


def test_check_points_are_the_corners_that_they_name(house: House) -> None:
    placement, _ = ready(house)
    points = check_points(placement)
    assert len(points) == 4
    for point in points:
        assert placement.device.project(point.place_m) == pytest.approx(point.pixel, abs=1e-6)
    spread = np.ptp([point.pixel for point in points], axis=0)
    assert (spread > 300).all()


def test_the_choices_are_numbered_and_marked(data: dict[str, Any], make: Make) -> None:
    data["site"]["search"] = {"step_m": 1.0, "projectors": ["standard", "laser"], "need_contrast": 5}
    house = make(data)
    result = search(house, build_scene(house))
    sheet = draw_pareto(result)
    texts = [label.text for label in sheet.labels]
    assert {str(n + 1) for n in range(len(result.best))} <= set(texts)
    assert overlaps(sheet.labels) == []
    assert any("80:1" in text for text in texts)


def test_a_small_plan_fits_a_page(house: House) -> None:
    sheet = draw_plan(*ready(house), size_mm=(186.0, 88.0))
    assert overlaps(sheet.labels) == []


def test_a_dimension_too_short_for_its_words_puts_them_beyond() -> None:
    sheet = Sheet(100.0, 100.0)
    label = dimension(sheet, (10.0, 50.0), (13.0, 50.0), "0.17 m", away_mm=5.0)
    assert label.x_mm - text_width_mm("0.17 m", label.size_mm) / 2 > 13.0
    wide = dimension(sheet, (10.0, 20.0), (60.0, 20.0), "12.00 m", away_mm=5.0)
    assert wide.x_mm == pytest.approx(35.0)


def test_hatching_stays_inside() -> None:
    sheet = Sheet(100.0, 100.0)
    ring = shapely.Point(50, 50).buffer(30).difference(shapely.Point(50, 50).buffer(12))
    hatch(sheet, ring)
    (lines,) = sheet.items
    assert isinstance(lines, Shape)
    assert len(lines.rings) > 20
    assert all(ring.buffer(1e-6).covers(shapely.LineString(line)) for line in lines.rings)


def test_words_keep_out_of_each_others_way() -> None:
    sheet = Sheet(100.0, 100.0)
    words = Words(sheet)
    words.keep_free(50.0, 70.0, 20.0, 5.0)
    assert words.put([(50.0, 50.0)], "one") is not None
    assert words.put([(50.0, 50.0)], "two") is None
    assert words.put([(50.0, 50.0), (50.0, 70.0), (50.0, 90.0)], "two") == Label(50.0, 90.0, "two", 2.5, backed=True)
    assert words.put([(99.0, 20.0)], "beyond the edge") is None


def test_words_turned_upright_keep_their_foot_to_the_right() -> None:
    # SVG 2, section 8.5: rotate(-90) takes (x, y) to (y, -x); letters stand on y = 0 and reach up to y < 0.
    label = Label(50.0, 50.0, "Hb", 10.0, "start", angle_deg=90.0)
    turned = np.array([(y, -x) for x, y in Label(0.0, 0.0, "Hb", 10.0, "start").corners_mm()])
    assert label.corners_mm() == pytest.approx(turned + 50.0)


def test_dimension_words_stand_clear_of_their_line() -> None:
    sheet = Sheet(100.0, 100.0)
    for end in ((60.0, 10.0), (10.0, 60.0), (60.0, 60.0)):
        label = dimension(sheet, (10.0, 10.0), end, "3.00 m", away_mm=0.0)
        paper = shapely.Polygon(label.corners_mm(room_mm=0.3))
        assert not paper.intersects(shapely.LineString([(10.0, 10.0), end]))


def test_words_prefer_a_place_without_lines_and_are_led_back() -> None:
    sheet = Sheet(100.0, 100.0)
    sheet.line((10.0, 50.0), (90.0, 50.0))
    words = Words(sheet)
    label = words.put([(50.0, 51.0), (50.0, 56.0)], "a post", lead_to=(50.0, 50.0))
    assert label is not None
    assert label.y_mm == 56.0
    lead = sheet.items[-2]
    assert isinstance(lead, Shape)
    assert lead.rings[0][-1] == pytest.approx((50.0, 50.0))
    # What lies under a filled shape cannot be seen, and hides nothing.
    sheet.area([[(0, 0), (100, 0), (100, 100), (0, 100)]], fill="#ffffff")
    label = words.put([(30.0, 51.0), (30.0, 56.0)], "a wall")
    assert label is not None
    assert label.y_mm == 51.0


def test_a_name_stands_inside_its_area_where_there_is_room() -> None:
    sheet = Sheet(100.0, 100.0)
    words = Words(sheet)
    wide, thin = shapely.box(10, 10, 60, 30), shapely.box(10, 60, 60, 61)
    inside = words.name(wide, "garage")
    assert inside is not None
    assert wide.covers(shapely.Polygon(inside.corners_mm()))
    beside = words.name(thin, "roof edge")
    assert beside is not None
    assert not thin.covers(shapely.Polygon(beside.corners_mm()))


def test_a_usual_scale_is_chosen_and_the_drawing_fits() -> None:
    frame = fitted((0.0, 0.0, 12.0, 7.0), (10.0, 10.0, 200.0, 100.0))
    assert frame.scale == 75
    corners = frame.at([(0.0, 0.0), (12.0, 7.0)])
    assert (corners >= 10.0).all()
    assert (corners <= (210.0, 110.0)).all()


def test_letters_that_a_pdf_font_lacks_are_replaced() -> None:
    assert printable("Łódź: naïve ½ m²") == "?ódz: naïve ½ m²"


def test_wrapping_keeps_every_word() -> None:
    text = "a set-up card says where the feet go and how high the lens stands"
    lines = wrapped(text, 30.0, 2.75)
    assert " ".join(lines) == text
    assert all(text_width_mm(line, 2.75) <= 30.0 for line in lines)
