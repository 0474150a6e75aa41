"""Filming with a camera of this computer, with a made-up camera in a real browser."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from front import PROJECTOR
from waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Page

CAMERA = """(waits_ms) => {
    navigator.mediaDevices.enumerateDevices = async () => [];
    navigator.mediaDevices.getUserMedia = async () => {
        const picture = document.createElement("canvas");
        picture.width = 320;
        picture.height = 180;
        const brush = picture.getContext("2d");
        setInterval(() => {
            brush.fillStyle = `rgb(${Math.round(Math.random() * 255)}, 90, 90)`;
            brush.fillRect(0, 0, 320, 180);
        }, 30);
        await new Promise((done) => setTimeout(done, waits_ms));
        window.camera = picture.captureStream(25);
        return window.camera;
    };
}"""
CAMERA_STATE = "window.camera?.getVideoTracks()[0].readyState"


@pytest.fixture
def scan_page(window: Any) -> Any:
    """A window with the scan page."""
    one = window()
    one.open("/scan").wait_for_selector("body[data-ready=true]")
    return one


def begin_filming(window: Any, page: Page) -> None:
    """The projector page is there, but no pattern film has been made."""
    beam = window(*PROJECTOR)
    beam.may_be_refused(404, 422)
    beam.open("/projector")
    page.get_by_text("no projector page").wait_for(state="detached")
    page.evaluate(CAMERA, 0)
    page.get_by_role("button", name="Use a camera on this computer").click()
    page.get_by_role("button", name="Film the pattern").click()
    page.get_by_text("Filming. Move neither").first.wait_for()


def test_a_sheet_that_is_closed_while_it_films_hands_nothing_over(window: Any, scan_page: Any, desk: Any) -> None:
    page = scan_page.page
    begin_filming(window, page)
    page.keyboard.press("Escape")
    until(lambda: page.evaluate(CAMERA_STATE) == "ended", "the camera let go")
    page.wait_for_timeout(1200)  # the pattern would have begun by now
    assert [url for url in scan_page.asked if "/api/scan/clip" in url] == []
    assert desk.projector.state().what == "black"


def test_that_there_is_no_pattern_film_is_told_and_filming_ends(window: Any, scan_page: Any) -> None:
    page = scan_page.page
    begin_filming(window, page)
    until(lambda: "make it first" in page.locator("dialog").inner_text(), "what to do first")
    assert page.get_by_role("button", name="Film the pattern").is_enabled()
    assert [url for url in scan_page.asked if "/api/scan/clip" in url] == []


def test_a_camera_that_opens_after_the_sheet_was_closed_is_let_go(scan_page: Any) -> None:
    page = scan_page.page
    page.evaluate(CAMERA, 700)
    page.get_by_role("button", name="Use a camera on this computer").click()
    page.get_by_role("button", name="Film the pattern").wait_for()
    page.keyboard.press("Escape")
    until(lambda: page.evaluate(CAMERA_STATE), "the camera has opened")
    until(lambda: page.evaluate(CAMERA_STATE) == "ended", "the camera let go")
