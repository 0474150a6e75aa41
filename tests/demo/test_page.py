"""The report page: everything inside, nothing that a picture's caption could break."""

import base64
import re
from html.parser import HTMLParser

import cv2
import numpy as np

from limewash.demo.page import Page


def a_page() -> Page:
    page = Page("A <test> page", "Lead with `code` & more")
    picture = np.zeros((90, 160, 3), dtype=np.uint8)
    picture[:, :80] = (250, 20, 20)
    page.heading("Pictures")
    page.picture(picture, 'A "quoted" caption', width=80)
    page.table(["what", "px"], [["median", "0.12"]])
    page.cautions(["Nobody looks into the lens."])
    return page


def test_words_are_escaped_and_code_is_marked() -> None:
    text = a_page().html()
    assert "A &lt;test&gt; page" in text
    assert "Lead with <code>code</code> &amp; more" in text
    assert 'alt="A &quot;quoted&quot; caption"' in text


def test_the_picture_inside_is_the_picture_given() -> None:
    found = re.search(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", a_page().html())
    assert found is not None
    decoded = cv2.imdecode(np.frombuffer(base64.b64decode(found[1]), np.uint8), cv2.IMREAD_COLOR)
    assert decoded is not None
    assert decoded.shape == (45, 80, 3)
    blue, green, red = decoded[20, 10]
    assert red > 200
    assert max(blue, green) < 60
    assert decoded[20, 70].max() < 20


def test_every_tag_is_closed() -> None:
    open_tags: list[str] = []

    class Balance(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            if tag not in ("meta", "link", "img"):
                open_tags.append(tag)

        def handle_endtag(self, tag: str) -> None:
            assert open_tags.pop() == tag

    Balance().feed(a_page().html())
    assert open_tags == []
