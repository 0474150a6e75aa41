"""Homographies against OpenCV and a textbook quadrilateral."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.geometry.homography import apply_homography, fit_homography

SQUARE = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=float)
shake = st.lists(st.floats(-0.3, 0.3), min_size=8, max_size=8)


def test_the_unit_square_goes_to_the_textbook_quadrilateral() -> None:
    # Check-values 1.23 (Heckbert's form, also by OpenCV).
    matrix = fit_homography(SQUARE, [(0, 0), (4, 0), (3, 2), (1, 2)])
    np.testing.assert_allclose(matrix, [[4, 2, 0], [0, 4, 0], [0, 1, 1]], atol=1e-9)
    np.testing.assert_allclose(apply_homography(matrix, (0.5, 0.5)), (2.0, 4.0 / 3.0), atol=1e-9)


def test_pixels_to_metres_of_a_tilted_projector() -> None:
    # Check-values 1.21: t 10 deg, D 6 m, corners of the picture at 0 and 1920 x 1080; OpenCV and scikit-image.
    device = Device.from_throw((1920, 1080), throw_ratio=1.5, position_m=(0.0, 0.0, 6.0), tilt_rad=np.radians(10.0))
    corners = np.array([(0, 0), (1920, 0), (1920, 1080), (0, 1080)], dtype=float)
    matrix = fit_homography(corners, device.wall_points(corners - 0.5))
    expected = [[2.187804e-3, 0, -2.100292], [0, -2.154566e-3, 2.257601], [0, 6.33181e-5, 1]]
    np.testing.assert_allclose(matrix, expected, rtol=1e-6, atol=1e-10)


@given(shake)
def test_four_points_agree_with_opencv(offsets: list[float]) -> None:
    target = (SQUARE + np.array(offsets).reshape(4, 2)) * 100.0
    expected = cv2.getPerspectiveTransform(SQUARE.astype(np.float32), target.astype(np.float32))
    points = np.random.default_rng(0).uniform(0, 1, (20, 2))
    matrix = fit_homography(SQUARE, target.astype(np.float32))
    np.testing.assert_allclose(apply_homography(matrix, points), apply_homography(expected, points), atol=1e-3)


@given(shake)
def test_the_fit_through_noisy_points_is_as_close_as_opencv_s(offsets: list[float]) -> None:
    rng = np.random.default_rng(1)
    true = fit_homography(SQUARE, SQUARE + np.array(offsets).reshape(4, 2))
    source = rng.uniform(0, 1, (200, 2))
    target = apply_homography(true, source) + rng.normal(0, 1e-3, (200, 2))
    theirs, _ = cv2.findHomography(source, target)

    def rms(matrix: np.ndarray) -> float:
        return float(np.sqrt(np.mean((apply_homography(matrix, source) - target) ** 2)))

    assert rms(fit_homography(source, target)) <= 1.01 * rms(np.asarray(theirs))


@given(shake)
def test_there_and_back_is_the_identity(offsets: list[float]) -> None:
    matrix = fit_homography(SQUARE, SQUARE + np.array(offsets).reshape(4, 2))
    points = np.random.default_rng(2).uniform(0, 1, (10, 2))
    there = apply_homography(matrix, points)
    np.testing.assert_allclose(apply_homography(np.linalg.inv(matrix), there), points, atol=1e-7)


def test_heavy_points_pull_the_fit() -> None:
    source = np.vstack([SQUARE, SQUARE])
    target = np.vstack([SQUARE, SQUARE + 1.0])
    weights = np.array([1e6] * 4 + [1.0] * 4)
    moved = apply_homography(fit_homography(source, target, weights=weights), SQUARE)
    np.testing.assert_allclose(moved, SQUARE, atol=1e-4)


def test_the_horizon_is_nowhere() -> None:
    assert np.isnan(apply_homography(np.array([[1, 0, 0], [0, 1, 0], [0, 1.0, -1.0]]), (3.0, 1.0))).all()


def test_points_on_a_line_are_refused() -> None:
    with pytest.raises(InputError, match="do not fix a plane"):
        fit_homography([(0, 0), (1, 1), (2, 2), (3, 3)], SQUARE)


@pytest.mark.parametrize("count", [0, 3])
def test_too_few_points_are_refused(count: int) -> None:
    with pytest.raises(InputError, match="at least 4"):
        fit_homography(np.zeros((count, 2)), np.zeros((count, 2)))
