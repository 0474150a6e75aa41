"""A link between browser and studio that is slow where a test wants it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route


@contextmanager
def held_back(page: Page, address: str) -> Iterator[None]:
    """Requests of a page to an address wait until the block ends."""
    waiting: list[Route] = []

    def hold(route: Route) -> None:
        waiting.append(route)

    page.route(address, hold)
    yield
    for route in waiting:
        route.continue_()
    page.unroute(address)
    page.wait_for_timeout(50)  # for one that came meanwhile
