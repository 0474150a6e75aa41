"""The projector page in a real browser: pixel by pixel, black when nothing is asked, blanked by one key."""

import shutil
import threading
import time
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest
from front import PROJECTOR, to_projector
from screenshot import shot
from slow_link import held_back
from waiting import until

from limewash.media.images import write_image
from limewash.scan.correspondence import Correspondence, load_correspondence, save_correspondence
from limewash.studio.charts import chart
from limewash.studio.projector import PageReport, Projector, ProjectorState, Shown, warnings


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


def test_what_is_asked_for_before_black_was_answered_is_shown(window, studio, monkeypatch: pytest.MonkeyPatch) -> None:
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    projector = studio.desk.projector
    projector.show(Shown(what="white"))
    lit(page)
    blank = projector.blank

    def slow(blanked: bool) -> ProjectorState:
        state = blank(blanked)
        projector.show(Shown(what="grid"))  # by another window
        time.sleep(0.5)
        return state

    monkeypatch.setattr(projector, "blank", slow)
    page.keyboard.press("b")
    np.testing.assert_array_equal(lit(page)[..., 1], chart("grid", PROJECTOR))


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


def test_black_stays_when_something_else_is_told_before_the_studio_has_heard(
    window, studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    page.request.put(studio.address + "/api/projector/show", data={"what": "white"})
    lit(page)
    heard = threading.Event()
    blank = Projector.blank

    def slow(self: Projector, blanked: bool) -> ProjectorState:
        heard.wait(20)
        return blank(self, blanked)

    monkeypatch.setattr(Projector, "blank", slow)
    page.keyboard.press("b")
    turns_black(page)
    page.request.put(studio.address + "/api/projector/look", data={"line_px": 3})
    page.wait_for_timeout(400)
    assert shot(page).max() == 0
    heard.set()
    until(lambda: studio.desk.projector.state().blanked, "the studio hears of it")
    settled(page)
    assert shot(page).max() == 0
    page.keyboard.press("b")
    lit(page)


def test_the_map_stays_lit_while_it_is_read_again(window, studio, root: Path) -> None:
    write_image(root / "map" / "map.png", np.full((PROJECTOR[1], PROJECTOR[0], 3), 255, np.uint8))
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    page.request.put(studio.address + "/api/projector/show", data={"what": "map"})
    before = lit(page)
    with held_back(page, "**/api/projector/map"):
        with page.expect_request("**/api/projector/map"):
            page.request.put(studio.address + "/api/projector/look", data={"line_px": 3})
        settled(page)
        np.testing.assert_array_equal(shot(page), before)
    settled(page)
    np.testing.assert_array_equal(shot(page), before)


def test_the_lines_follow_the_scan_in_use(window, studio, root: Path) -> None:
    assert studio.desk.ground.name == "scan-1"  # in use from now on, though it is not the newest any more
    shutil.copytree(root / "scans" / "scan-1", root / "scans" / "scan-2")
    file = root / "scans" / "scan-2" / "correspondence.npz"
    seen = load_correspondence(file)
    moved = seen.camera_x + 40  # [photo px]
    save_correspondence(
        file, Correspondence(moved, seen.camera_y, seen.confidence, seen.camera_size, seen.projector_size)
    )
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    page.request.put(studio.address + "/api/projector/show", data={"what": "tracing"})
    lit(page)
    settled(page)
    before = shot(page)
    studio.desk.use_scan("scan-2")
    fresh = window(*PROJECTOR).open("/projector")
    until(lambda: not np.array_equal(lit(fresh), before), "the lines at their new places")
    until(lambda: np.array_equal(shot(page), shot(fresh)), "the same on the page that was there before")


def film(root: Path, name: str, *, length_s: float, fps: int = 20) -> None:
    """A white film of a show."""
    path = root / "shows" / name / "show.mp4"
    path.parent.mkdir(parents=True)
    white = np.full((PROJECTOR[1], PROJECTOR[0], 3), 255, np.uint8)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=fps)
        stream.width, stream.height, stream.pix_fmt = *PROJECTOR, "yuv420p"
        for _ in range(round(length_s * fps)):
            out.mux(stream.encode(av.VideoFrame.from_ndarray(white, format="rgb24")))
        out.mux(stream.encode())


@pytest.fixture
def films(studio) -> list[str]:
    """What the projector page tells of films."""
    told: list[str] = []
    studio.desk.notices.listen(lambda m: told.append(m["what"]) if m["type"] == "film" else None)
    return told


def test_a_film_that_has_ended_begins_again_only_when_it_is_asked_for(
    window, studio, root: Path, films: list[str]
) -> None:
    film(root, "evening", length_s=0.5)
    page = window(*PROJECTOR).open("/projector")
    settled(page)
    evening = {"what": "show", "name": "evening"}
    page.request.put(studio.address + "/api/projector/show", data=evening)
    until(lambda: films[-1:] == ["ended"], "the end of the film")
    turns_black(page)
    begun = films.count("playing")
    page.request.put(studio.address + "/api/projector/look", data={"line_px": 3})
    page.evaluate("dispatchEvent(new Event('resize'))")
    page.wait_for_timeout(500)
    assert films.count("playing") == begun
    assert shot(page).max() == 0
    page.request.put(studio.address + "/api/projector/show", data=evening)
    until(lambda: films.count("playing") > begun, "the film once more")


def sound(page: Any) -> dict[str, bool]:
    return page.evaluate(
        "(() => { const film = document.querySelector('#film');"
        " return { ready: film.readyState > 2, paused: film.paused, muted: film.muted }; })()"
    )


def test_black_before_a_film_has_begun_holds_it_and_leaves_it_its_sound(window, studio, root: Path) -> None:
    film(root, "evening", length_s=3.0)
    page = window(*PROJECTOR).open("/projector")
    page.mouse.click(5, 5)  # browsers play sound only where somebody was
    settled(page)
    with held_back(page, "**/film"):
        with page.expect_request("**/film"):
            page.request.put(studio.address + "/api/projector/show", data={"what": "show", "name": "evening"})
        page.request.put(studio.address + "/api/projector/blank", data={"blanked": True})
        settled(page)
    until(lambda: sound(page)["ready"], "the film has come")
    settled(page)
    assert sound(page) == {"ready": True, "paused": True, "muted": False}
    page.request.put(studio.address + "/api/projector/blank", data={"blanked": False})
    lit(page)
    assert sound(page) == {"ready": True, "paused": False, "muted": False}


def test_a_film_has_its_sound_after_one_that_could_not_be_played(window, studio, root: Path, films: list[str]) -> None:
    film(root, "evening", length_s=3.0)
    damaged = root / "shows" / "damaged" / "show.mp4"
    damaged.parent.mkdir()
    damaged.write_bytes(b"this is no film")
    page = window(*PROJECTOR).open("/projector")
    page.mouse.click(5, 5)
    settled(page)
    page.request.put(studio.address + "/api/projector/show", data={"what": "show", "name": "damaged"})
    until(lambda: page.evaluate("document.querySelector('#film').error !== null"), "the film refused by the browser")
    settled(page)
    page.request.put(studio.address + "/api/projector/show", data={"what": "show", "name": "evening"})
    lit(page)
    assert sound(page)["muted"] is False
    assert "failed" in films


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
