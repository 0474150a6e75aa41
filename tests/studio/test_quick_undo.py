"""Ctrl+Z twice, quicker than the studio answers: two steps on every page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scores import score_text
from slow_link import held_back
from waiting import until

from limewash.facade.tracing import Kind
from limewash.project.models import Facade
from limewash.studio.desk import Desk
from limewash.studio.wire import LineSegment, TracedPath


def change_the_front(desk: Desk, step: int) -> None:
    desk.house.set("measure", facade=Facade(width_m=10 + step, height_m=6, reflectance=0.5))


def front_steps(desk: Desk) -> int:
    front = desk.house.house.facade
    return round(front.width_m) - 10 if front is not None else 0


def draw_a_sill(desk: Desk, step: int) -> None:
    side = LineSegment(start=(200, 400 + 20 * step), end=(300, 402))
    desk.tracing.add(TracedPath(id=f"sill-{step}", kind=Kind.TRIM, closed=False, segments=[side]))


def sill_steps(desk: Desk) -> int:
    return sum(item.id.startswith("sill") for item in desk.tracing.tracing.items)


def lengthen_the_show(desk: Desk, step: int) -> None:
    score = desk.score("evening")
    score.write(score_text(10.0 + step), score.state().seen)


def show_steps(desk: Desk) -> int:
    length = desk.score("evening").state().text.split("length_s = ")[1]
    return round(float(length.split("\n")[0])) - 10


@pytest.mark.parametrize(
    ("path", "change", "steps"),
    [
        ("/site", change_the_front, front_steps),
        ("/scan", change_the_front, front_steps),
        ("/trace/house", draw_a_sill, sill_steps),
        ("/show", lengthen_the_show, show_steps),
    ],
)
def test_two_quick_undos_take_two_steps(
    window: Any, desk: Desk, root: Path, path: str, change: Callable[[Desk, int], None], steps: Callable[[Desk], int]
) -> None:
    score = root / "shows" / "evening" / "score.toml"
    score.parent.mkdir(parents=True)
    score.write_text(score_text(10.0), encoding="utf-8")
    for step in (1, 2, 3):
        change(desk, step)
    one = window()
    one.may_be_refused(409, 422)  # stills before there is a map
    page = one.open(path)
    page.wait_for_selector("body[data-ready=true]")
    page.get_by_role("button", name="Undo: ").wait_for()
    page.evaluate("document.activeElement.blur()")
    with held_back(page, "**/undo"):
        page.keyboard.press("Control+z")
        page.keyboard.press("Control+z")
        page.wait_for_timeout(200)
    until(lambda: steps(desk) == 1, "two steps back")
    page.wait_for_timeout(200)
    assert steps(desk) == 1
