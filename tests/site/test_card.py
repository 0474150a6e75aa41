"""The set-up card: pages, papers, words, and that the rig can be put back from it."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
import shapely

from limewash.errors import InputError
from limewash.media.images import write_image
from limewash.project.models import House
from limewash.site.canvas import Picture, Shape, overlaps
from limewash.site.card import card_pages, card_pdf
from limewash.site.card_layout import PAPERS
from limewash.site.cautions import cautions
from limewash.site.packing import packing_list
from limewash.site.placement import Placement, check_rig
from limewash.site.scene import Scene, build_scene
from limewash.site.services import services_of
from limewash.site.stand_marks import anchors, feet_of

Make = Callable[[dict[str, Any]], House]


def ready(house: House) -> tuple[House, Scene, Placement]:
    scene = build_scene(house)
    return house, scene, check_rig(scene, house.rig[0])


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_nothing_overlaps_and_all_is_on_the_paper(data: dict[str, Any], make: Make, paper: str, units: str) -> None:
    data["site"]["units"] = units
    for sheet in card_pages(*ready(make(data)), paper=paper):
        assert [(a.text, b.text) for a, b in overlaps(sheet.labels)] == []
        edge = shapely.box(5, 5, sheet.width_mm - 5, sheet.height_mm - 5)
        for label in sheet.labels:
            assert edge.covers(shapely.Polygon(label.corners_mm())), label.text


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize(
    ("name", "rig"),
    [
        ("The old school house of the village at the end of the long lane behind the mill " * 2, "main"),
        ("Ours", "the borrowed projector of the music club, on the scaffold beside the chestnut tree " * 2),
        ("The old school house of the village at the end of the long lane", "on the scaffold by the chestnut tree"),
        ("W" * 200, "W" * 200),
        ("Ours", "main"),
    ],
    ids=["house", "rig", "both", "one word", "short"],
)
def test_long_names_stay_apart_and_on_the_paper(
    data: dict[str, Any], make: Make, paper: str, name: str, rig: str
) -> None:
    data["name"], data["rig"][0]["name"] = name, rig
    for sheet in card_pages(*ready(make(data)), paper=paper):
        assert [(a.text, b.text) for a, b in overlaps(sheet.labels)] == []
        edge = shapely.box(5, 5, sheet.width_mm - 5, sheet.height_mm - 5)
        assert [label.text for label in sheet.labels if not edge.covers(shapely.Polygon(label.corners_mm()))] == []
        head, corner, *_ = sheet.labels
        assert head.text == name or (
            head.text.endswith("...") and name.startswith(head.text[:-3]) and len(head.text) > 20
        )
        assert corner.text == f"rig {rig!r}" or (corner.text.endswith("...") and corner.text.startswith("rig '"))


@pytest.mark.parametrize(("paper", "size_pt"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))])
def test_the_pdf_has_two_pages_of_the_paper(house: House, paper: str, size_pt: tuple[float, float]) -> None:
    reader = pypdf.PdfReader(io.BytesIO(card_pdf(*ready(house), paper=paper)))
    assert len(reader.pages) == 2
    for page in reader.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size_pt, abs=0.02)


def test_the_card_says_what_is_needed_to_put_the_rig_back(house: House) -> None:
    reader = pypdf.PdfReader(io.BytesIO(card_pdf(*ready(house))))
    text = " ".join(page.extract_text() for page in reader.pages)
    for words in (
        "Test house", "front left", "rear right", "both diagonals", "lens height", "1.250 m", "left of square",
        "under both front feet", "throw ratio 1.30", "+31% up", "keystone", "OFF", "picture mode", "small computer",
        "Check points", "Mind this", "Do not look into the lens", "Bring", "Each time it is put back", "point 4",
    ):  # fmt: skip
        assert words in text, words


def test_the_same_card_gives_the_same_bytes(house: House) -> None:
    assert card_pdf(*ready(house)) == card_pdf(*ready(house))


def test_the_tapes_cross_at_the_feet(house: House) -> None:
    _, scene, placement = ready(house)
    assert placement.projector.feet is not None
    marks = feet_of(placement, scene, placement.projector.feet)
    a, b = (anchor.plan_m for anchor in anchors(scene))
    for foot in marks.feet:
        # Where circles about A and B meet, by the cosine rule: another way back to the foot.
        ra, rb, ab = *foot.tapes_m, float(np.linalg.norm(b - a))
        along = (ra**2 - rb**2 + ab**2) / (2 * ab)
        aside = math.sqrt(ra**2 - along**2)
        ahead = (b - a) / ab
        back = a + along * ahead + aside * np.array([-ahead[1], ahead[0]])
        assert back == pytest.approx(foot.plan_m, abs=1e-9)
    assert marks.diagonals_m[0] == pytest.approx(marks.diagonals_m[1])
    assert marks.diagonals_m[0] == pytest.approx(math.hypot(0.25, 0.25), rel=1e-3)


def test_the_feet_turn_with_the_projector(data: dict[str, Any], make: Make) -> None:
    data["rig"][0]["stand"].update(yaw_deg=30.0, tilt_deg=0.0)
    _, scene, placement = ready(make(data))
    assert placement.projector.feet is not None
    feet = {foot.name: foot.plan_m for foot in feet_of(placement, scene, placement.projector.feet).feet}
    axis = (feet["front left"] + feet["front right"] - feet["rear left"] - feet["rear right"]) / 2
    assert math.degrees(math.atan2(axis[0], -axis[1])) == pytest.approx(30.0)
    assert feet["front right"][0] > feet["front left"][0]


def test_a_photo_shows_the_outline_where_it_was_measured(data: dict[str, Any], make: Make, tmp_path: Path) -> None:
    photo = tmp_path / "photo.png"
    write_image(photo, np.full((400, 800, 3), 90, dtype=np.uint8))
    scale, base = 50.0, 380.0
    data["facade"]["measured"] = [
        {"what": what, "wall_m": [x, y], "photo_px": [20 + scale * x, base - scale * y]}
        for what, x, y in (("a", 0, 0), ("b", 10, 0), ("c", 10, 6), ("d", 0, 6))
    ]
    pages = card_pages(*ready(make(data)), photo=photo)
    items = pages[0].items
    at = next(n for n, item in enumerate(items) if isinstance(item, Picture))
    picture, outline = items[at], items[at + 1]
    assert isinstance(picture, Picture)
    assert isinstance(outline, Shape)
    placement = ready(make(data))[2]
    wall = placement.parts[0].seen.plane.bounds
    mm = picture.width_mm / 800
    expected_left = picture.x_mm + (20 + scale * wall[0] + 0.5) * mm
    assert min(ring[:, 0].min() for ring in outline.rings) == pytest.approx(expected_left, abs=1e-3)
    data["facade"]["measured"] = data["facade"]["measured"][:3]
    plain = card_pages(*ready(make(data)), photo=photo)
    assert not any(isinstance(item, Picture) for item in plain[0].items)


def test_an_unknown_paper_is_told(house: House) -> None:
    with pytest.raises(InputError, match=r"paper must be one of a4, letter, got 'a5'"):
        card_pages(*ready(house), paper="a5")


def test_the_packing_list_has_quantities_and_lengths(house: House) -> None:
    _, scene, placement = ready(house)
    services = services_of(placement, scene)
    things = packing_list(placement, scene, services)
    assert services.power is not None
    cord = next(thing for thing in things if "extension cord" in thing.what)
    length = int(cord.what.split(", ")[1].split()[0])
    assert length >= services.power.cord_m * 1.1
    assert next(thing for thing in things if "tape measures" in thing.what).count == 2
    assert any("props" in thing.what for thing in things)


@pytest.mark.parametrize(("units", "told"), [("metric", "30.00 m"), ("imperial", "98 ft 5 in")])
def test_a_cord_that_is_there_is_packed_as_it_is(data: dict[str, Any], make: Make, units: str, told: str) -> None:
    data["site"]["units"] = units
    data["site"]["power"].update(cord_m=30.0, cord_mm2=2.5)
    _, scene, placement = ready(make(data))
    cord = next(t for t in packing_list(placement, scene, services_of(placement, scene)) if "extension" in t.what)
    assert cord.what == f"outdoor extension cord, {told}, 2.5 mm2, in one piece"


def test_what_was_assumed_is_told_on_the_card(data: dict[str, Any], make: Make) -> None:
    data["rig"][0]["projector"].pop("power_w")
    data["site"].pop("night")
    told = " ".join(label.text for label in card_pages(*ready(make(data)))[1].labels)
    assert "power_w of the projector is not given: 300 W taken" in told
    assert "an evening of 10" in told


def test_a_rig_without_feet_still_gets_a_card(data: dict[str, Any], make: Make) -> None:
    data["rig"][0]["projector"].pop("feet")
    data["site"].pop("power")
    data["site"].pop("night")
    pages = card_pages(*ready(make(data)))
    texts = [label.text for page in pages for label in page.labels]
    assert any("below the" in text for text in texts)
    assert overlaps(pages[0].labels) == []


@pytest.mark.parametrize("paper", list(PAPERS))
def test_a_site_with_much_to_mind_still_fits_the_card(data: dict[str, Any], make: Make, paper: str) -> None:
    windows = [{"name": f"their window {n}", "rectangle": [12.5, 0.3 + 0.8 * n, 1.0, 0.6]} for n in range(8)]
    walks = [
        {
            "name": f"footpath {n} behind the hedge",
            "kind": kind,
            "ground_m": [[-5, z], [20, z], [20, z + 1], [-5, z + 1]],
        }
        for n, (kind, z) in enumerate((kind, z) for kind in ("pavement", "road") for z in range(2, 14, 2))
    ]
    data["site"].update(neighbour=windows, zone=[*data["site"]["zone"], *walks])
    data["site"]["power"].update(other_load_w=4000.0, cord_m=3.0, rcd=False)
    data["rig"][0]["projector"].update(throw_ratio=0.8, focus_range_m=[1.0, 5.0], fan_clearance_m=0.4)
    data["rig"][0]["projector"].pop("power_w")
    house, scene, placement = ready(make(data))
    assert len([spill for spill in placement.spills if spill.kind == "neighbour"]) > 3
    told = " ".join(cautions(placement, scene))
    assert "more windows or walls of neighbours" in told
    for sheet in card_pages(house, scene, placement, paper=paper):
        assert overlaps(sheet.labels) == []
