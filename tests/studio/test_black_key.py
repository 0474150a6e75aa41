"""Black, and the look of the light, from the desk's pages: every press counts, also on a slow link."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from waiting import until

from limewash.studio.desk import Desk
from limewash.studio.projector import Look, Projector, ProjectorState


def opened(window: Any, path: str) -> Any:
    page = window().open(path)
    page.wait_for_selector("body[data-ready=true]")
    return page


def test_two_quick_presses_end_where_they_began(window: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.projector.blank(True)
    page = opened(window, "/night")
    go = threading.Event()
    asked: list[bool] = []
    blank = Projector.blank

    def slow(self: Projector, blanked: bool) -> ProjectorState:
        asked.append(blanked)
        go.wait(20)
        return blank(self, blanked)

    monkeypatch.setattr(Projector, "blank", slow)
    page.keyboard.press("b")
    until(lambda: page.evaluate("true") and asked, "the first press on its way")
    page.keyboard.press("b")
    go.set()
    until(lambda: len(asked) == 2, "the second press")
    assert asked == [False, True]
    until(lambda: desk.projector.state().blanked, "black again")


def test_black_that_the_studio_did_not_hear_is_told(window: Any) -> None:
    one = window()
    one.may_be_unanswered()
    page = one.open("/night")
    page.wait_for_selector("body[data-ready=true]")
    page.route("**/api/projector/blank", lambda route: route.abort())
    page.keyboard.press("b")
    until(lambda: "Not black" in page.locator("#said").text_content(), "that it is not black")


def test_alt_b_where_the_keyboard_writes_another_sign_with_it(window: Any, desk: Desk) -> None:
    """On a Mac, Option+B writes an integral sign."""
    page = opened(window, "/night")
    page.evaluate(
        "document.body.dispatchEvent(new KeyboardEvent('keydown',"
        " { key: '\\u222b', code: 'KeyB', altKey: true, bubbles: true, cancelable: true }))"
    )
    until(lambda: desk.projector.state().blanked, "black")


def test_black_is_heard_while_the_desk_is_busy_and_another_page_opens(
    window: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = opened(window, "/night")
    other = window()
    free, greeted = threading.Event(), threading.Event()
    hello = Desk.hello

    def noted(self: Desk) -> dict[str, Any]:
        greeted.set()
        return hello(self)

    def busy() -> None:
        with desk._lock:  # as while a large scan is read
            free.wait(30)

    monkeypatch.setattr(Desk, "hello", noted)
    reading = threading.Thread(target=busy)
    reading.start()
    try:
        other.page.goto(page.url, wait_until="commit")
        until(lambda: other.page.evaluate("true") and greeted.is_set(), "the other page at the door")
        page.keyboard.press("b")
        until(lambda: desk.projector.blanked, "black while the desk is still busy")
    finally:
        free.set()
        reading.join()
    other.page.wait_for_selector("body[data-ready=true]")


def test_the_last_thickness_of_the_light_counts(window: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    page = opened(window, "/trace/house")
    go, first_done = threading.Event(), threading.Event()
    asked: list[float] = []
    set_look = Projector.set_look

    def first_slow(self: Projector, look: Look) -> ProjectorState:
        asked.append(look.line_px)
        if len(asked) > 1:
            return set_look(self, look)
        go.wait(20)
        state = set_look(self, look)
        first_done.set()
        return state

    monkeypatch.setattr(Projector, "set_look", first_slow)
    slider = page.locator("#line-width")
    slide = "(slider, px) => { slider.value = px; slider.dispatchEvent(new Event('input')); }"
    slider.evaluate(slide, "5")
    until(lambda: page.evaluate("true") and asked, "the first on its way")
    for width_px in ("6", "7"):
        slider.evaluate(slide, width_px)
        page.wait_for_timeout(150)
    go.set()
    assert first_done.wait(10)
    until(lambda: desk.projector.look.line_px == 7, "the last one")
    assert slider.input_value() == "7"
