"""Every page without a mouse and without eyes on it: Tab, names, rings, contrast, and what is read out.

Outside the project: the contrast formula and its worked values (WCAG 2.2), and axe-core's rules for WCAG 2.0 to 2.2,
levels A and AA.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import access
import numpy as np
import pytest
from drawing import Drawing
from scores import score_text
from waiting import until

from limewash.geometry.path import Arc
from limewash.project.models import Facade, Stand
from limewash.project.site_models import Ambient, Site
from limewash.studio.phone_server import PhoneServer
from limewash.studio.projector import Shown
from limewash.studio.settle_desk import NewCheckPoint

if TYPE_CHECKING:
    from playwright.sync_api import Page

PAGES = ["/", "/site", "/scan", "/trace", "/trace/house", "/trace/settle", "/show", "/show/packet", "/night"]
SCRIPTS = Path(__file__).parent.parent / "studio_js"
AXE = SCRIPTS / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture(scope="session")
def axe() -> str:
    """The text of axe-core; in CI its absence is a failure."""
    if not AXE.is_file():
        if shutil.which("npm") is None and not os.environ.get("CI"):
            pytest.skip("no npm on this machine: axe-core is not asked")
        subprocess.run(
            ["npm", "install", "--no-package-lock", "--no-audit", "--no-fund", "--ignore-scripts"],
            cwd=SCRIPTS,
            check=True,
        )
    return AXE.read_text(encoding="utf-8")


@pytest.fixture
def furnished(desk: Any) -> Any:
    """A project in which every page has something to show."""
    projector = desk.project.rig.projector.model_copy(update={"throw_ratio": 1.2, "light_lm": 3000.0})
    rig = desk.project.rig.model_copy(
        update={"projector": projector, "stand": Stand(x_m=5, height_m=0.5, distance_m=12)}
    )
    desk.house.set(
        "furnish",
        facade=Facade(width_m=10, height_m=6, reflectance=0.5),
        site=Site(ambient=Ambient(wall_lx=2.0)),
        rig=(rig,),
    )
    score = desk.project.root / "shows" / "evening" / "score.toml"
    score.parent.mkdir(parents=True)
    score.write_text(score_text(12.0, cue_s=4.0), encoding="utf-8")
    for path in desk.settle.state().before[:2]:
        desk.settle.add(NewCheckPoint(revision=desk.settle.state().revision, map_px=tuple(path.points[0])))
    return desk


def opened(window: Any, path: str, **size: int) -> Page:
    one = window(**size)
    one.may_be_refused(422)  # there is no map here, so no still from the street
    page = one.open(path)
    page.wait_for_selector("body[data-ready]", timeout=20_000)
    page.wait_for_timeout(400)
    page.evaluate("for (const group of document.querySelectorAll('#page details')) group.open = true")
    access.prepare(page)
    return page


def test_contrast_is_reckoned_as_by_axe_core(browser: Any, axe: str) -> None:
    """And 21 to 1 is the largest that the guidelines' formula gives."""
    assert access.contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    page = browser.new_page()
    page.evaluate(axe)
    rng = np.random.default_rng(5)
    for one, other in rng.integers(0, 256, (12, 2, 3)).tolist():
        theirs = page.evaluate(
            "(pair) => axe.commons.color.getContrast(...pair.map((one) => new axe.commons.color.Color(...one)))",
            [one, other],
        )
        assert access.contrast(one, other) == pytest.approx(theirs, rel=1e-3)
    page.close()


@pytest.mark.parametrize("path", PAGES)
def test_tab_comes_to_everything_in_order_and_shows_where_it_is(window: Any, furnished: Any, path: str) -> None:
    page = opened(window, path)
    stops = access.walk(page)
    assert len(stops) > 8
    assert [f"{stop.words} {fault}" for stop in stops for fault in stop.faults] == []
    assert access.out_of_order(stops) == []
    assert access.left_out(page, stops) == []


@pytest.mark.parametrize("path", PAGES)
def test_everything_is_read_against_its_ground_and_has_name_role_and_state(
    window: Any, furnished: Any, axe: str, path: str
) -> None:
    page = opened(window, path)
    for theme in ("night", "day"):
        page.evaluate("(theme) => { document.documentElement.dataset.theme = theme }", theme)
        page.wait_for_timeout(200)
        assert access.too_faint(page) == [], theme
    assert broken_rules(page, axe) == []
    assert page.locator("h1").count() == 1
    speaking = "[aria-live], [role=status], [role=alert], [role=log], output"
    assert page.locator(speaking).evaluate_all("(all) => all.map((e) => e.id)") == ["said"], "two would talk at once"


