"""Pages that were open when the studio ended, and another one is started on the same port."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from front import PROJECTOR, make_project
from running_studio import started_anew
from waiting import until

from limewash.studio.desk import Desk
from limewash.studio.recent import Recent

COMES_BACK_S = 20.0
"""A page asks again every three seconds at most; the rest is for a busy machine."""


@pytest.fixture
def another(tmp_path: Path) -> Iterator[Desk]:
    """The desk of the studio that is started anew, without a project yet."""
    made = Desk(Recent(tmp_path / "settings-2" / "recent.json"))
    yield made
    made.close()


def tell_of_a_job(desk: Desk, number: int, state: str) -> None:
    job = {"id": number, "kind": "map", "title": f"Map {number}", "state": state, "share": 0.5}
    desk.notices.tell({"type": "job", "job": {**job, "doing": "", "message": "", "result": {}}})


def test_the_jobs_of_a_studio_end_with_it_and_another_numbers_its_own_anew(
    window: Any, studio: Any, desk: Desk, another: Desk, root: Path
) -> None:
    one = window()
    one.may_be_unanswered()
    page = one.open("/show")
    page.wait_for_selector("body[data-ready=true]")
    jobs = page.locator(".job")
    for number, state in ((1, "running"), (1, "done"), (2, "running")):
        tell_of_a_job(desk, number, state)
    until(lambda: jobs.count() == 1 and "Map 2" in jobs.inner_text(), "the second job")
    another.open(root)
    with started_anew(studio, another):
        until(lambda: jobs.count() == 0, "the job gone with its studio", seconds=COMES_BACK_S)
        tell_of_a_job(another, 1, "running")
        until(lambda: jobs.count() == 1 and "Map 1" in jobs.inner_text(), "a first job")
        tell_of_a_job(another, 1, "done")
        until(lambda: jobs.count() == 0, "its end")


def test_a_page_of_another_project_goes_to_the_start(window: Any, studio: Any, another: Desk, tmp_path: Path) -> None:
    one = window()
    one.may_be_unanswered()
    page = one.open("/trace")
    page.wait_for_selector("body[data-ready=true]")
    another.open(make_project(tmp_path / "second", traced=False).root)
    another.house.set("rename", name="Second house")
    with started_anew(studio, another):
        page.wait_for_url(studio.address + "/", timeout=1000 * COMES_BACK_S)
        page.wait_for_selector("body[data-ready=true]")
        assert page.locator(".house-name").text_content() == "Second house"


def test_black_that_was_pressed_while_the_studio_was_away_is_told_when_it_is_back(
    window: Any, studio: Any, desk: Desk, another: Desk, root: Path
) -> None:
    one = window(*PROJECTOR)
    one.may_be_unanswered()
    page = one.open("/projector")
    until(lambda: desk.projector.state().page, "the projector page")
    studio.stop()
    with page.expect_event("requestfailed", lambda request: request.url.endswith("/blank")):
        page.keyboard.press("b")
    another.open(root)
    with started_anew(studio, another):
        until(lambda: another.projector.state().blanked, "black", seconds=COMES_BACK_S)
