"""Sharing work out among the processor's cores."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TypeVar

import numpy as np

Part = TypeVar("Part")


def all_of(parts: Sequence[Callable[[], Part]]) -> list[Part]:
    """What all parts give, worked out in threads."""
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        return [part.result() for part in [pool.submit(part) for part in parts]]


def in_bands(rows: int, work: Callable[[int, int], None]) -> None:
    """Run `work(first_row, last_row)` over all rows, in threads."""
    edges = np.linspace(0, rows, 4 * (os.cpu_count() or 1) + 1).astype(int).tolist()
    in_threads(lambda band: work(*band), list(pairwise(edges)))


def in_threads(work: Callable[[Part], None], parts: Sequence[Part]) -> None:
    """Run `work` on all parts, in threads: the kernels do not hold the lock."""
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        list(pool.map(work, parts))
