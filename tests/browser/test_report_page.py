"""The report in a real browser: at a desk and on a phone, without the network."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from limewash.demo.page import Page

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture
def report(tmp_path: Path) -> Path:
    page = Page("The whole job once", "On an invented house.")
    picture = np.full((720, 1280, 3), 90, dtype=np.uint8)
    page.picture(picture, "A picture")
    page.pictures([(picture, "left"), (picture, "right")])
    page.table(["stage", "seconds", "what", "more", "and more"], [["a long name of a stage", "1.0", "x", "y", "z"]] * 3)
    page.text("`limewash scan read a/very/long/path/to/a/clip/that/does/not/fit/on/a/phone.mp4 --project here`")
    path = tmp_path / "report.html"
    path.write_text(page.html(), encoding="utf-8")
    return path


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
def test_it_fits_the_window_and_asks_nobody(browser: "Browser", report: Path, width: int, height: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": height})
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(report.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)")
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert said == []
    page.close()
