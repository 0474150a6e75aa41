"""Time and memory of reading a clip, against decoding its video alone.

    python bench/bench_scan_read.py CLIP --size 1920x1080

A clip that is not there yet is filmed: seed 2 of the painted house in 4K, as `bench_scan_accuracy.py` does it,
but with the phone started and stopped by hand, a while before and after the pattern: 45 s in all.

Each is done in a process of its own; the peak is the resident memory of that process. On a machine that does other
things meanwhile, processor time says more than time. What the operating system takes of it is mostly the handing out
of memory, 0.1 s a gigabyte on a machine of one's own and up to 2 s on a rented one. The first run may compile: of each
the quickest run counts.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from limewash.media.reading import ClipReader
from limewash.scan.read import read_clip


def measure(what: str, clip: Path, size: tuple[int, int]) -> None:
    """Decode every frame's luma once, or read the whole scan; print seconds, processor seconds, those of the
    system, and peak megabytes.
    """
    start_s = time.perf_counter()
    if what == "decode":
        with ClipReader(clip) as reader:
            for _ in reader.luma():
                pass
    else:
        read_clip(clip, size)
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(time.perf_counter() - start_s, used.ru_utime + used.ru_stime, used.ru_stime, used.ru_maxrss / 1024)


_LENGTH_S = 45.0
_SEED = 2


def film_clip(clip: Path) -> None:
    """Film a clip of 45 s."""
    # Not at the top: what is measured shall not have all of this in memory.
    from bench_scan_accuracy import PROJECTOR, evening, phone
    from limewash.scan.pattern import plan_pattern, write_pattern
    from limewash.world.display import under_video
    from limewash.world.film import film

    with tempfile.TemporaryDirectory() as folder:
        pattern = Path(folder) / "pattern.mp4"
        write_pattern(pattern, plan_pattern(PROJECTOR))
        with ClipReader(pattern) as reader:
            beside_s = _LENGTH_S - reader.info.duration_s
        camera = (3840, 2160)
        taker = replace(phone(camera[0], _SEED), lead_s=0.55 * beside_s, tail_s=0.45 * beside_s)
        film(pattern, clip, under_video(evening("painted", camera, _SEED).view()), taker)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("clip", type=Path)
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--runs", type=int, default=2)
    parser.add_argument("--one", choices=["film", "decode", "read"])
    options = parser.parse_args()
    width, height = (int(side) for side in options.size.split("x"))
    if options.one == "film":
        film_clip(options.clip)
        return
    if options.one:
        measure(options.one, options.clip, (width, height))
        return
    if not options.clip.exists():
        # In a process of its own as well: what a child has in memory at first counts as its peak.
        subprocess.run([sys.executable, __file__, str(options.clip), "--one", "film"], check=True)
    with ClipReader(options.clip) as reader:
        info = reader.info
    print(f"{options.clip.name}: {info.size[0]} x {info.size[1]}, {info.duration_s:.1f} s, {info.codec}")
    best: dict[str, tuple[float, ...]] = {}
    for _ in range(options.runs):
        for what in ("decode", "read"):
            command = [sys.executable, __file__, str(options.clip), "--size", options.size, "--one", what]
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            taken = tuple(float(word) for word in done.stdout.split())
            best[what] = min(best.get(what, taken), taken)
    for what, (spent_s, busy_s, system_s, peak_mb) in best.items():
        print(
            f"{what:8} {spent_s:8.1f} s   of processors {busy_s:8.1f} s, {system_s:.1f} s of them the system's   "
            f"peak {peak_mb:6.0f} MB"
        )
    times, busy = (best["read"][n] / best["decode"][n] for n in (0, 1))
    print(f"reading takes {times:.2f} x the time of decoding alone, and {busy:.2f} x its processor time")


if __name__ == "__main__":
    main()
