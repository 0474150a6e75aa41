"""The device model against OpenCV's camera and the keystone figures of a pinhole worked out elsewhere."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.geometry.device import Device, distort, undistort

angles = st.floats(-0.6, 0.6)
lenses = st.tuples(
    st.floats(-0.15, 0.15), st.floats(-0.05, 0.05), *(st.floats(-0.01, 0.01) for _ in range(3))
)  # fmt: skip
HALF_LAST_DIGIT = 5e-7  # the keystone figures are printed to 6 decimals


@given(yaw=angles, tilt=angles, roll=angles, lens=lenses, shift=st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5)))
def test_project_is_opencv_s_projection(
    yaw: float, tilt: float, roll: float, lens: tuple[float, float, float, float, float], shift: tuple[float, float]
) -> None:
    device = Device.from_throw(
        (1920, 1080), throw_ratio=1.2, position_m=(2.0, 1.5, 9.0), yaw_rad=yaw, tilt_rad=tilt, roll_rad=roll,
        lens_shift=shift, distortion=lens,
    )  # fmt: skip
    pixels = np.array([(0, 0), (1919, 0), (960, 540), (300, 1000), (1700, 200)], dtype=float)
    points = device.position_m + device.rays(pixels) * np.array([[4.0], [9.0], [12.0], [7.0], [3.0]])
    # Half a turn about x first: rotation vectors near half a turn, which ours are, lose digits.
    turned = device.rotation * (1.0, -1.0, -1.0)
    rotation, _ = cv2.Rodrigues(turned)
    # OpenCV takes a turn of less than 1e-5 rad for none.
    assume(np.any(rotation) or np.array_equal(turned, np.eye(3)))
    expected, _ = cv2.projectPoints(
        points * (1.0, -1.0, -1.0), rotation, -device.rotation @ device.position_m, device.camera_matrix, np.array(lens)
    )
    np.testing.assert_allclose(device.project(points), expected[:, 0], atol=1e-6)
    np.testing.assert_allclose(device.project(points), pixels, atol=1e-6)  # rays and project undo each other


@given(lens=lenses)
def test_undistort_is_opencv_s(lens: tuple[float, float, float, float, float]) -> None:
    xy = np.array([(0.0, 0.0), (0.3, -0.2), (-0.35, 0.2), (0.1, 0.25)])
    bent = distort(xy, lens)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 200, 1e-14)
    expected = cv2.undistortPoints(bent[:, None], np.eye(3), np.array(lens), criteria=criteria)
    np.testing.assert_allclose(undistort(bent, lens), xy, atol=1e-10)
    np.testing.assert_allclose(expected[:, 0], xy, atol=1e-8)


def at_six_metres(**aim: float) -> Device:
    return Device.from_throw((1920, 1080), throw_ratio=1.5, position_m=(0.0, 0.0, 6.0), **aim)  # type: ignore[arg-type]


def corners_on_wall(device: Device) -> np.ndarray:
    """Outer corners of the corner pixels: upper left, upper right, lower right, lower left."""
    return device.wall_points(np.array([(-0.5, -0.5), (1919.5, -0.5), (1919.5, 1079.5), (-0.5, 1079.5)]))


@pytest.mark.parametrize(("tilt_deg", "ratio"), [(10, 1.068383), (15, 1.105796), (20, 1.146486)])
def test_keystone_of_a_tilted_picture(tilt_deg: float, ratio: float) -> None:
    # Check-values 1.15, 1.16: pinhole; agrees with OpenCV and scikit-image.
    c = corners_on_wall(at_six_metres(tilt_rad=np.radians(tilt_deg)))
    assert (c[1, 0] - c[0, 0]) / (c[2, 0] - c[3, 0]) == pytest.approx(ratio, abs=HALF_LAST_DIGIT)


def test_corners_height_middle_and_area_of_a_tilted_picture() -> None:
    # Check-values 1.17 to 1.20, t = 10 deg, D = 6 m; the area also by shapely.
    device = at_six_metres(tilt_rad=np.radians(10.0))
    c = corners_on_wall(device)
    expected = [(-2.100292, 2.257601), (2.100292, 2.257601), (1.965859, -0.064893), (-1.965859, -0.064893)]
    np.testing.assert_allclose(c, expected, atol=HALF_LAST_DIGIT)
    assert c[0, 1] - c[3, 1] == pytest.approx(2.322494, abs=HALF_LAST_DIGIT)
    middle = device.wall_points(np.array(device.centre_px))
    np.testing.assert_allclose(middle, (0.0, 1.057962), atol=HALF_LAST_DIGIT)
    x, y = c.T
    area = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    assert area == pytest.approx(9.443610, abs=5e-6)


def test_yaw_stretches_the_far_side() -> None:
    # Check-values 1.24, 1.25: y = 20 deg; heights of the sides, lit width, pixel pitch near, middle and far.
    device = at_six_metres(yaw_rad=np.radians(20.0))
    c = corners_on_wall(device)
    far, near = c[1, 1] - c[2, 1], c[0, 1] - c[3, 1]
    assert far / near == pytest.approx(1.276150, abs=HALF_LAST_DIGIT)
    # The top edge runs obliquely in height, not in width: both sides stand upright.
    assert c[1, 0] - c[0, 0] == pytest.approx(4.597571, abs=HALF_LAST_DIGIT)
    for column, pitch_mm in ((-0.5, 1.8764), (959.5, 2.3593), (1919.5, 3.0558)):
        ends = device.wall_points(np.array([(column - 0.01, 539.5), (column + 0.01, 539.5)]))
        assert (ends[1, 0] - ends[0, 0]) / 0.02 * 1000 == pytest.approx(pitch_mm, abs=5e-5)


def test_throw_ratio_is_distance_over_width() -> None:
    # Check-values 1.1, 1.2: D 6 m, TR 1.5 -> 4.000 x 2.250 m.
    c = corners_on_wall(at_six_metres())
    np.testing.assert_allclose(c[1] - c[3], (4.0, 2.25), atol=1e-12)


def test_half_a_picture_of_shift_puts_the_bottom_level_with_the_lens() -> None:
    # Check-values 1.12: 50 % of the full height.
    device = at_six_metres(lens_shift=(0.0, 0.5))  # type: ignore[arg-type]
    np.testing.assert_allclose(corners_on_wall(device)[2:, 1], 0.0, atol=1e-12)


@given(yaw=angles, tilt=angles, roll=angles)
def test_signs_of_the_aim(yaw: float, tilt: float, roll: float) -> None:
    device = at_six_metres(yaw_rad=yaw, tilt_rad=tilt, roll_rad=roll)
    right, _, forward = device.rotation
    assert np.sign(forward[0]) == np.sign(np.sin(yaw))  # positive yaw looks to the right
    assert np.sign(forward[1]) == np.sign(np.sin(tilt))  # positive tilt looks up
    assert np.sign(-right[1]) == np.sign(np.sin(roll))  # positive roll: the right side goes down
    np.testing.assert_allclose(device.rotation @ device.rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(device.rotation) == pytest.approx(1.0)


@given(width=st.integers(64, 4096), height=st.integers(64, 2160))
def test_another_size_shows_the_same_view(width: int, height: int) -> None:
    device = at_six_metres(tilt_rad=0.1, yaw_rad=-0.2)
    other = device.resized((width, height))
    np.testing.assert_allclose(
        other.wall_points(np.array([(-0.5, -0.5), (width - 0.5, height - 0.5)])),
        corners_on_wall(device)[[0, 2]],
        atol=1e-9,
    )


def test_points_behind_are_nowhere() -> None:
    assert np.isnan(at_six_metres().project((0.0, 0.0, 7.0))).all()


def test_rays_that_miss_the_wall_give_nan() -> None:
    assert np.isnan(at_six_metres(tilt_rad=np.radians(85.0)).wall_points((960.0, 0.0))).all()


@pytest.mark.parametrize(
    ("size", "throw", "message"), [((1920, 1080), 0.0, "throw_ratio must be > 0"), ((1, 1), 1.5, "at least 2 x 2")]
)
def test_impossible_devices_are_refused(size: tuple[int, int], throw: float, message: str) -> None:
    with pytest.raises(InputError, match=message):
        Device.from_throw(size, throw_ratio=throw, position_m=(0, 0, 6))


def test_zhang_s_calibration_finds_the_device_again() -> None:
    """Zhang, A flexible new technique for camera calibration, IEEE PAMI 22(11), 2000; as OpenCV implements it.

    A board of 9 x 7 corners in eight poses, projected by our model: OpenCV must find our lens in it.
    """
    true = Device.from_throw(
        (1920, 1080), throw_ratio=0.9, position_m=np.zeros(3), lens_shift=(0.01, -0.02),
        distortion=(0.08, -0.12, 0.0012, -0.0008, 0.03),
    )  # fmt: skip
    board = np.stack([*np.meshgrid(np.arange(9.0), np.arange(7.0)), np.zeros((7, 9))], axis=-1).reshape(-1, 3) * 0.1
    middle = board.mean(axis=0)
    views = []
    for n in range(8):
        turn = np.asarray(cv2.Rodrigues(np.array([0.5 * np.sin(2.0 * n), 0.5 * np.cos(1.3 * n), 0.2 * n]))[0])
        away = np.array([0.25 * np.sin(n), 0.15 * np.cos(2.0 * n), 1.1 + 0.05 * n])
        # The board's points in the device's frame; the device looks along z of its own.
        placed = replace(true, rotation=turn, position_m=middle - turn.T @ away)
        views.append(placed.project(board).astype(np.float32))
    error, matrix, lens, *_ = cv2.calibrateCamera(
        [board.astype(np.float32)] * len(views), views, true.size, np.eye(3), np.zeros(5)
    )
    assert error < 1e-3
    assert np.allclose(matrix, true.camera_matrix, atol=0.05)
    assert np.allclose(lens.ravel()[:5], true.distortion, atol=2e-3)
