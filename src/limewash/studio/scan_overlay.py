"""A scan for the eye: the projector's pixels as a net over the photo."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.media.images import read_image
from limewash.scan.correspondence import load_correspondence

WIDTH_PX = 1280
_NET = 24
"""Meshes of the net along the width of the projector's picture."""
_LINE = (236, 190, 96)


def scan_overlay(folder: Path) -> NDArray[np.uint8]:
    """The photo, darkened where the scan saw nothing, with the projector's net; R'G'B', at most 1280 px wide."""
    changed_ns = (folder / "correspondence.npz").stat().st_mtime_ns
    return _overlay(folder, changed_ns)


@lru_cache(maxsize=4)
def _overlay(folder: Path, _changed_ns: int) -> NDArray[np.uint8]:
    correspondence = load_correspondence(folder / "correspondence.npz")
    photo = read_image(folder / "photo.png")
    scale = min(WIDTH_PX / photo.shape[1], 1.0)
    size = (round(photo.shape[1] * scale), round(photo.shape[0] * scale))
    picture = np.asarray(cv2.resize(photo, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    places = np.stack([correspondence.camera_x, correspondence.camera_y], axis=-1)
    places = (places + 0.5) * np.float32(scale) - np.float32(0.5)
    seen = _seen_on_photo(places, size)
    picture = np.where(seen[..., None] > 0, picture, (picture * 0.35).astype(np.uint8))
    for line in _net_lines(places):
        _draw(picture, line)
    return picture


def _seen_on_photo(places: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.uint8]:
    known = places[np.isfinite(places).all(axis=-1)]
    at = np.clip(np.rint(known), 0, [size[0] - 1, size[1] - 1]).astype(np.intp)
    seen = np.zeros((size[1], size[0]), dtype=np.uint8)
    seen[at[:, 1], at[:, 0]] = 1
    return np.asarray(cv2.morphologyEx(seen, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)), dtype=np.uint8)


def _net_lines(places: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    height, width = places.shape[:2]
    step = width / _NET
    columns = [round(n * step) for n in range(_NET)] + [width - 1]
    rows = [round(n * step) for n in range(int(height / step) + 1) if round(n * step) < height] + [height - 1]
    return [*(places[:, c] for c in columns), *(places[r] for r in rows)]


def _draw(picture: NDArray[np.uint8], line: NDArray[np.float32]) -> None:
    """The seen stretches of one line of the net."""
    known = np.asarray(np.isfinite(line).all(axis=-1))
    breaks = np.flatnonzero(np.diff(known.astype(np.int8))) + 1
    for stretch in np.split(np.arange(len(line)), breaks):
        if known[stretch[0]] and len(stretch) > 1:
            points = np.rint(line[stretch] * 8).astype(np.int32)
            # A jump of the line means that it went on to a nearer or farther surface.
            jumps = np.flatnonzero(np.abs(np.diff(points, axis=0)).max(axis=1) > 8 * 12) + 1
            for piece in np.split(points, jumps):
                cv2.polylines(picture, [piece], False, _LINE, 1, cv2.LINE_AA, shift=3)
