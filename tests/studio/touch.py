"""Fingers on the glass of a page, as the browser's own tools send them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page

Place = tuple[float, float]


class Fingers:
    """One finger or several; each call names the places of all that are on the glass, in the order they came."""

    def __init__(self, page: Page) -> None:
        self._tools = page.context.new_cdp_session(page)

    def down(self, *places: Place) -> None:
        """The last of them comes down; the others were there before."""
        self._send("touchStart", places)

    def move(self, *places: Place) -> None:
        self._send("touchMove", places)

    def up(self) -> None:
        """All leave the glass."""
        self._send("touchEnd", ())

    def tap(self, place: Place) -> None:
        self.down(place)
        self.up()

    def slide(self, place: Place, *, by: Place, steps: int = 6) -> None:
        """One finger comes down and moves; it stays on the glass."""
        self.down(place)
        for step in range(1, steps + 1):
            self.move((place[0] + by[0] * step / steps, place[1] + by[1] * step / steps))

    def _send(self, kind: str, places: tuple[Place, ...]) -> None:
        points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
        self._tools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
