"""Films of something else than the pattern that is looked for: from a seed, drawn by other rules than ours."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.media.writing import VideoWriter
from limewash.scan.mark import FORMS, KNOWN_SIZES
from limewash.scan.pattern import plan_pattern

Random = np.random.Generator
Picture = NDArray[np.uint8]
Strange = Callable[[tuple[int, int], Random], Iterator[Picture]]


def gray_code_film(size: tuple[int, int], r: Random) -> Iterator[Picture]:
    """A plain Gray code, of this size or another, each picture held for a while, black and white before or after."""
    wide, high = [size, (1024, 768), (800, 600)][r.integers(3)]
    ends = [np.zeros((high, wide), np.uint8), np.full((high, wide), 255, np.uint8)]
    pictures = []
    for axis, length in enumerate((wide, high)):
        for bit in reversed(range(int(np.ceil(np.log2(length))))):
            index = np.arange(length)
            line = ((index ^ index >> 1) >> bit & 1).astype(np.uint8) * 255
            shown = np.broadcast_to(line[None, :] if axis == 0 else line[:, None], (high, wide))
            pictures += [shown, 255 - shown]
    pictures = ends + pictures if r.integers(2) else pictures + ends
    for picture in pictures:
        for _ in range(int(r.integers(5, 9))):
            yield _fitted(picture, size)


def another_size(size: tuple[int, int], r: Random) -> Iterator[Picture]:
    """Our own pattern for another projector, enlarged to this one's picture by the player."""
    others = [s for s in KNOWN_SIZES if s != size and s[0] <= 1920]
    plan = plan_pattern(others[r.integers(len(others))], form=FORMS[r.integers(len(FORMS))])
    for n in range(plan.frame_count):
        yield _fitted(plan.frame(n), size)


def random_show(size: tuple[int, int], r: Random) -> Iterator[Picture]:
    """Shapes and fades to music: full black and full white in some rhythm, then things that move."""
    beat = int(r.integers(5, 16))
    for _ in range(int(r.integers(10, 30))):
        yield from [np.full(size[::-1], 255 * r.integers(2), np.uint8)] * beat
    place, speed = r.uniform(0, 1, (9, 2)) * size, r.uniform(-6, 6, (9, 2))
    for n in range(int(r.integers(200, 500))):
        picture = np.full(size[::-1], int(60 + 60 * np.sin(n / beat)), np.uint8)
        for k, (x, y) in enumerate((place + n * speed) % size):
            cv2.circle(picture, (int(x), int(y)), size[1] // (4 + k), int(255 * (k % 2)), -1)
        yield picture


STRANGE: tuple[Strange, ...] = (gray_code_film, another_size, random_show)


def write_strange(path: Path, kind: Strange, size: tuple[int, int], random: Random) -> None:
    """Write such a film as a player would show it at the projector's size."""
    with VideoWriter(path, size, Fraction(30), crf=14, preset="ultrafast") as out:
        for picture in kind(size, random):
            out.write_grey(picture)


def _fitted(picture: Picture, size: tuple[int, int]) -> Picture:
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR), np.uint8)
