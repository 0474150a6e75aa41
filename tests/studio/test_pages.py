"""The pages in a real browser: quiet, offline, in their window; forms, hand, check points, phone."""

import time
from typing import Any

import numpy as np
import pytest
from front import PROJECTOR, to_projector
from screenshot import shot
from waiting import until

from limewash.media.reading import ClipReader
from limewash.project.models import Facade, Place
from limewash.scan.pattern import plan_pattern
from limewash.studio.hand import Hand
from limewash.studio.phone_server import PhoneServer

PAGES = ["/", "/site", "/scan", "/trace/house", "/trace/settle", "/show", "/show/packet", "/night"]


def ready(page) -> None:
    page.wait_for_selector("body[data-ready]", timeout=20_000)
    page.wait_for_timeout(200)


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (390, 844)])
def test_every_page_opens_quietly_and_fits(window, desk, width: int, height: int) -> None:
    desk.house.set("rename", name="The old schoolhouse by the mill")
    one = window(width, height)
    for path in PAGES:
        page = one.open(path)
        ready(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        name, tools = (page.locator(part).bounding_box() for part in ("#bar .house", "#bar .bar-tools"))
        assert name["x"] + name["width"] <= tools["x"], path
        unnamed = page.evaluate(
            "[...document.querySelectorAll('button, a[href], input:not([type=file]), select, textarea')].filter(e =>"
            " !e.textContent.trim() && !e.getAttribute('aria-label') && !e.labels?.length && !e.title)"
            ".map(e => e.outerHTML.slice(0, 80))"
        )
        assert unnamed == [], path


def test_without_a_project_the_start_page_offers_one(window, studio, desk) -> None:
    desk.close_project()
    page = window().open("/")
    ready(page)
    page.get_by_role("button", name="New project").click()
    page.locator("#new-name").fill("By the lake")
    assert page.locator("#new-folder").input_value().endswith("/by-the-lake")
    page.locator("#new-folder").fill(str(desk.recent._file.parent / "by-the-lake"))
    page.locator("#new-size").fill("1280x800")
    page.get_by_role("button", name="Make it").click()
    page.wait_for_url("**/")
    page.get_by_role("heading", name="By the lake").wait_for()
    assert desk.project.rig.projector.size == (1280, 800)


def test_the_pattern_film_is_made_in_the_form_that_was_chosen(window, desk) -> None:
    page = window().open("/scan")
    ready(page)
    page.get_by_label("Form of the pattern").select_option("short")
    page.get_by_role("button", name="Make it").click()
    page.get_by_role("link", name="Download").wait_for()
    with ClipReader(next((desk.project.root / "scans").glob("pattern-*.mp4"))) as reader:
        assert reader.info.duration_s == pytest.approx(plan_pattern(PROJECTOR, form="short").duration_s, abs=0.1)


def test_a_form_field_is_saved_undone_and_told_its_fault_without_a_jump(window, desk, root) -> None:
    desk.house.set("measure", facade=Facade(width_m=10, height_m=6, reflectance=0.5))
    one = window()
    page = one.open("/site")
    ready(page)
    width = page.locator("#field-facade-width_m")
    assert width.input_value() == "10"
    width.fill("12 ft 6 in")
    width.press("Tab")
    until(lambda: width.input_value() == "3.81", "the width shown as it was understood")
    assert desk.project.house.facade.width_m == pytest.approx(3.81)
    below = page.locator("#field-facade-material")
    before = below.bounding_box()["y"]
    width.fill("-3")
    width.press("Tab")
    page.get_by_text("must be more than 0").wait_for()
    assert width.get_attribute("aria-invalid") == "true"
    assert below.bounding_box()["y"] == before
    assert desk.project.house.facade.width_m == pytest.approx(3.81)
    one.said.clear()  # the browser reports the refused request
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Undo: change width").click()
    until(lambda: desk.project.house.facade.width_m == 10, "undone")
    page.reload()
    ready(page)
    assert width.input_value() == "10"


def test_two_windows_edit_the_site_and_neither_overwrites_the_other(window, desk) -> None:
    desk.house.set("measure", facade=Facade(width_m=10, height_m=6, reflectance=0.5))
    desk.house.set("place", place=Place(latitude_deg=1, longitude_deg=2, time_zone="UTC"))
    first, second = window().open("/site"), window().open("/site")
    ready(first)
    ready(second)
    first.locator("#field-facade-width_m").fill("11")
    first.locator("#field-facade-width_m").press("Tab")
    until(lambda: second.locator("#field-facade-width_m").input_value() == "11", "heard of in the other window")
    second.locator("#field-facade-height_m").fill("7")
    second.locator("#field-facade-height_m").press("Tab")
    until(lambda: desk.project.house.facade.height_m == 7, "the height kept")
    assert desk.project.house.facade.width_m == 11


def test_drawing_on_the_house_by_keys_lands_on_the_projector_page(window, studio, desk) -> None:
    projector = window(*PROJECTOR).open("/projector")
    page = window().open("/trace/house")
    ready(page)
    page.get_by_role("button", name="Show it on the house").click()
    until(lambda: desk.projector.state().what == "tracing", "the tracing on the projector")
    pad = page.locator(".pad")
    pad.focus()
    start = desk.hand.at
    page.keyboard.press("Space")
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Alt+ArrowDown")
    page.keyboard.press("Space")
    until(lambda: len(desk.hand.marks) == 2, "two points")
    assert desk.hand.at == (start[0] + 4, start[1] + 0.25)
    assert [mark.at for mark in desk.hand.marks] == [start, desk.hand.at]
    count = len(desk.tracing.tracing.items)
    page.keyboard.press("Shift+Enter")
    until(lambda: len(desk.tracing.tracing.items) == count + 1, "a path")
    drawn = desk.tracing.tracing.items[-1]
    np.testing.assert_allclose(to_projector([drawn.path.start])[0], start, atol=0.02)
    until(lambda: shot(projector)[round(start[1]), round(start[0] + 2), 1] > 60, "light on the line")


def test_points_put_on_a_slow_machine_are_all_in_the_path_that_is_ended_after_them(
    window, desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = window().open("/trace/house")
    ready(page)
    go = Hand._go

    def slow(self: Hand, *args: Any, **how: Any) -> None:
        time.sleep(0.1)
        go(self, *args, **how)

    monkeypatch.setattr(Hand, "_go", slow)
    page.locator("#hand-name").fill("Attic")
    page.locator(".pad").focus()
    before = len(desk.tracing.tracing.items)
    for key in ("Space", "ArrowRight", "ArrowRight", "Space", "ArrowDown", "ArrowDown", "Space", "Enter"):
        page.keyboard.press(key)
    until(lambda: len(desk.tracing.tracing.items) > before, "a path")
    path = desk.tracing.tracing.items[-1]
    assert (path.title, path.is_area, len(path.path.segments)) == ("Attic", True, 3)
    until(lambda: page.locator("#said").text_content() == "Attic is drawn", "words for who hears the page")
    assert page.locator("#hand-name").input_value() == ""


def test_check_points_are_moved_by_keys_and_kept(window, desk, root) -> None:
    page = window().open("/trace/settle")
    ready(page)
    for n, path in enumerate(["window-1", "roof"]):
        corner = next(p for p in desk.settle.state().before if p.id == path).points[0]
        box = page.locator(".pad").bounding_box()
        scale = min(box["width"] / PROJECTOR[0], box["height"] / PROJECTOR[1]) * 0.97
        left = box["x"] + (box["width"] - PROJECTOR[0] * scale) / 2
        top = box["y"] + (box["height"] - PROJECTOR[1] * scale) / 2
        page.mouse.click(left + corner[0] * scale, top + corner[1] * scale)
        page.get_by_role("button", name=f"point {n + 1}", exact=False).first.wait_for()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Alt+ArrowUp")

    def moved() -> np.ndarray:
        point = desk.settle.state().points[-1]
        return np.subtract(point.house_px, point.map_px)

    until(lambda: np.allclose(moved(), (-1.0, -0.25), rtol=0, atol=1e-9), "the check point moved")
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("kept and in use").wait_for()
    assert (root / "scans" / "scan-1-settled" / "correspondence.npz").is_file()


def test_the_phone_is_a_track_pad(browser, desk) -> None:
    server = PhoneServer(desk)
    address = server.open("127.0.0.1").address
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    try:
        start = desk.hand.at
        page.goto(address)
        page.get_by_text("On the house").wait_for()
        assert "code" not in page.url, "the code does not stay in the address"
        assert page.evaluate("document.documentElement.scrollHeight") <= 844
        page.get_by_role("button", name="Right").tap()
        page.get_by_role("button", name="Size of a nudge").tap()
        page.get_by_role("button", name="Down").tap()
        until(lambda: desk.hand.at == (start[0] + 1, start[1] + 0.25), "the nudges")
        page.locator(".track").tap(position={"x": 100, "y": 200})
        until(lambda: len(desk.hand.marks) == 1, "a point")
        page.get_by_role("button", name="Black").tap()
        until(lambda: desk.projector.state().blanked, "black")
        sizes = page.evaluate("[...document.querySelectorAll('button')].map(b => b.getBoundingClientRect().height)")
        assert min(sizes) >= 44, "large enough for cold fingers"
        assert said == []
    finally:
        context.close()
        server.close()
