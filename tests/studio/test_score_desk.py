"""A show's score while it is edited: undo, two windows, another program."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from fastapi.testclient import TestClient
from scores import score_text
from waiting import until

from limewash.studio.desk import Desk

if TYPE_CHECKING:
    from playwright.sync_api import Page


@pytest.fixture
def score(desk: Desk, root: Path) -> Path:
    path = root / "shows" / "evening" / "score.toml"
    path.parent.mkdir(parents=True)
    path.write_text(score_text(10.0), encoding="utf-8")
    return path


def test_steps_go_back_and_forth_and_are_on_disk(client: TestClient, score: Path) -> None:
    first = client.get("/api/shows/evening/score").json()
    assert (first["trouble"], first["can_undo"]) == ("", None)
    second = client.put("/api/shows/evening/score", json={"text": score_text(11.0), "seen": first["seen"]}).json()
    assert "11.0" in score.read_text(encoding="utf-8")
    undone = client.post("/api/shows/evening/score/undo", json={"seen": second["seen"]}).json()
    assert score.read_text(encoding="utf-8") == first["text"] == undone["text"]
    redone = client.post("/api/shows/evening/score/redo", json={"seen": undone["seen"]}).json()
    assert (redone["length_s"], redone["can_redo"]) == (11.0, None)


def test_what_was_written_elsewhere_is_refused_to_be_overwritten_and_is_a_step(client: TestClient, score: Path) -> None:
    seen = client.get("/api/shows/evening/score").json()["seen"]
    score.write_text(score_text(20.0), encoding="utf-8")  # a text editor
    mine = {"text": score_text(12.0), "seen": seen}
    assert client.put("/api/shows/evening/score", json=mine).status_code == 409
    assert client.post("/api/shows/evening/score/undo", json={"seen": seen}).status_code == 409
    state = client.get("/api/shows/evening/score").json()
    assert (state["length_s"], state["can_undo"]) == (20.0, "edit in another program")
    client.post("/api/shows/evening/score/undo", json={"seen": state["seen"]})
    assert "length_s = 10.0" in score.read_text(encoding="utf-8")


def until_typed(page: Page, text: str) -> None:
    until(lambda: text in page.get_by_role("textbox", name="Score").input_value(), repr(text))


def test_two_windows_type_and_neither_text_is_lost_unasked(window: Callable[..., Any], score: Path) -> None:
    first, second = window(), window()
    for some in (first, second):  # what the other has changed; and there is no map to draw on
        some.may_be_refused(409, 422)
    one, other = first.open("/show"), second.open("/show")
    for page in (one, other):
        until_typed(page, "length_s = 10.0")
    one.get_by_role("textbox", name="Score").fill(score_text(11.0))
    other.get_by_role("textbox", name="Score").fill(score_text(12.0))
    other.get_by_role("button", name="Keep this one").wait_for()
    assert "length_s = 11.0" in score.read_text(encoding="utf-8")
    other.get_by_role("button", name="Keep this one").click()
    until_typed(one, "length_s = 12.0")
    assert "length_s = 12.0" in score.read_text(encoding="utf-8")
    other.get_by_role("button", name="Undo: change the score").click()
    until_typed(one, "length_s = 11.0")
    assert "length_s = 11.0" in score.read_text(encoding="utf-8")