@pytest.mark.parametrize("path", ["/site", "/trace", "/show"])
def test_tab_comes_to_everything_on_a_phone_too(window: Any, furnished: Any, path: str) -> None:
    page = opened(window, path, width=390, height=844)
    assert page.evaluate("access.sideways('.strip, .trace-tools, .scroll, .segmented, textarea, input')") == []
    stops = access.walk(page)
    assert [f"{stop.words} {fault}" for stop in stops for fault in stop.faults] == []
    assert access.left_out(page, stops) == []


def test_the_pages_for_phone_and_projector_keep_to_the_rules(window: Any, browser: Any, desk: Any, axe: str) -> None:
    projector = window(640, 360).open("/projector")
    assert broken_rules(projector, axe) == []
    server = PhoneServer(desk)
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    try:
        page = context.new_page()
        page.goto(server.open("127.0.0.1").address)
        page.get_by_text("On the house").wait_for()
        assert broken_rules(page, axe) == []
        access.prepare(page)
        stops = access.walk(page)
        assert [f"{stop.words} {fault}" for stop in stops for fault in stop.faults] == []
        assert access.left_out(page, stops) == []
        assert access.too_faint(page) == []
        # A corner at the other end of the picture is reached by the buttons alone.
        start = desk.hand.at
        step = page.get_by_role("button", name="Size of a nudge")
        step.focus()
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
        assert step.inner_text() == "10 px"
        page.get_by_role("button", name="Left").focus()
        page.keyboard.press("Space")
        until(lambda: desk.hand.at == (start[0] - 10.0, start[1]), "the corner moved by a nudge")
    finally:
        context.close()
        server.close()


DIALOGS = [
    ("/", "Keys (?)", "Keys"),
    ("/", "New project", "New project"),
    ("/", "Open another project", "Open a project"),
    ("/scan", "Use a camera on this computer", "Film with a camera of this computer"),
    ("/scan", "Begin by eye", "Begin by eye?"),
    ("/trace/house", "Phone as track pad", "The phone as a track pad"),
    ("/show", "New show", "New show"),
]


@pytest.mark.parametrize(("path", "opener", "title"), DIALOGS)
def test_a_dialog_keeps_the_focus_and_gives_it_back(
    window: Any, furnished: Any, axe: str, path: str, opener: str, title: str
) -> None:
    page = opened(window, path)
    button = page.get_by_role("button", name=opener, exact=True)
    button.focus()
    page.keyboard.press("Enter")
    dialog = page.get_by_role("dialog", name=title, exact=True)
    dialog.wait_for()
    page.wait_for_timeout(200)
    within = "document.querySelector('dialog').contains(document.activeElement)"
    assert page.evaluate(within), "the focus goes into it"
    for _ in range(25):
        page.keyboard.press("Tab")
        # Between the last and the first control the browser's own bar has the focus: then nothing of the page has it.
        assert page.evaluate(f"document.activeElement === document.body || {within}")
    assert broken_rules(page, axe) == []
    page.evaluate("(async () => { const { say } = await import('/static/said.js'); say('Heard within'); })()")
    assert dialog.get_by_text("Heard within").is_visible(), "behind an open dialog nothing would be read out"
    page.keyboard.press("Escape")
    dialog.wait_for(state="detached")
    assert button.evaluate("(e) => e === document.activeElement"), "the focus comes back to where it was"
    assert page.locator("#said").count() == 1


def heard(page: Page, words: str) -> None:
    """Wait until something is read out."""
    said = page.locator("#said")
    with suppress(AssertionError):
        until(lambda: words in (said.text_content() or ""), "words")
    assert words in (said.text_content() or "")


def hint(page: Page) -> str:
    """What the foot of the board says to do next."""
    return page.locator(".strip.foot .hint").inner_text()


@pytest.fixture
def drawing(window: Any, studio: Any) -> Drawing:
    return Drawing(window().open("/trace"), studio)


