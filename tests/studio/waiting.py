"""Waiting for what comes a moment later, however busy the machine is."""

from __future__ import annotations

import time
from collections.abc import Callable


def until(condition: Callable[[], object], what: str, *, seconds: float = 12.0) -> None:
    """Ask again and again. The pages allow no code made from text, so the browser itself cannot wait."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            raise AssertionError(f"waited in vain: {what}")
        time.sleep(0.05)
