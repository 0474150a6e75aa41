"""What somebody without a mouse, or without eyes on the page, meets there: a walk by Tab, names, rings, contrast."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from playwright.sync_api import Page

MOST_STOPS = 200
TOOLS = Path(__file__).with_suffix(".js")


@dataclass
class Stop:
    """One control that Tab came to."""

    number: int
    words: str
    faults: list[str]


def prepare(page: Page) -> None:
    """Put the tools into the page."""
    page.evaluate(TOOLS.read_text(encoding="utf-8"))


def walk(page: Page) -> list[Stop]:
    """Press Tab until the page begins anew; each stop with what is wrong about how it is seen."""
    page.evaluate("access.begin()")
    stops: list[Stop] = []
    seen: set[int] = set()
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        found = page.evaluate("access.stop()")
        if found is None or found["number"] in seen:
            return stops
        seen.add(found["number"])
        stops.append(Stop(found["number"], found["words"], _faults(found)))
    raise AssertionError(f"Tab does not come to an end; last at {stops[-1].words}")


def _faults(found: dict[str, Any]) -> list[str]:
    faults = []
    if not found["inside"]:
        faults.append("is out of sight")
    if found["style"] == "none" or found["width"] < 2:
        faults.append("has no ring")
    elif found["ground"] and contrast(found["ring"], found["ground"]) < 3.0:
        faults.append(f"has a ring of {contrast(found['ring'], found['ground']):.1f} to 1")
    if found["cut"] > 1:
        faults.append(f"has a ring cut off at {found['cut']} sides")
    return faults


def left_out(page: Page, stops: Iterable[Stop]) -> list[str]:
    """Controls that neither Tab nor, within a group, the arrow keys come to."""
    left = page.evaluate("(reached) => access.leftOut(reached)", sorted(stop.number for stop in stops))
    missing = [words for _, words, entry in left if entry < 0]
    for entry in {entry for _, _, entry in left if entry >= 0}:
        wanted = {number: words for number, words, at in left if at == entry}
        page.evaluate("(n) => access.order[n].focus()", entry)
        for _ in range(len(wanted)):
            page.keyboard.press("ArrowDown")
            wanted.pop(page.evaluate("access.order.indexOf(document.activeElement)"), None)
        missing += wanted.values()
    return missing


def out_of_order(stops: list[Stop]) -> list[str]:
    """Stops that come before what stands before them in the page."""
    return [f"{b.words} after {a.words}" for a, b in pairwise(stops) if b.number < a.number]


def too_faint(page: Page) -> list[str]:
    """Text below 4.5 to 1 (large: 3 to 1), and bounds of controls below 3 to 1."""
    faint = []
    seen = page.evaluate("access.texts()")
    assert len(seen) > 8, "the page has next to nothing to read"
    for text in seen:
        large = text["size"] >= 24 or (text["size"] >= 18.66 and text["weight"] >= 700)
        ratio = contrast(text["colour"], text["ground"])
        if ratio < (3.0 if large else 4.5):
            faint.append(f"{text['words']!r} ({text['at']}) {ratio:.2f}")
    for control in page.evaluate("access.bounds()"):
        ratio = contrast(control["colour"], control["ground"])
        if ratio < 3.0:
            faint.append(f"{control['words']!r} {ratio:.2f}")
    return faint


def contrast(one: Iterable[float], other: Iterable[float]) -> float:
    """Contrast ratio of two sRGB colours, 0 to 255: WCAG 2.2, "contrast ratio" and "relative luminance"."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: Iterable[float]) -> float:
    share = np.array(list(colour)[:3], dtype=float) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))
