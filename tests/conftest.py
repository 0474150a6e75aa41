"""What several test folders share."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium that is already on the machine; in CI its absence is a failure."""
    from playwright.sync_api import sync_playwright

    path = next((p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if p), None)
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("CI must have Chromium: browser tests are never skipped there")
        pytest.skip("no Chromium on this machine: browser tests are left out")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=CHROMIUM_FLAGS)
        yield opened
        opened.close()
