"""Compile what later stages need, in a process of its own, while the first stages run.

On a fresh machine the kernels of the phone, the scan and the show take some fifteen seconds to compile, on one core.
They land in Numba's cache on disk, where the demo finds them when it comes to them.
"""

from __future__ import annotations

import multiprocessing
import tempfile
from importlib import resources
from pathlib import Path

import numpy as np

SIZE = (320, 240)


class Warmer:
    """Runs `warm_up` beside the first stages."""

    def __init__(self) -> None:
        self._process = multiprocessing.get_context("spawn").Process(
            target=warm_up, name="limewash-warm-up", daemon=True
        )

    def start(self) -> None:
        """Begin, without waiting."""
        self._process.start()

    def wait(self) -> None:
        """Wait until all is compiled, if it was begun."""
        if self._process.pid is not None:
            self._process.join()

    def stop(self) -> None:
        """End it, done or not."""
        if self._process.pid is not None:
            self._process.kill()
            self._process.join()


def warm_up() -> None:
    """Film, scan and draw a show on a flat wall, at a size where only the compiling takes time."""
    try:
        _film()
        _scan()
        _show()
    except KeyboardInterrupt:
        return  # Ctrl+C reaches this process too; the demo itself answers it


def _film() -> None:
    from fractions import Fraction

    from limewash.media.writing import VideoWriter
    from limewash.world.film import film
    from limewash.world.phone import Phone

    with tempfile.TemporaryDirectory() as folder:
        shown, clip = Path(folder) / "shown.mp4", Path(folder) / "clip.mp4"
        with VideoWriter(shown, (64, 64), Fraction(30)) as writer:
            for level in (0, 255):
                writer.write_rgb(np.full((64, 64, 3), level, dtype=np.uint8))
        film(shown, clip, lambda frame: frame.astype(np.float32), Phone(lead_s=0.1, tail_s=0.1))


def _scan() -> None:
    from limewash.scan.decode import decode_stack
    from limewash.scan.grid import to_projector_grid
    from limewash.scan.pattern import plan_pattern
    from limewash.scan.surface import find_surfaces

    plan = plan_pattern(SIZE)
    stack = np.stack([plan.picture(hold) for hold in plan.body]).astype(np.uint16)
    decoded = decode_stack(stack, np.ones(len(stack)), plan)
    to_projector_grid(decoded, find_surfaces(decoded), SIZE)


def _show() -> None:
    from limewash.facade.map import HouseMap, MapPath, Mask
    from limewash.facade.tracing import Kind
    from limewash.show.fields import Fields
    from limewash.show.render import render_show
    from limewash.show.score import read_score
    from limewash.show.wall import assumed_wall

    width, height = SIZE
    corners = np.array([[1.0, 1.0], [width - 2.0, 1.0], [width - 2.0, height - 2.0], [1.0, height - 2.0]])
    kinds = [kind for kind in Kind if kind is not Kind.KEEP_DARK]
    lines = [MapPath(kind.value, kind, kind.value, True, corners, n) for n, kind in enumerate(kinds, start=1)]
    stripes = 1 + np.arange(width, dtype=np.int32) * len(lines) // width
    areas = np.tile(stripes, (height, 1))
    masks = {line.id: Mask(0, 0, np.where(areas == line.label, 255, 0).astype(np.uint8)) for line in lines}
    lines.append(MapPath("line", Kind.ROOF_LINE, "line", False, corners))
    house_map = HouseMap(SIZE, tuple(lines), areas, masks)
    with resources.as_file(resources.files("limewash.show.demo") / "short.toml") as path:
        score = read_score(path)
    slow = score.model_copy(update={"show": score.show.model_copy(update={"rate": 2.0})})
    with tempfile.TemporaryDirectory() as folder:
        render_show(slow, Fields(house_map, assumed_wall(SIZE, 10.0)), Path(folder) / "warm.mp4")
