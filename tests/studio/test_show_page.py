"""The show page in a real browser: what is typed is not lost, whatever happens meanwhile."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from scores import score_text
from waiting import until

from limewash.studio.desk import Desk
from limewash.studio.score_desk import ScoreDesk

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page


def score(name: str, length_s: float) -> str:
    return score_text(length_s, title=name)


def score_file(root: Path, name: str) -> Path:
    return root / "shows" / name / "score.toml"


@pytest.fixture
def page(window: Any, root: Path) -> Page:
    """The show page with the show `evening` chosen, and the show `late` beside it."""
    for name in ("evening", "late"):
        score_file(root, name).parent.mkdir(parents=True)
        score_file(root, name).write_text(score(name, 10.0), encoding="utf-8")
    one = window()
    one.may_be_refused(404, 409, 422)  # stills before there is a map, scores with a fault
    opened: Page = one.open("/show")
    opened.wait_for_selector("body[data-ready=true]")
    until(lambda: text_box(opened).input_value() == score("evening", 10.0), "the score")
    return opened


def text_box(page: Page) -> Locator:
    return page.get_by_role("textbox", name="Score")


def is_saved(root: Path, length_s: float) -> None:
    until(lambda: score_file(root, "evening").read_text(encoding="utf-8") == score("evening", length_s), "saved")


def told_of_a_fault(page: Page) -> None:
    until(lambda: page.locator("#score-fault").text_content(), "the fault told")


def test_a_text_with_a_fault_stays_when_a_job_ends(page: Page, desk: Desk) -> None:
    typed = score("evening", 10.0) + '[[cue]]\nstart = 3\neffect = "cand'
    text_box(page).fill(typed)
    told_of_a_fault(page)
    map_job = {"id": 5, "kind": "map", "title": "Map", "state": "done", "share": 1.0}
    with page.expect_response("**/api/shows"):
        desk.notices.tell({"type": "job", "job": {**map_job, "doing": "", "message": "", "result": {}}})
    page.wait_for_timeout(400)
    assert text_box(page).input_value() == typed


def test_undo_of_a_text_with_a_fault_takes_back_only_that(page: Page, root: Path) -> None:
    good = score("evening", 11.0)
    text_box(page).fill(good)
    is_saved(root, 11.0)
    until(lambda: page.get_by_role("button", name="Undo: ").count(), "a step to undo")
    text_box(page).fill(good + "[[cue")
    told_of_a_fault(page)
    page.get_by_role("button", name="Undo: ").click()
    until(lambda: text_box(page).input_value() != good + "[[cue", "undone")
    page.wait_for_timeout(300)
    assert text_box(page).input_value() == good
    assert page.locator("#score-fault").text_content() == ""


def test_what_was_just_typed_is_saved_when_another_show_is_chosen(page: Page, root: Path) -> None:
    text_box(page).fill(score("evening", 11.0))
    page.get_by_role("button", name="late", exact=True).click()
    is_saved(root, 11.0)
    until(lambda: text_box(page).input_value() == score("late", 10.0), "the other show")


def test_what_was_just_typed_is_saved_when_the_page_is_left(page: Page, root: Path) -> None:
    typed = score("evening", 11.0) + "# Wait for the bells.\n" * 1000  # a long one
    text_box(page).fill(typed)
    page.locator("a[href='/night']").first.click()
    page.wait_for_url("**/night")
    page.wait_for_selector("body[data-ready=true]")
    until(lambda: score_file(root, "evening").read_text(encoding="utf-8") == typed, "saved")


def test_typing_on_while_a_save_is_on_its_way_asks_nothing(
    page: Page, root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = threading.Event()
    asked: list[str] = []
    write = ScoreDesk.write

    def first_slow(self: ScoreDesk, text: str, seen: str) -> Any:
        asked.append(text)
        state = write(self, text, seen)
        if len(asked) == 1:
            answer.wait(20)
        return state

    monkeypatch.setattr(ScoreDesk, "write", first_slow)
    text_box(page).fill(score("evening", 11.0))
    until(lambda: asked, "the first save on its way")
    text_box(page).fill(score("evening", 12.0))
    page.wait_for_timeout(900)  # the page saves a little after the last key
    answer.set()
    is_saved(root, 12.0)
    page.wait_for_timeout(200)
    assert page.locator("dialog[open]").count() == 0
