"""Fingers on the trace page and on the phone: two of them, or a palm, draw and move nothing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from drawing import Drawing
from touch import Fingers
from waiting import until

from limewash.studio.desk import Desk
from limewash.studio.phone_server import PhoneServer
from limewash.studio.projector import Shown
from limewash.studio.settle_desk import NewCheckPoint

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

FREE = (620.0, 640.0)
"""A place of the photo where nothing is drawn."""


@pytest.fixture
def drawing(window: Any, studio: Any) -> Drawing:
    return Drawing(window(has_touch=True).open("/trace"), studio)


def pinch(fingers: Fingers, first: tuple[float, float], second: tuple[float, float]) -> None:
    """Two fingers come down one after the other, move apart and leave."""
    fingers.down(first)
    fingers.down(first, second)
    for apart in range(10, 60, 10):
        fingers.move((first[0] - apart, first[1]), (second[0] + apart, second[1]))
    fingers.up()


def test_a_pinch_sets_no_point_and_one_finger_does(drawing: Drawing) -> None:
    fingers = Fingers(drawing.page)
    drawing.page.locator("[data-tool=lines]").click()
    hint = drawing.page.locator(".hint")
    before = hint.text_content()
    pinch(fingers, drawing.at(300, 500), drawing.at(500, 500))
    drawing.page.wait_for_timeout(300)
    assert hint.text_content() == before
    fingers.tap(drawing.at(400, 520))
    until(lambda: hint.text_content() != before, "the first corner")


def test_a_pinch_moves_no_path_and_nor_does_what_comes_after_it(drawing: Drawing) -> None:
    fingers = Fingers(drawing.page)
    tracing = drawing.studio.desk.tracing
    before = tracing.tracing
    pinch(fingers, drawing.at(260, 370), drawing.at(500, 500))
    fingers.slide(drawing.at(*FREE), by=(50, 0))
    drawing.page.wait_for_timeout(200)
    fingers.up()
    drawing.page.wait_for_timeout(300)
    assert tracing.shown == before


def test_a_second_finger_ends_the_drag_of_the_first_as_a_step(drawing: Drawing) -> None:
    fingers = Fingers(drawing.page)
    tracing = drawing.studio.desk.tracing
    x, y = drawing.at(260, 370)
    fingers.slide((x, y), by=(-40, 0))
    until(lambda: tracing.shown != tracing.tracing, "dragged")
    fingers.down((x - 40, y), drawing.at(500, 500))
    fingers.up()
    until(lambda: tracing.shown == tracing.tracing, "let go")
    assert tracing.state().can_undo


@pytest.fixture
def phone(browser: Browser, desk: Desk) -> Iterator[Page]:
    server = PhoneServer(desk)
    address = server.open("127.0.0.1").address
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    try:
        page = context.new_page()
        page.goto(address)
        page.get_by_text("On the house").wait_for()
        yield page
    finally:
        context.close()
        server.close()


def on_the_pad(phone: Page) -> tuple[float, float]:
    box = phone.locator(".track").bounding_box()
    assert box is not None
    return box["x"] + 80, box["y"] + 100


def test_a_second_finger_on_the_phone_puts_no_point_and_a_tap_does(phone: Page, desk: Desk) -> None:
    fingers = Fingers(phone)
    start = desk.hand.at
    x, y = on_the_pad(phone)
    fingers.slide((x, y), by=(35, 0))
    until(lambda: desk.hand.at != start, "moved")
    fingers.down((x + 35, y), (x + 90, y + 60))
    fingers.up()
    phone.wait_for_timeout(300)
    assert desk.hand.marks == []
    fingers.tap((x, y))
    until(lambda: len(desk.hand.marks) == 1, "a point")


def test_a_slide_on_the_phone_is_one_step(phone: Page, desk: Desk) -> None:
    settle = desk.settle
    before = settle.add(NewCheckPoint(revision=settle.state().revision, map_px=(100, 100))).points[0]
    desk.projector.show(Shown(what="settle"))
    phone.locator("[data-mode=settle]").wait_for()
    fingers = Fingers(phone)
    fingers.slide(on_the_pad(phone), by=(60, 0), steps=12)
    fingers.up()
    until(lambda: settle.state().points[0].house_px[0] > before.house_px[0] + 5, "moved")
    phone.wait_for_timeout(200)
    state = settle.travel(settle.state().revision, "undo")
    np.testing.assert_allclose(state.points[0].house_px, before.house_px)
