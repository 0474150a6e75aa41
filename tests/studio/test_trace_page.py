"""The trace page in a real browser, with real clicks and keys."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from drawing import Drawing
from front import PROJECTOR, WINDOW, to_projector
from screenshot import shot
from waiting import until

from limewash.facade.tracing import Kind
from limewash.geometry.path import Arc, Line
from limewash.geometry.path_flatten import flatten

if TYPE_CHECKING:
    pass


@pytest.fixture
def drawing(window: Any, studio: Any) -> Drawing:
    return Drawing(window().open("/trace"), studio)


def corners(item: Any) -> np.ndarray:
    return np.array([segment.start for segment in item.path.segments])


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1440, 900), (390, 844)])
def test_it_fits_the_window(window: Any, studio: Any, width: int, height: int) -> None:
    drawing = Drawing(window(width, height).open("/trace"), studio)
    assert drawing.page.evaluate("document.documentElement.scrollWidth") <= width
    if width > 800:
        assert drawing.page.evaluate("document.querySelector('#page').scrollHeight") <= height
    names = drawing.page.locator(".drawn-row").all_inner_texts()
    assert names == ["Kitchen", "Half-round", "roof"]


def test_the_half_round_window_from_click_to_light(drawing: Drawing, window: Any, studio: Any) -> None:
    """Drawn with three rough clicks, undone, redone, reloaded, and seen on the projector page on the right pixels."""
    drawing.page.get_by_role("option", name="Half-round").click()
    drawing.key("Delete")
    until(lambda: "half-round" not in drawing.paths, "taken out")
    drawing.key("h", "1")
    for x, y in ((421.2, 301.4), (538.9, 299.1), (481.0, 241.5)):
        drawing.click(x, y)
    made = drawing.look_for("window-2")
    assert isinstance(made.path.segments[0], Arc)
    round_part = flatten(made.path, tolerance_px=0.02, step_px=1.0).points
    off = np.abs(np.hypot(*(round_part[round_part[:, 1] < 296] - (480.0, 300.0)).T) - 60.5)
    assert np.sqrt((off**2).mean()) < 0.6
    drawing.key("Control+z")
    until(lambda: "window-2" not in drawing.paths, "undone")
    drawing.key("Control+Shift+Z")
    drawing.look_for("window-2")
    drawing.page.reload()
    drawing = Drawing(drawing.page, studio)
    assert drawing.page.get_by_role("option", name="Window 2").count() == 1

    beam = window(*PROJECTOR).open("/projector")
    beam.request.put(studio.address + "/api/projector/look", data={"line_px": 1, "colour": "#ffffff"})
    drawing.page.get_by_role("button", name="On the house").last.click()
    until(lambda: shot(beam).max() > 0, "light on the house")
    lit = shot(beam)[..., 1].astype(float)
    spots = to_projector(round_part[(round_part[:, 1] < 294)])
    for x, y in spots[:: len(spots) // 12]:
        column = lit[:, round(x)]
        rows = np.arange(len(column))
        near = np.abs(rows - y) < 3.0
        assert column[near].sum() > 120, f"no light at ({x:.1f}, {y:.1f})"


def test_a_dragged_corner_is_seen_on_the_house_before_it_is_let_go(drawing: Drawing, window: Any, studio: Any) -> None:
    beam = window(*PROJECTOR).open("/projector")
    drawing.key("p")
    until(lambda: shot(beam).max() > 0, "light on the house")
    drawing.click(262, 370)  # on the left side of the kitchen window
    until(lambda: drawing.page.locator("[aria-selected=true]").count() == 1, "in hand")
    x, y = drawing.at(260, 300)
    drawing.page.mouse.move(x, y)
    drawing.page.mouse.down()
    target = drawing.at(240, 285)
    drawing.page.keyboard.down("Alt")
    drawing.page.mouse.move(*target, steps=6)
    px, py = to_projector([(240.0, 285.0)])[0]

    def shines() -> bool:
        picture = shot(beam)[..., 1]
        return bool(picture[round(py) - 2 : round(py) + 3, round(px) - 2 : round(px) + 3].max() > 100)

    until(shines, "the corner on the house")
    assert corners(drawing.paths["window-1"])[0].tolist() == [260.0, 300.0], "not a step yet"
    drawing.page.mouse.up()
    drawing.page.keyboard.up("Alt")
    until(lambda: corners(drawing.paths["window-1"])[0].tolist() != [260.0, 300.0], "a step")
    np.testing.assert_allclose(corners(drawing.paths["window-1"])[0], (240, 285), atol=0.6)


def test_two_rough_clicks_make_a_rectangle_on_its_edges(drawing: Drawing) -> None:
    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.key("Delete", "r", "1")
    until(lambda: "window-1" not in drawing.paths, "taken out")
    drawing.click(261.5, 302.0)
    drawing.click(338.6, 441.4)
    made = drawing.look_for("window-2")
    # The dark box covers pixels 260 to 340: its edges are half a pixel further out than the corners' centres.
    left, top, right, bottom = WINDOW[0][0] - 0.5, WINDOW[0][1] - 0.5, WINDOW[2][0] + 0.5, WINDOW[2][1] + 0.5
    np.testing.assert_allclose(corners(made), [(left, top), (right, top), (right, bottom), (left, bottom)], atol=0.15)
    assert made.kind is Kind.WINDOW and made.is_area


def test_all_that_is_drawn_settles_in_one_step(drawing: Drawing) -> None:
    """The window and the half-round are pushed off their edges; nothing is in hand; one button puts both back."""
    true = {item.id: corners(item) for item in drawing.paths.values() if item.title in ("Kitchen", "Half-round")}
    for name, places in true.items():
        drawing.page.get_by_role("option", name=drawing.paths[name].title).click()
        drawing.page.locator("trace-board").focus()
        drawing.key("ArrowRight", "ArrowRight", "ArrowDown")
        until(lambda n=name, p=places: (corners(drawing.paths[n])[0] == p[0] + (2.0, 1.0)).all(), "moved")
    drawing.key("Escape")
    moved = drawing.paths
    drawing.page.get_by_role("button", name="Settle all").click()
    until(lambda: all(drawing.paths[n] != moved[n] for n in true), "settled", seconds=20.0)
    for name, places in true.items():
        # The picture's filled openings reach half a pixel further than their drawn corners.
        np.testing.assert_allclose(corners(drawing.paths[name]), places, atol=0.9)
    drawing.key("Control+z")
    until(lambda: all(drawing.paths[n] == moved[n] for n in true), "both put back by one undo")


def test_lines_open_and_closed(drawing: Drawing) -> None:
    drawing.key("l", "9", "g", "Shift+S")  # keep dark; nothing catches, nothing settles
    for x, y in ((600, 450), (700, 455), (650, 540)):
        drawing.click(x, y)
    drawing.click(600, 450)
    dark = drawing.look_for("keep-dark-1")
    assert dark.is_area and len(dark.path.segments) == 3
    drawing.key("4")
    for x, y in ((600, 200), (700, 180), (740, 210)):
        drawing.click(x, y)
    drawing.key("Backspace", "Enter")
    line = drawing.look_for("roof-line-1")
    assert not line.is_area and len(line.path.segments) == 1 and isinstance(line.path.segments[0], Line)


def test_the_keyboard_alone_moves_a_corner(drawing: Drawing) -> None:
    drawing.page.get_by_role("option", name="Kitchen").focus()
    drawing.key("Enter", "n", "ArrowRight", "Shift+ArrowDown", "Alt+ArrowLeft")
    until(lambda: corners(drawing.paths["window-1"])[0].tolist() == [260.75, 310.0], "nudged")
    assert corners(drawing.paths["window-1"])[1].tolist() == [340.0, 300.0]
    drawing.key("Delete")
    until(lambda: len(drawing.paths["window-1"].path.segments) == 3, "corner taken out")


def test_a_lock_keeps_a_path_where_it_is(drawing: Drawing) -> None:
    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.key("k", "ArrowRight", "Delete")
    until(lambda: drawing.paths["window-1"].locked, "locked")
    drawing.page.wait_for_timeout(300)
    assert corners(drawing.paths["window-1"])[0].tolist() == [260.0, 300.0]
    drawing.page.reload()
    drawing.page.wait_for_selector("body[data-ready=true]")
    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.key("ArrowRight", "Delete")
    drawing.page.wait_for_timeout(300)
    assert corners(drawing.paths["window-1"])[0].tolist() == [260.0, 300.0]
    drawing.key("k")
    until(lambda: not drawing.paths["window-1"].locked, "free")
    drawing.key("ArrowRight")
    until(lambda: corners(drawing.paths["window-1"])[0].tolist() == [261.0, 300.0], "free again")


def test_kind_name_and_group_are_changed(drawing: Drawing) -> None:
    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.page.get_by_role("radio", name="Door", exact=True).click()
    until(lambda: drawing.paths["window-1"].kind is Kind.DOOR, "a door")
    name = drawing.page.get_by_role("textbox", name="Name")
    name.fill("Front door")
    name.press("Enter")
    until(lambda: drawing.paths["window-1"].title == "Front door", "named")


def test_a_group_outlives_a_reload_and_is_taken_as_one(drawing: Drawing) -> None:
    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.page.get_by_role("option", name="Half-round").click(modifiers=["Shift"])
    group = drawing.page.get_by_role("textbox", name="Group")
    group.fill("Kitchen side")
    group.press("Enter")
    until(lambda: {p.group for p in drawing.paths.values()} == {"Kitchen side", ""}, "gathered")
    drawing.page.reload()
    drawing.page.wait_for_selector("body[data-ready=true]")
    drawing.page.get_by_role("button", name="Kitchen side 2").click()
    drawing.key("ArrowRight")
    until(lambda: corners(drawing.paths["window-1"])[0].tolist() == [261.0, 300.0], "both moved")
    until(lambda: drawing.paths["half-round"].path.start == (421.0, 300.0), "both moved")


def test_a_row_of_windows_by_repeating(drawing: Drawing) -> None:
    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.page.get_by_role("spinbutton", name="How many copies").fill("2")
    drawing.key("Tab")
    drawing.page.get_by_role("button", name="Repeat", exact=True).click()
    drawing.click(260.5, 300.5)
    drawing.key("g")
    drawing.click(380, 300)
    until(lambda: len(drawing.paths) == 5, "two copies")
    first = corners(drawing.paths["window-2"])
    # The photo's own directions are nearly level and plumb here, so the copy is nearly a plain shift.
    np.testing.assert_allclose(first - corners(drawing.paths["window-1"]), np.tile([120.0, 0.0], (4, 1)), atol=8.0)


def test_another_window_follows_and_nothing_is_overwritten_unseen(window: Any, studio: Any) -> None:
    mine = window()
    drawing = Drawing(mine.open("/trace"), studio)
    other = Drawing(window().open("/trace"), studio)
    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.key("ArrowRight")
    until(lambda: corners(drawing.paths["window-1"])[0][0] == 261.0, "moved")
    other.page.get_by_role("option", name="Kitchen").click()
    until(lambda: other.page.locator("input[name=x]").input_value() == "261", "seen in the other window")
    other.key("ArrowRight")
    until(lambda: corners(other.paths["window-1"])[0][0] == 262.0, "moved on from there")

    # One drags, the other moves the same thing meanwhile: the drag is refused when it ends, and says so.
    until(lambda: drawing.page.locator("input[name=x]").input_value() == "262", "seen here")
    mouse = drawing.page.mouse
    mouse.move(*drawing.at(262, 300))
    mouse.down()
    mouse.move(*drawing.at(230, 280), steps=4)
    until(lambda: studio.desk.tracing.shown != studio.desk.tracing.tracing, "dragged")
    other.page.get_by_role("option", name="Kitchen").click()
    other.key("k")
    until(lambda: other.paths["window-1"].locked, "locked meanwhile")
    mouse.up()
    drawing.page.get_by_text("changed in another window meanwhile").wait_for()
    assert corners(drawing.paths["window-1"])[0].tolist() == [262.0, 300.0]
    assert studio.desk.tracing.shown == studio.desk.tracing.tracing, "nor does it stay on the house"
    mine.said.clear()  # the browser reports the refused request


def test_a_known_length_and_the_keys_outlive_a_reload(drawing: Drawing) -> None:
    drawing.key("g", "m")
    drawing.click(260, 300)
    drawing.click(340, 300)
    length = drawing.page.get_by_role("textbox", name="Length in metres")
    length.fill("1.2")
    # The page is left before what was said can have been answered, as by a quick hand.
    with drawing.page.expect_event("load"):
        length.evaluate("input => { input.form.requestSubmit(); location.reload(); }")
    drawing.page.wait_for_selector("body[data-ready=true]")
    drawing.page.get_by_role("option", name="Kitchen").click()
    until(lambda: drawing.page.locator(".sizes").inner_text().startswith("1.20 "), "the length is known")
    drawing.key("?")
    rows = drawing.page.evaluate(
        "[...document.querySelectorAll('dialog dt')].map(dt => [...dt.children].map(k => k.textContent))"
    )
    assert rows[:3] == [["?"], ["Ctrl", "Z"], ["Ctrl", "Shift", "Z"]], "in the order in which they were thought of"
    assert ["←", "↑", "→", "↓"] in rows and ["+"] in rows
    assert all(key.strip() for row in rows for key in row)


def test_what_is_told_while_the_page_is_made_is_not_missed(drawing: Drawing) -> None:
    told = {"length": {"from_px": [260, 300], "to_px": [340, 300], "length_m": 1.2}}

    def tell_meanwhile(route: Any) -> None:
        answer = route.fetch()
        assert drawing.page.request.put(route.request.url, data=told).ok
        route.fulfill(response=answer)

    drawing.page.route("**/api/trace/wall", tell_meanwhile, times=1)
    drawing.page.reload()
    drawing.page.wait_for_selector("body[data-ready=true]")
    drawing.page.get_by_role("option", name="Kitchen").click()
    until(lambda: drawing.page.locator(".sizes").inner_text().startswith("1.20 "), "heard of it")


def test_an_svg_from_elsewhere_is_taken_in(drawing: Drawing, tmp_path: Path) -> None:
    path = tmp_path / "mine.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 960 720">'
        '<path id="garage_door" d="M100 100 h80 v60 h-80 z"/></svg>'
    )
    with drawing.page.expect_file_chooser() as chooser:
        drawing.page.get_by_role("button", name="Take in a drawing").click()
    chooser.value.set_files(path)
    until(lambda: [item.kind for item in drawing.paths.values()] == [Kind.GARAGE], "taken in")
    until(lambda: drawing.page.get_by_role("option").count() == 1, "seen on the page")
    drawing.key("Control+z")
    until(lambda: len(drawing.paths) == 3, "brought back")


def test_zooming_keeps_the_place_and_reaches_single_pixels(drawing: Drawing) -> None:
    x, y = (round(v) for v in drawing.at(260, 300))  # a wheel's events have whole pixels
    (x0, y0), (x1, y1) = drawing.at(0, 0), drawing.at(1, 1)
    under = ((x - x0) / (x1 - x0), (y - y0) / (y1 - y0))
    drawing.page.mouse.move(x, y)
    for _ in range(14):
        drawing.page.mouse.wheel(0, -240)
    until(lambda: drawing.page.evaluate("document.querySelector('trace-board').view.scale") > 20, "zoomed")
    drawing.page.wait_for_timeout(400)  # it is drawn at its best a little later
    np.testing.assert_allclose(drawing.at(*under), (x, y), atol=0.5)
    picture = shot(drawing.page)
    inside, outside = drawing.at(263, 303), drawing.at(257, 297)
    assert picture[round(inside[1]), round(inside[0])].max() < 80
    assert picture[round(outside[1]), round(outside[0])].max() > 150


def test_a_wire_follows_the_edge(drawing: Drawing) -> None:
    drawing.key("w", "4")
    drawing.click(160, 240)
    x, y = drawing.at(478, 111)
    drawing.page.mouse.move(x - 3, y)
    drawing.page.mouse.move(x, y)
    drawing.page.wait_for_timeout(1500)
    drawing.page.mouse.click(x, y)
    drawing.key("Enter")
    made = drawing.look_for("roof-line-1")
    points = flatten(made.path, tolerance_px=0.1, step_px=4.0).points
    off = np.abs((points - (160, 240)) @ np.array([130.0, 320.0]) / np.hypot(130.0, 320.0))
    assert np.median(off) < 1.5


def test_lengths_and_places_may_be_written_with_a_comma(drawing: Drawing, client: Any) -> None:
    drawing.page.get_by_role("option", name="Kitchen").click()
    place = drawing.page.locator("input[name=x]")
    place.focus()
    drawing.key("Control+a")
    drawing.page.keyboard.type("262,5")
    drawing.key("Tab")
    until(lambda: drawing.paths["window-1"].path.start[0] == 262.5, "moved there")
    drawing.page.locator("trace-board").focus()
    drawing.key("g", "m")
    drawing.click(600, 300)
    drawing.click(700, 300)
    drawing.page.get_by_label("Length in metres").focus()
    drawing.key("Control+a")
    drawing.page.keyboard.type("1,25")
    drawing.key("Enter")
    until(lambda: client.get("/api/trace/wall").json()["told"]["length"], "the length told")
    assert client.get("/api/trace/wall").json()["told"]["length"]["length_m"] == 1.25


def test_undo_in_the_middle_of_a_drag_leaves_nothing_of_it(drawing: Drawing) -> None:
    mouse = drawing.page.mouse

    def side() -> float:
        return float(corners(drawing.paths["window-1"])[0][0])

    drawing.page.get_by_role("option", name="Kitchen").click()
    drawing.page.locator("trace-board").focus()
    drawing.key("Shift+ArrowRight")
    until(lambda: side() == 270.0, "a step")
    x, y = drawing.at(270, 370)
    mouse.move(x, y)
    mouse.down()
    mouse.move(x + 40, y, steps=4)
    until(lambda: drawing.studio.desk.tracing.shown != drawing.studio.desk.tracing.tracing, "dragged")
    drawing.key("Control+z")
    until(lambda: side() == 260.0, "the step undone")
    mouse.move(x + 60, y, steps=4)
    mouse.up()
    drawing.page.wait_for_timeout(400)
    assert side() == 260.0
    assert drawing.studio.desk.tracing.shown == drawing.studio.desk.tracing.tracing


def test_what_is_drawn_while_the_studio_does_not_answer_is_kept_and_sent_later(window: Any, studio: Any) -> None:
    one = window()
    one.may_be_unanswered()
    drawing = Drawing(one.open("/trace"), studio)
    rows = drawing.page.locator(".drawn-row")
    drawing.page.route("**/api/tracing/paths", lambda route: route.abort())
    drawing.key("Shift+S", "g", "l")
    for x, y in ((600, 500), (700, 500), (650, 560)):
        drawing.click(x, y)
    drawing.key("Enter")
    until(lambda: "does not answer" in drawing.page.locator("#said").text_content(), "that nobody answers")
    assert rows.count() == 4
    drawing.page.unroute("**/api/tracing/paths")
    until(lambda: len(drawing.paths) == 4, "sent at last")
    assert rows.count() == 4


def test_the_page_is_made_anew_when_another_scan_is_chosen(drawing: Drawing, root: Path) -> None:
    desk = drawing.studio.desk
    assert desk.ground.name == "scan-1"
    shutil.copytree(root / "scans" / "scan-1", root / "scans" / "scan-2")
    with drawing.page.expect_event("load", timeout=12_000):
        desk.use_scan("scan-2")
    drawing.page.wait_for_selector("body[data-ready=true]")
