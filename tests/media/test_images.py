"""Stills survive the way to disk and back."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from limewash.errors import InputError
from limewash.media.images import read_image, write_image


def test_png_keeps_every_colour(tmp_path: Path) -> None:
    picture = np.random.default_rng(3).integers(0, 256, (31, 47, 3), dtype=np.uint8)
    write_image(tmp_path / "p.png", picture)
    assert np.array_equal(read_image(tmp_path / "p.png"), picture)


def test_red_is_red_for_another_reader(tmp_path: Path) -> None:
    picture = np.zeros((8, 8, 3), np.uint8)
    picture[..., 0] = 255
    write_image(tmp_path / "p.png", picture)
    assert cv2.imread(str(tmp_path / "p.png"))[0, 0].tolist() == [0, 0, 255]  # OpenCV's order is B, G, R


def test_grey_comes_back_as_equal_channels(tmp_path: Path) -> None:
    grey = np.arange(256, dtype=np.uint8).reshape(16, 16)
    write_image(tmp_path / "g.png", grey)
    assert np.array_equal(read_image(tmp_path / "g.png"), np.repeat(grey[..., None], 3, axis=2))


def test_jpeg_is_close(tmp_path: Path) -> None:
    across, down = np.meshgrid(np.arange(64), np.arange(48))
    picture = np.stack([across * 3, down * 4, 128 + 0 * across], axis=2).astype(np.uint8)
    write_image(tmp_path / "p.jpg", picture)
    assert np.abs(read_image(tmp_path / "p.jpg").astype(int) - picture).mean() < 3.0


def test_what_is_no_picture_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_image(tmp_path / "none.png")
    (tmp_path / "letter.png").write_text("Dear neighbours")
    with pytest.raises(InputError, match="not a picture"):
        read_image(tmp_path / "letter.png")
    with pytest.raises(InputError, match=r"got '\.txt'"):
        write_image(tmp_path / "p.txt", np.zeros((4, 4), np.uint8))
    with pytest.raises(InputError, match="values from 0 to 1"):
        write_image(tmp_path / "p.png", np.zeros((4, 4, 3)))  # type: ignore[arg-type]
    assert [path.name for path in tmp_path.iterdir()] == ["letter.png"]
