"""Ways in which a clip can be spoilt: by the file system, the player, the phone, or the person. All from a seed."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.media.reading import ClipReader
from limewash.media.writing import VideoWriter

Random = np.random.Generator
Frames = list[NDArray[np.uint8]]
Spoil = Callable[[Frames, Random], Frames]
SpoilFile = Callable[[bytes, Random], bytes]


def frames_of(clip: Path) -> Frames:
    """All frames, full-range grey."""
    with ClipReader(clip) as reader:
        return [
            np.clip(np.rint((luma.astype(np.float32) - 16) * (255 / 219)), 0, 255).astype(np.uint8)
            for _, luma in reader.luma()
        ]


def write_frames(path: Path, frames: Frames, rate: Fraction = Fraction(30000, 1001)) -> None:
    with VideoWriter(path, (frames[0].shape[1], frames[0].shape[0]), rate, crf=20, preset="ultrafast") as out:
        for frame in frames:
            out.write_grey(frame)


def cut_end(f: Frames, r: Random) -> Frames:
    return f[: r.integers(1, len(f))]


def cut_start(f: Frames, r: Random) -> Frames:
    return f[r.integers(1, len(f)) :]


def drop_some(f: Frames, r: Random) -> Frames:
    share = r.uniform(0.01, 0.5)
    return [frame for frame in f if r.uniform() > share] or f[:1]


def skip_a_stretch(f: Frames, r: Random) -> Frames:
    at, long = r.integers(0, len(f)), r.integers(2, 60)
    return f[:at] + f[at + long :] or f[:1]


def freeze(f: Frames, r: Random) -> Frames:
    at, long = r.integers(0, len(f)), r.integers(2, 60)
    return f[:at] + [f[at]] * int(long) + f[at:]


def stutter(f: Frames, r: Random) -> Frames:
    return [f[max(n - int(r.integers(0, 4)), 0)] for n in range(len(f))]


def shuffle_all(f: Frames, r: Random) -> Frames:
    return [f[n] for n in r.permutation(len(f))]


def shuffle_near(f: Frames, r: Random) -> Frames:
    reach = r.uniform(2, 12)
    return [f[n] for n in np.argsort(np.arange(len(f)) + r.uniform(0, reach, len(f)))]


def swap_stretches(f: Frames, r: Random) -> Frames:
    a, b = sorted(r.integers(0, len(f), 2))
    long = int(r.integers(4, 60))
    return f[:a] + f[b : b + long] + f[a + long : b] + f[a : a + long] + f[b + long :] or f[:1]


def all_black(f: Frames, r: Random) -> Frames:
    return [np.zeros_like(frame) for frame in f]


def black_for_a_while(f: Frames, r: Random) -> Frames:
    at, long = r.integers(0, len(f)), r.integers(3, 90)
    return [np.zeros_like(x) if at <= n < at + long else x for n, x in enumerate(f)]


def turned(f: Frames, r: Random) -> Frames:
    return [np.ascontiguousarray(x[::-1, ::-1]) for x in f]


def mirrored(f: Frames, r: Random) -> Frames:
    return [np.ascontiguousarray(x[:, ::-1]) for x in f]


def other_speed(f: Frames, r: Random) -> Frames:
    speed = r.uniform(0.5, 2.0)
    return [f[int(n)] for n in np.arange(0, len(f) - 1, speed)]


def backwards(f: Frames, r: Random) -> Frames:
    return f[::-1]


def bump(f: Frames, r: Random) -> Frames:
    at, (dx, dy) = _while_it_plays(f, r), r.uniform(-12, 12, 2)
    return [_moved(x, dx, dy) if n >= at else x for n, x in enumerate(f)]


def sway(f: Frames, r: Random) -> Frames:
    far, speed = r.uniform(0.3, 8), r.uniform(0.05, 1.5)
    return [_moved(x, far * np.sin(n * speed), far * np.cos(1.3 * n * speed)) for n, x in enumerate(f)]


def roll(f: Frames, r: Random) -> Frames:
    most, (h, w) = r.uniform(0.2, 6.0), f[0].shape
    turn = [cv2.getRotationMatrix2D((w / 2, h / 2), most * n / len(f), 1.0) for n in range(len(f))]
    return [cv2.warpAffine(x, m, (w, h)) for x, m in zip(f, turn, strict=True)]


def heavy_noise(f: Frames, r: Random) -> Frames:
    sd = r.uniform(5, 80)
    return [np.clip(x + sd * r.standard_normal(x.shape, np.float32), 0, 255).astype(np.uint8) for x in f]


def heavy_blur(f: Frames, r: Random) -> Frames:
    sd = r.uniform(1, 12)
    return [cv2.GaussianBlur(x, (0, 0), sd) for x in f]


def exposure_jumps(f: Frames, r: Random) -> Frames:
    at, gain = sorted(r.integers(0, len(f), 4)), np.exp(r.uniform(-1, 1, 5))
    return [np.clip(x * gain[np.searchsorted(at, n)], 0, 255).astype(np.uint8) for n, x in enumerate(f)]


def somebody_walks_by(f: Frames, r: Random) -> Frames:
    out, (h, w) = [], f[0].shape
    at, speed, wide = r.integers(0, len(f)), r.uniform(1, 8), int(r.integers(w // 20, w // 3))
    for n, frame in enumerate(f):
        x = round((n - at) * speed)
        walked = frame.copy()
        if x < w and x + wide > 0:
            walked[h // 3 :, max(x, 0) : max(x + wide, 0)] = 18
        out.append(walked)
    return out


def zoomed_midway(f: Frames, r: Random) -> Frames:
    at, zoom, (h, w) = _while_it_plays(f, r), r.uniform(1.01, 1.5), f[0].shape
    m = cv2.getRotationMatrix2D((w / 2, h / 2), 0.0, zoom)
    return [cv2.warpAffine(x, m, (w, h)) if n >= at else x for n, x in enumerate(f)]


def noise_for_frames(f: Frames, r: Random) -> Frames:
    at, long = r.integers(0, len(f)), r.integers(1, 40)
    return [r.integers(0, 256, x.shape).astype(np.uint8) if at <= n < at + long else x for n, x in enumerate(f)]


def twice(f: Frames, r: Random) -> Frames:
    at = int(r.integers(len(f) // 4, len(f)))
    return f[:at] + f


def cut_bytes(data: bytes, r: Random) -> bytes:
    return data[: r.integers(1, len(data))]


def flip_bytes(data: bytes, r: Random) -> bytes:
    spoilt = bytearray(data)
    for at in r.integers(0, len(data), int(2 ** r.uniform(0, 10))):
        spoilt[at] = int(r.integers(0, 256))
    return bytes(spoilt)


def spoil_the_head(data: bytes, r: Random) -> bytes:
    spoilt = bytearray(data)
    for at in r.integers(0, min(4000, len(data)), int(r.integers(1, 30))):
        spoilt[at] = int(r.integers(0, 256))
    return bytes(spoilt)


def blank_a_stretch(data: bytes, r: Random) -> bytes:
    at, long = int(r.integers(0, len(data))), int(r.integers(100, 40_000))
    return data[:at] + bytes(long) + data[at + long :]


def only_noise(data: bytes, r: Random) -> bytes:
    return r.bytes(int(r.integers(1, 60_000)))


def nothing(data: bytes, r: Random) -> bytes:
    return b""


FRAMES: tuple[Spoil, ...] = (
    cut_end, cut_start, drop_some, skip_a_stretch, freeze, stutter, shuffle_all, shuffle_near, swap_stretches,
    all_black, black_for_a_while, turned, mirrored, other_speed, backwards, bump, sway, roll, heavy_noise, heavy_blur,
    exposure_jumps, somebody_walks_by, zoomed_midway, noise_for_frames, twice,
)  # fmt: skip
FILES: tuple[SpoilFile, ...] = (cut_bytes, flip_bytes, spoil_the_head, blank_a_stretch, only_noise, nothing)


def _while_it_plays(f: Frames, r: Random) -> int:
    """A frame after the start mark: what happens before it does not matter."""
    return int(r.integers(round(0.45 * len(f)), len(f)))


def _moved(picture: NDArray[np.uint8], dx: float, dy: float) -> NDArray[np.uint8]:
    move = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    moved = cv2.warpAffine(picture, move, picture.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.uint8)
