"""A desk and a running studio over a small exact project."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from fastapi.testclient import TestClient
from front import make_project
from running_studio import RunningStudio

from limewash.studio.app import create_app
from limewash.studio.desk import Desk
from limewash.studio.recent import Recent

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return make_project(tmp_path / "house").root


@pytest.fixture
def desk(root: Path, tmp_path: Path) -> Iterator[Desk]:
    made = Desk(Recent(tmp_path / "settings" / "recent.json"))
    made.open(root)
    yield made
    made.close()


@pytest.fixture
def client(desk: Desk) -> TestClient:
    return TestClient(create_app(desk), base_url="http://127.0.0.1:8750")


@pytest.fixture
def studio(desk: Desk) -> Iterator[RunningStudio]:
    running = RunningStudio(desk)
    yield running
    running.stop()


class Window:
    """A browser page that remembers what it said and whom it asked."""

    def __init__(self, page: Page, studio: RunningStudio) -> None:
        self.page = page
        self.studio = studio
        self.said: list[str] = []
        self.asked: list[str] = []
        self._refused: list[str] = []
        page.on("console", lambda message: self.said.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.said.append(f"error: {error}"))
        page.on("request", lambda request: self.asked.append(request.url))

    def open(self, path: str) -> Page:
        self.page.goto(self.studio.address + path)
        return self.page

    def may_be_refused(self, *statuses: int) -> None:
        """The browser reports requests that are refused: this test causes some with these HTTP statuses."""
        self._refused += [f"status of {status} " for status in statuses]

    def may_be_unanswered(self) -> None:
        """The browser reports requests that nobody answers: in this test the studio is away for a while."""
        self._refused += ["net::ERR_", "WebSocket connection to"]

    def check_quiet(self) -> None:
        """Nothing in the console, no request to anywhere else."""
        assert [line for line in self.said if not any(part in line for part in self._refused)] == []
        assert [u for u in self.asked if not u.startswith((self.studio.address, "data:", "blob:"))] == []


@pytest.fixture
def window(browser: Browser, studio: RunningStudio) -> Iterator[Callable[..., Window]]:
    """Opens windows; all must have stayed quiet in the end."""
    opened: list[Window] = []

    def make(width: int = 1440, height: int = 900, **options: object) -> Window:
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        opened.append(Window(context.new_page(), studio))
        return opened[-1]

    yield make
    for one in opened:
        one.page.context.close()
    for one in opened:
        one.check_quiet()
