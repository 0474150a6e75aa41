"""Decoding 46 stills of 3840 x 2160 in memory, against one plain pass and against OpenCV's documented loop.

    python bench/bench_scan_decode.py [--quick]

The loop is `getProjPixel` for every camera pixel, as OpenCV's tutorial on structured light shows it. It is timed on
a sample of pixels, in a process of its own that sees opencv-contrib (see tests/scan/peer_gray.py), and scaled up.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.scan.stills import decode_gray, gray_code_length

PROJECTOR = (1920, 1080)
PEERS = Path(os.environ.get("LIMEWASH_PEERS", Path(__file__).parents[1] / ".venv" / "peers"))

_LOOP = """
import sys, time, cv2, numpy as np
wide, high, sample = map(int, sys.argv[1:4])
pattern = cv2.structured_light.GrayCodePattern.create(wide, high)
images = [np.ascontiguousarray(image) for image in np.load(sys.argv[4])]
start = time.perf_counter()
for n in range(sample):
    pattern.getProjPixel(images, n % 256, n // 256 % 144)
print((time.perf_counter() - start) / sample)
"""


def stills(camera: tuple[int, int]) -> NDArray[np.uint8]:
    """Textbook patterns, enlarged to the camera's size, then black and white."""
    pictures = []
    for axis, bits in enumerate(gray_code_length(PROJECTOR)):
        index = np.arange(camera[axis]) * PROJECTOR[axis] // camera[axis]
        for bit in reversed(range(bits)):
            line = ((index ^ index >> 1) >> bit & 1).astype(np.uint8) * 200 + 20
            shown = np.broadcast_to(line[None, :] if axis == 0 else line[:, None], camera[::-1])
            pictures += [shown, 240 - shown]
    ends = [np.full(camera[::-1], level, np.uint8) for level in (20, 220)]
    return np.stack([*pictures, *ends])


def best_s(work: Callable[[], object], runs: int) -> float:
    """Shortest of several runs [s]."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def loop_s(stack: NDArray[np.uint8], sample: int) -> float | None:
    """OpenCV's loop over all pixels of a picture, from a sample [s]; None where opencv-contrib is not there."""
    if not (PEERS / "cv2").is_dir():
        return None
    with tempfile.TemporaryDirectory() as folder:
        few = Path(folder) / "stills.npy"
        np.save(few, stack[:-2, :144, :256])
        command = [sys.executable, "-c", _LOOP, *map(str, (*PROJECTOR, sample)), str(few)]
        environment = {**os.environ, "PYTHONPATH": str(PEERS)}
        done = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
    return float(done.stdout) * stack.shape[1] * stack.shape[2]


def main() -> None:
    quick = "--quick" in sys.argv
    camera = (960, 540) if quick else (3840, 2160)
    stack = stills(camera)
    found = decode_gray(stack, PROJECTOR)  # compiles
    expected = np.arange(camera[0]) * PROJECTOR[0] // camera[0]
    assert np.array_equal(found.x, np.broadcast_to(expected, found.x.shape))
    runs = 3 if quick else 7
    plain = best_s(lambda: np.sum(stack.view(np.uint64)), runs)
    ours = best_s(lambda: decode_gray(stack, PROJECTOR), runs)
    theirs = loop_s(stack, 2_000 if quick else 20_000)
    print(f"{len(stack)} stills of {camera[0]} x {camera[1]}, {stack.nbytes / 1e6:.0f} MB, {os.cpu_count()} cores")
    print(f"{'':34}{'time':>12}  {'relative to ours':>18}")
    print(f"{'limewash.scan.stills.decode_gray':34}{1e3 * ours:9.1f} ms")
    print(f"{'one plain pass (sum)':34}{1e3 * plain:9.1f} ms  ours takes {ours / plain:6.1f} x")
    if theirs is None:
        print(f"OpenCV's loop: left out, no opencv-contrib in {PEERS}")
    else:
        print(f"{'getProjPixel loop (from a sample)':34}{1e3 * theirs:9.0f} ms  ours is {theirs / ours:7.0f} x faster")


if __name__ == "__main__":
    main()
