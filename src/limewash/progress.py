"""How long work tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float, str], None]
"""Called with the share done, 0 to 1, and a few words about what is being done."""


def silent(_share: float, _doing: str) -> None:
    """Say nothing: the default where nobody watches."""


def part_of(progress: Progress, start: float, stop: float) -> Progress:
    """Give a stage its own 0 to 1 within `start` to `stop` of the whole."""

    def report(share: float, doing: str) -> None:
        progress(start + (stop - start) * share, doing)

    return report


def never_back(progress: Progress) -> Progress:
    """Let a stage that has to begin again wait where it was until it is further."""
    furthest = 0.0

    def report(share: float, doing: str) -> None:
        nonlocal furthest
        furthest = max(furthest, share)
        progress(furthest, doing)

    return report
