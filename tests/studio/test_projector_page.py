"""The projector page in a real browser: pixel by pixel, black when nothing is asked, blanked by one key."""

import cv2
import numpy as np
import pytest
from front import PROJECTOR, to_projector
from screenshot import shot
from waiting import until

from limewash.studio.charts import chart
from limewash.studio.projector import PageReport, warnings


def lit(page: object) -> np.ndarray:
    """The picture as soon as there is light in it."""
    until(lambda: shot(page).max() > 0, "light on the projector page")
    return shot(page)


def turns_black(page: object) -> None:
    until(lambda: shot(page).max() == 0, "a black projector page")


def settled(page: object) -> None:
    page.wait_for_timeout(250)  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", ["focus", "grid", "marks", "white"])
def test_a_chart_reaches_the_display_pixel_by_pixel(window, studio, name) -> None:
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    assert shot(page).max() == 0, "black until something is asked"
    page.request.put(studio.address + "/api/projector/show", data={"what": name})
    np.testing.assert_array_equal(lit(page)[..., 1], chart(name, PROJECTOR))


def test_one_key_blanks_and_brings_back(window, studio) -> None:
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    page.request.put(studio.address + "/api/projector/show", data={"what": "white"})
    lit(page)
    page.keyboard.press("b")
    turns_black(page)
    until(lambda: studio.desk.projector.state().blanked, "the studio hears of it")
    page.keyboard.press("b")
    assert lit(page).min() == 255


def test_a_key_that_is_held_does_not_make_the_house_flash(window, studio) -> None:
    page = window(*PROJECTOR).open("/projector")
    beside = window().open("/")
    beside.wait_for_selector("body[data-ready=true]")
    heard = [False]
    studio.desk.notices.listen(lambda m: heard.append(m["state"]["blanked"]) if m["type"] == "projector" else None)
    for at, key, black in ((page, "b", True), (page, "Space", False), (beside, "b", True)):
        for _ in range(6):  # as keys repeat
            at.keyboard.down(key)
        at.keyboard.up(key)
        until(lambda black=black: heard[-1] is black, "the change")
        settled(at)
    assert [now for now, before in zip(heard[1:], heard, strict=False) if now != before] == [True, False, True]


def test_the_live_tracing_lands_on_the_right_pixels(window, studio) -> None:
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    page.request.put(studio.address + "/api/projector/look", data={"line_px": 1, "colour": "#ffffff"})
    page.request.put(studio.address + "/api/projector/show", data={"what": "tracing"})
    drawn = lit(page)[..., 1].astype(float)
    corners = to_projector([(260, 300), (340, 300), (340, 440), (260, 440)])
    expected = np.zeros(drawn.shape, np.uint8)
    shifted = np.rint(corners * 16).astype(np.int32)
    cv2.polylines(expected, [shifted], True, 255, 1, cv2.LINE_AA, shift=4)
    # Two anti-aliased renderers differ in weight, not in place: centre of light across each side.
    ys, xs = np.nonzero(expected > 128)
    for y, x in zip(ys, xs, strict=True):
        assert drawn[max(y - 1, 0) : y + 2, max(x - 1, 0) : x + 2].max() > 100
    left = corners[[0, 3]].mean(axis=0)
    row = drawn[round(left[1]), round(left[0]) - 4 : round(left[0]) + 5]
    centre = (row * np.arange(round(left[0]) - 4, round(left[0]) + 5)).sum() / row.sum()
    assert abs(centre - left[0]) < 0.2


def test_the_map_to_settle_is_lit_on_a_page_that_was_there_before_and_black_from_within_a_dialog(window) -> None:
    beam = window(*PROJECTOR).open("/projector")
    settled(beam)
    desk = window().open("/trace/settle")
    desk.wait_for_selector("body[data-ready=true]")
    desk.get_by_role("button", name="Show it on the house").click()
    x, y = np.rint(to_projector([(260, 370)])[0]).astype(int)  # halfway down the window's left side
    assert lit(beam)[y, x - 1 : x + 2].max() > 100
    desk.keyboard.press("?")
    desk.get_by_role("dialog").wait_for()
    desk.keyboard.press("b")
    turns_black(beam)
    desk.keyboard.press("Escape")
    desk.locator("#point-name").evaluate("field => { field.disabled = false; field.focus(); }")
    desk.keyboard.press("Alt+b")
    assert lit(beam).max() > 0


def test_a_server_that_dies_leaves_black_and_a_reload_is_black_too(window, studio) -> None:
    one = window(*PROJECTOR)
    page = one.open("/projector")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    settled(page)
    page.request.put(studio.address + "/api/projector/show", data={"what": "white"})
    assert lit(page).min() == 255
    studio.stop()
    turns_black(page)
    page.reload()
    settled(page)
    assert shot(page).max() == 0
    assert page.title() == "Limewash projector"
    one.said.clear()  # the browser reports refused connections: that is what this test causes


FULL = PageReport(screen=(1920, 1080), window=(1920, 1080), ratio=1.0, full_screen=True)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({}, None),
        ({"ratio": 1.25, "screen": (1536, 864), "window": (1536, 864)}, "125%"),
        ({"screen": (1280, 720), "window": (1280, 720)}, "1280 x 720"),
        ({"window": (1920, 940), "full_screen": False}, "press F"),
    ],
)
def test_resampling_is_told_on_the_desk(change: dict[str, object], word: str | None) -> None:
    found = warnings((1920, 1080), FULL.model_copy(update=change))
    if word is None:
        assert found == []
    else:
        assert len(found) == 1
        assert word in found[0]


def test_the_focus_chart_has_line_pairs_of_one_pixel(tmp_path: object) -> None:
    picture = chart("focus", (1920, 1080))
    rows = [row for row in picture if (np.abs(np.diff(row[12:60].astype(int))) == 255).all()]
    assert len(rows) >= 40
