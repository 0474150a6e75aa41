"""What drawing a show costs beside the H.264 encoder alone, on the same frames, and how fast the preview is.

Run: python bench/bench_render.py [--size 1920x1080] [--frames 120] [--preset veryfast]
Prints (draw + encode) / (encode): lower is better, to reach: 1.5. And preview frames a second, to reach: 30.
Frames are taken from all over the bundled show, in pieces of a second, on the light-painted virtual house.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Iterable
from fractions import Fraction
from importlib import resources
from pathlib import Path

import av

from limewash.demo.job import project_house
from limewash.facade.map_build import build_map
from limewash.facade.transfer import transfer
from limewash.media.writing import VideoWriter
from limewash.show.compositor import Compositor
from limewash.show.fields import Fields
from limewash.show.folder import wall_of
from limewash.show.render import drawn_ahead
from limewash.show.score import read_score
from limewash.world.virtual import load_world

RATE = 30


def fields_of_the_painted_house(size: tuple[int, int]) -> Fields:
    """Map and metres from the exact correspondence: no film, no scan."""
    world = load_world("painted", projector_size=size)
    truth = world.truth()
    return Fields(build_map(transfer(world.tracing(), truth), size), wall_of(project_house(world), truth))


def seconds(frames: Iterable[av.VideoFrame], size: tuple[int, int], preset: str) -> float:
    """Time to write frames as they come."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        with VideoWriter(Path(folder) / "show.mp4", size, Fraction(RATE), preset=preset) as out:
            for frame in frames:
                out.write(frame)
        return time.perf_counter() - start


def main() -> None:
    """Measure three times in turn and print the medians."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--frames", type=int, default=120)
    parser.add_argument("--preset", default="veryfast")
    given = parser.parse_args()
    width, height = (int(side) for side in given.size.split("x"))
    fields = fields_of_the_painted_house((width, height))
    compositor = Compositor(read_score(Path(str(resources.files("limewash.show.demo") / "year.toml"))), fields)
    length_s = compositor.score.show.length_s
    pieces = max(1, given.frames // RATE)
    times_s = [(p + 0.5) / pieces * length_s + k / RATE for p in range(pieces) for k in range(given.frames // pieces)]

    def blank() -> av.VideoFrame:
        return av.VideoFrame(width, height, "yuv420p")

    ready = list(drawn_ahead(compositor, times_s, blank))
    ratios, alone = [], []
    for _ in range(3):
        encode_s = seconds(ready, (width, height), given.preset)
        whole_s = seconds(drawn_ahead(compositor, times_s, blank), (width, height), given.preset)
        ratios.append(whole_s / encode_s)
        alone.append(encode_s / len(ready))
    print(f"{width} x {height}, preset {given.preset}: encode alone {1e3 * statistics.median(alone):.1f} ms a frame")
    print(f"draw + encode / encode alone: {statistics.median(ratios):.2f} (reach 1.5)")

    preview = compositor.reduced(2)
    buffer = preview.draw(times_s[0])
    for t_s in times_s:
        preview.draw(t_s, out=buffer)  # what stands still is made on the way
    start = time.perf_counter()
    for t_s in times_s:
        preview.draw(t_s, out=buffer)
    rate = len(times_s) / (time.perf_counter() - start)
    print(f"preview {width // 2} x {height // 2}: {rate:.0f} frames a second (reach 30)")


if __name__ == "__main__":
    main()
