"""Pictures of a virtual house for people: by day, at dusk, and lit by a test picture."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.files import make_folder
from limewash.media.images import write_image
from limewash.progress import Progress, part_of, silent
from limewash.world.develop import develop
from limewash.world.virtual import VirtualHouse


def banded_picture(size: tuple[int, int]) -> NDArray[np.float32]:
    """Something to project that shows where the light goes: warm and cool bands with a fine grid, (H, W, 3)."""
    width, height = size
    x, y = np.meshgrid(np.linspace(0.0, 1.0, width), np.linspace(0.0, 1.0, height))
    wave = 0.5 + 0.5 * np.sin(2 * np.pi * (2.2 * x + 0.6 * np.sin(2 * np.pi * y)))
    warm, cool = np.array([1.0, 0.52, 0.16]), np.array([0.12, 0.34, 1.0])
    picture = wave[..., None] * warm + (1.0 - wave[..., None]) * cool
    step = max(width // 32, 2)
    grid = (np.arange(width)[None, :] % step < max(width // 960, 1)) | (
        np.arange(height)[:, None] % step < max(width // 960, 1)
    )
    picture[grid] = 1.0
    return np.asarray(picture, dtype=np.float32)


def save_stills(world: VirtualHouse, folder: Path, *, progress: Progress = silent) -> list[Path]:
    """Save `day.png`, `dusk.png` and `lit.png` of a world into a folder; returns their paths."""
    make_folder(folder)
    view = world.view(progress=part_of(progress, 0.0, 0.4))
    lit = develop(view.picture(banded_picture(world.projector.size)))
    day, dusk = view.daylight(part_of(progress, 0.4, 0.7)), view.dusk(part_of(progress, 0.7, 1.0))
    paths = []
    for name, picture in (("day", day), ("dusk", dusk), ("lit", lit)):
        paths.append(folder / f"{name}.png")
        write_image(paths[-1], picture)
    return paths
