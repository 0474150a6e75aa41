"""Daylight photos laid under photos whose place is known by a homography of OpenCV's."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limewash.errors import InputError
from limewash.facade.align import align, laid_under
from limewash.geometry.homography import apply_homography


def moved(picture: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """The picture from a little elsewhere, in other light; and the homography back."""
    height, width = picture.shape[:2]
    rng = np.random.default_rng(seed)
    corners = np.float32([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]])
    target = corners + rng.uniform(-0.05, 0.05, (4, 2)).astype(np.float32) * width
    matrix = cv2.getPerspectiveTransform(corners, target)
    drawn = cv2.warpPerspective(picture, matrix, (width, height), flags=cv2.INTER_CUBIC).astype(np.float64)
    dusk = 255.0 * (drawn / 255.0) ** 1.8 * np.array([0.5, 0.42, 0.3]) + rng.normal(0.0, 3.0, drawn.shape)
    return np.clip(dusk, 0, 255).astype(np.uint8), np.linalg.inv(matrix)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_moved_photograph_is_found_to_half_a_pixel(seed: int) -> None:
    """On scikit-learn's bundled photograph of a building."""
    photo = pytest.importorskip("sklearn.datasets").load_sample_image("china.jpg")
    daylight, back = moved(photo, seed)
    found = align(daylight, photo)
    height, width = photo.shape[:2]
    grid = np.stack(np.meshgrid(np.linspace(40, width - 40, 7), np.linspace(40, height - 40, 7)), axis=-1)
    off = np.hypot(*np.moveaxis(apply_homography(found.matrix, grid) - apply_homography(back, grid), -1, 0))
    assert np.sqrt((off**2).mean()) < 0.5
    assert found.residual_px < 0.5
    assert found.matches >= 100
    drawn = laid_under(daylight, found, (width, height))
    assert drawn.shape == photo.shape


def test_another_place_is_refused() -> None:
    datasets = pytest.importorskip("sklearn.datasets")
    with pytest.raises(InputError, match=r"details of the two photos match, 25 are needed"):
        align(datasets.load_sample_image("flower.jpg"), datasets.load_sample_image("china.jpg"))


def test_a_blank_picture_is_refused() -> None:
    blank = np.full((200, 300, 3), 90, dtype=np.uint8)
    with pytest.raises(InputError, match="only 0 details"):
        align(blank, blank)
