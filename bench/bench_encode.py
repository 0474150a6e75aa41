"""What encoding from linear light costs beside the H.264 encoder alone, on the same frames.

Run: python bench/bench_encode.py [--size 1920x1080] [--frames 90] [--preset veryfast]
Prints one ratio: (light to codes + encoder) / (encoder). Lower is better; 1.0 would be free.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from limewash.media.writing import VideoWriter
from limewash.show.encode import linear_to_yuv420

RATE = Fraction(30)


def light(index: int, size: tuple[int, int]) -> np.ndarray:
    """A picture with half its area dark, soft gradients and a moving sweep, as a show has them."""
    width, height = size
    x = np.linspace(0.0, 12.0, width, dtype=np.float32)[None, :]
    y = np.linspace(0.0, 6.75, height, dtype=np.float32)[:, None]
    sweep = np.exp(-((x - index * 0.1) ** 2))
    glow = 0.3 * np.exp(-((x - 6.0) ** 2 + (y - 3.0) ** 2) / 4.0)
    wall = (y > 1.5) & (y < 5.5)
    return np.stack([sweep * wall, glow + 0 * x, (0.1 * sweep + 0.02) * wall], axis=2).astype(np.float32)


def seconds(size: tuple[int, int], preset: str, lights: list[np.ndarray], ready: list[av.VideoFrame] | None) -> float:
    """Time to write all frames, from light, or from frames that are `ready`."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        with VideoWriter(Path(folder) / "film.mp4", size, RATE, preset=preset) as out:
            for index, linear in enumerate(lights):
                if ready is None:
                    frame = out.new_frame()
                    linear_to_yuv420(linear, frame)
                else:
                    frame = ready[index]
                out.write(frame)
        return time.perf_counter() - start


def main() -> None:
    """Measure three times in turn and print the medians."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--frames", type=int, default=90)
    parser.add_argument("--preset", default="veryfast")
    given = parser.parse_args()
    width, height = (int(side) for side in given.size.split("x"))
    size = (width, height)
    distinct = [light(index, size) for index in range(min(given.frames, 30))]  # 30 are 750 MB at 1080p
    lights = [distinct[index % len(distinct)] for index in range(given.frames)]
    ready = []
    for linear in lights:
        frame = av.VideoFrame(width, height, "yuv420p")
        linear_to_yuv420(linear, frame)
        ready.append(frame)
    start = time.perf_counter()
    for linear, frame in zip(lights, ready, strict=True):
        linear_to_yuv420(linear, frame)
    alone_ms = (time.perf_counter() - start) / given.frames * 1000
    times = [(seconds(size, given.preset, lights, None), seconds(size, given.preset, lights, ready)) for _ in range(3)]
    both, encoder = (float(np.median(column)) / given.frames * 1000 for column in zip(*times, strict=True))
    print(f"{given.size}, {given.frames} frames, {given.preset}, ms a frame:")
    print(f"  light to codes alone   {alone_ms:7.1f}")
    print(f"  encoder alone          {encoder:7.1f}")
    print(f"  light to film          {both:7.1f}")
    print(f"light to film / encoder alone: {both / encoder:.2f} (lower is better)")


if __name__ == "__main__":
    main()