def to(drawing: Drawing, x: float, y: float) -> None:
    """Move the cross-hair to a place of the photo by arrow keys: far by ten steps, then by one, then by quarters."""
    place = """(() => { const b = document.querySelector('trace-board');
                       const at = b.pointer ?? b.inPhoto([b.screen[0] / 2, b.screen[1] / 2]);
                       return [...at, b.view.scale]; })()"""
    for axis, names in ((0, ("ArrowLeft", "ArrowRight")), (1, ("ArrowUp", "ArrowDown"))):
        for held, step_px in (("Shift+", 40.0), ("", 4.0), ("Alt+", 1.0)):
            now = drawing.page.evaluate(place)
            away = ((x, y)[axis] - now[axis]) * now[2]
            for _ in range(round(abs(away) / step_px)):
                drawing.key(held + names[away > 0])


def test_a_rectangle_a_half_round_and_a_line_by_keys(drawing: Drawing, furnished: Any) -> None:
    page = drawing.page
    drawing.key("g", "Shift+S", "r", "2")
    for place in ((600, 330), (680, 500)):
        to(drawing, *place)
        drawing.key("Space")
    door = drawing.look_for("door-1")
    heard(page, "Door 1 is drawn")
    assert hint(page).startswith("Click a corner"), "the same key does not begin the next one"
    np.testing.assert_allclose(_box(door), [600, 330, 680, 500], atol=6.0)  # level and plumb follow the wall
    drawing.key("h", "1")
    for place in ((560, 300), (700, 300), (630, 230)):
        to(drawing, *place)
        drawing.key("Space")
    arch = drawing.look_for("window-2")
    assert isinstance(arch.path.segments[0], Arc)
    np.testing.assert_allclose(arch.path.segments[0].start, (560, 300), atol=1.0)
    drawing.key("l", "4")
    for place in ((170, 200), (300, 150), (400, 190)):
        to(drawing, *place)
        drawing.key("Space")
    heard(page, "Shift+Enter closes")
    drawing.key("Backspace", "Enter")
    line = drawing.look_for("roof-line-1")
    assert len(line.path.segments) == 1 and not line.is_area
    np.testing.assert_allclose([line.path.start, line.path.segments[0].end], [(170, 200), (300, 150)], atol=1.0)
    drawing.key("l", "9")
    for place in ((170, 560), (300, 560), (300, 650)):
        to(drawing, *place)
        drawing.key("Space")
    drawing.key("Shift+Enter")
    assert drawing.look_for("keep-dark-1").is_area


def _box(item: Any) -> list[float]:
    corners = np.array([segment.start for segment in item.path.segments])
    return [*corners.min(axis=0), *corners.max(axis=0)]


def test_space_held_moves_the_photo_and_draws_nothing(drawing: Drawing) -> None:
    page = drawing.page
    drawing.key("r")
    page.mouse.move(*drawing.at(400, 300))
    before = drawing.at(400, 300)
    page.keyboard.down("Space")
    page.keyboard.down("Space")  # as keys repeat while they are held
    page.mouse.down()
    page.mouse.move(before[0] + 60, before[1] + 20)
    page.mouse.up()
    page.keyboard.up("Space")
    np.testing.assert_allclose(np.subtract(drawing.at(400, 300), before), (60, 20), atol=1.0)
    assert hint(page).startswith("Click a corner"), "nothing was begun"
    page.keyboard.down("Space")
    page.get_by_role("button", name="Add daylight").focus()  # the key comes up elsewhere
    page.keyboard.up("Space")
    page.mouse.click(*drawing.at(500, 300))
    assert hint(page).startswith("Click the opposite corner"), "the mouse draws again"


def test_corners_handles_and_several_at_once_by_keys(drawing: Drawing, furnished: Any) -> None:
    page = drawing.page
    page.get_by_role("option", name="Kitchen").focus()
    drawing.key("Enter", "n")
    heard(page, "Corner 1 of 4 at 260.0, 300.0")
    drawing.key("i")
    until(lambda: len(drawing.paths["window-1"].path.segments) == 5, "a corner more")
    assert drawing.paths["window-1"].path.segments[1].start == (300.0, 300.0)
    heard(page, "Corner 2 of 5")
    drawing.key("ArrowUp")
    until(lambda: drawing.paths["window-1"].path.segments[1].start == (300.0, 299.0), "moved")
    drawing.key("Escape", "c", "4", "g", "Shift+S")
    for place in ((600, 200), (650, 180), (700, 200)):
        to(drawing, *place)
        drawing.key("Space")
    drawing.key("Enter")
    before = drawing.look_for("roof-line-1").path.segments[0].control1
    page.get_by_role("option", name="Roof line 2").focus()
    drawing.key("t")
    page.get_by_role("option", name="Roof line 2").focus()
    drawing.key("Enter", "v", "ArrowDown")
    until(lambda: drawing.paths["roof-line-1"].path.segments[0].control1 == (before[0], before[1] + 1.0), "bent")
    page.get_by_role("option", name="Kitchen").focus()
    drawing.key("Escape")
    drawing.key("Space", "ArrowDown", "Space")
    heard(page, "2 in hand")
    assert page.locator("[role=option][aria-selected=true]").count() == 2


