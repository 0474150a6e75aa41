"""A person at the trace page, for tests in a real browser."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Page


class Drawing:
    """A person at the trace page: clicks on places of the photo."""

    def __init__(self, page: Page, studio: Any) -> None:
        self.page = page
        self.studio = studio
        page.wait_for_selector("body[data-ready=true]")

    @property
    def paths(self) -> dict[str, Any]:
        return {item.id: item for item in self.studio.desk.tracing.tracing.items}

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Where a photo pixel lies in the window."""
        left, top, scale, dx, dy = self.page.evaluate(
            """() => { const board = document.querySelector("trace-board"); const box = board.getBoundingClientRect();
                       return [box.left, box.top, board.view.scale, board.view.x, board.view.y]; }"""
        )
        return left + x * scale + dx, top + y * scale + dy

    def click(self, x: float, y: float, **how: Any) -> None:
        self.page.mouse.click(*self.at(x, y), **how)

    def key(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def look_for(self, path_id: str) -> Any:
        until(lambda: path_id in self.paths, f"path {path_id}")
        return self.paths[path_id]
