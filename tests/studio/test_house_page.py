"""Drawing on the house itself, in a real browser: another scan, a key that is let go elsewhere."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from waiting import until

from limewash.facade.tracing import Kind
from limewash.studio.desk import Desk
from limewash.studio.hand import Act, Hand, Move
from limewash.studio.wire import LineSegment, TracedPath


def test_the_steps_are_those_of_the_scan_in_use(window: Any, desk: Desk, root: Path) -> None:
    assert desk.ground.name == "scan-1"  # in use from now on, though it is not the newest any more
    shutil.copytree(root / "scans" / "scan-1", root / "scans" / "scan-2")
    side = LineSegment(start=(200, 460), end=(300, 462))
    desk.tracing.add(TracedPath(id="sill", kind=Kind.TRIM, closed=False, segments=[side]))
    page = window().open("/trace/house")
    page.wait_for_selector("body[data-ready=true]")
    page.get_by_role("button", name="Undo: draw trim").wait_for()
    desk.use_scan("scan-2")
    page.get_by_role("button", name="Nothing to undo").wait_for(timeout=12_000)


def test_s_does_not_stay_held_when_the_window_loses_the_keyboard(
    window: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    moves: list[Move] = []
    act = Hand.act

    def noted(self: Hand, one: Act) -> Any:
        if isinstance(one, Move):
            moves.append(one)
        return act(self, one)

    monkeypatch.setattr(Hand, "act", noted)
    page = window().open("/trace/house")
    page.wait_for_selector("body[data-ready=true]")
    pad = page.locator(".pad")
    pad.focus()
    # As if the pad had caught the mouse: a browser without a screen does not let it.
    pad.evaluate("pad => Object.defineProperty(document, 'pointerLockElement', { get: () => pad })")
    move = "pad => pad.dispatchEvent(new PointerEvent('pointermove', { movementX: 5, movementY: 2, bubbles: true }))"
    page.keyboard.down("s")
    pad.evaluate(move)
    until(lambda: moves, "a movement")
    assert moves[-1].straight
    page.evaluate("dispatchEvent(new Event('blur'))")
    count = len(moves)
    pad.evaluate(move)
    until(lambda: len(moves) > count, "another movement")
    assert not moves[-1].straight