def test_what_was_found_is_gone_through_refused_and_accepted_by_keys(
    drawing: Drawing, studio: Any, furnished: Any
) -> None:
    page = drawing.page
    drawing.key("Control+a", "Delete")
    until(lambda: not drawing.paths, "taken out")
    page.get_by_role("button", name="Find windows and doors").focus()
    drawing.key("Enter")
    found = page.locator(".found-words")
    found.wait_for(timeout=30_000)
    count = page.evaluate("Number(document.querySelector('.found .main span').textContent.match(/\\d+/)[0])")
    assert count >= 1
    drawing.key("j")
    heard(page, "% sure")
    drawing.key("Delete")
    heard(page, "Refused.")
    drawing.key("Enter")
    until(lambda: len(drawing.paths) == count - 1, "all but the refused one")


def test_a_check_point_is_found_made_and_moved_by_keys(window: Any, desk: Any) -> None:
    page = window().open("/trace/settle")
    page.wait_for_selector("body[data-ready]")
    page.get_by_role("button", name="Look for a corner").focus()
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowLeft")
    heard(page, "Corner at")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Take out point 1").wait_for()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Alt+ArrowUp")
    heard(page, "moved by 10.00 pixels")
    point = desk.settle.state().points[0]
    corners = np.vstack([path.points for path in desk.settle.state().before])
    assert np.linalg.norm(corners - point.map_px, axis=1).min() < 1e-6
    np.testing.assert_allclose(np.subtract(point.house_px, point.map_px), (10.0, -0.25), atol=1e-9)


def test_buttons_beside_the_pad_keep_enter_and_space(window: Any, desk: Any) -> None:
    """The page's own keys put points and close paths; on a button they must press it."""
    page = window().open("/trace/house")
    page.wait_for_selector("body[data-ready]")
    for key, what in (("Enter", "tracing"), ("Space", "tracing")):
        desk.projector.show(Shown(what="black"))
        page.get_by_role("button", name="Show it on the house").focus()
        page.keyboard.press(key)
        until(lambda what=what: desk.projector.state().what == what, f"the button pressed by {key}")
    assert desk.hand.marks == []
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Phone as track pad", "Tab goes on"


def test_letters_alone_can_be_switched_off(drawing: Drawing) -> None:
    """WCAG 2.2, 2.1.4: speech input must not set them off."""
    page = drawing.page
    tool = "document.querySelector('.trace-tools [aria-pressed=true]').dataset.tool"
    drawing.key("?")
    page.get_by_role("checkbox", name="Letters and digits alone act").focus()
    drawing.key("Space", "Escape", "r")
    assert page.evaluate(tool) == "pick"
    page.reload()
    page.wait_for_selector("body[data-ready=true]")
    drawing.key("r")
    assert page.evaluate(tool) == "pick"
    drawing.key("?")
    page.get_by_role("checkbox", name="Letters and digits alone act").focus()
    drawing.key("Space", "Escape", "r")
    assert page.evaluate(tool) == "rectangle"


def test_a_slider_keeps_its_arrow_keys(window: Any, furnished: Any) -> None:
    page = opened(window, "/show")
    dim = page.get_by_role("slider", name="Brightness of the night theme")
    dim.focus()
    before, time = dim.input_value(), page.locator(".time-now").inner_text()
    page.keyboard.press("ArrowLeft")
    assert float(dim.input_value()) < float(before)
    assert page.locator(".time-now").inner_text() == time


def broken_rules(page: Page, axe: str) -> list[str]:
    page.evaluate(axe)
    found = page.evaluate(
        "(rules) => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})", RULES
    )
    return [f"{one['id']}: {node['html'][:120]}" for one in found["violations"] for node in one["nodes"]]
