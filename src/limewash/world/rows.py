"""Sharing the rows of a picture between threads: kernels let go of the interpreter lock."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from limewash.progress import Progress, silent


def in_rows(
    work: Callable[[int, int], object], count: int, chunk: int = 16, *, progress: Progress = silent, doing: str = ""
) -> None:
    """Call `work(first, last)` for all of `count` rows in chunks, on all cores.

    Plain threads, because a kernel for one thread compiles several times faster than a parallel one. The
    first chunk runs alone, so that a kernel is compiled once.
    """
    starts = list(range(0, count, chunk))
    if not starts:
        return
    work(0, min(chunk, count))
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        jobs = [pool.submit(work, start, min(start + chunk, count)) for start in starts[1:]]
        try:
            for done, job in enumerate(jobs, start=2):
                job.result()
                progress(done / len(starts), doing)
        except BaseException:
            for job in jobs:
                job.cancel()
            raise
