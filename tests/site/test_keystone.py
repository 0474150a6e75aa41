"""The lit trapezoid and what digital correction costs, against closed forms, OpenCV and shapely."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely.geometry import Polygon

from limewash.geometry.device import Device
from limewash.site.keystone import keystone, largest_upright
from limewash.site.light_maps import pixel_pitch_m
from limewash.site.surface import flat_surface

WALL = flat_surface(np.array([(-50.0, -50, 0), (50, -50, 0), (50, 50, 0), (-50, 50, 0)]), name="wall")
HALF_FIELD = math.atan(9 / (32 * 1.5))


def tilted(degrees: float) -> Device:
    return Device.from_throw((1920, 1080), throw_ratio=1.5, position_m=(0, 0, 6.0), tilt_rad=math.radians(degrees))


@pytest.mark.parametrize(("tilt", "ratio"), [(10.0, 1.068383), (15.0, 1.105796), (20.0, 1.146486)])
def test_top_over_bottom(tilt: float, ratio: float) -> None:
    # cos(t - b) / cos(t + b), the pinhole in closed form.
    found = keystone(tilted(tilt), WALL)
    assert found is not None
    t = math.radians(tilt)
    assert math.cos(t - HALF_FIELD) / math.cos(t + HALF_FIELD) == pytest.approx(ratio, abs=1e-6)
    assert found.side_ratio == pytest.approx(ratio, abs=1e-6)


def test_corners_area_and_homography_of_a_tilted_picture() -> None:
    # By rotating the corner rays by hand (table of check values); area also by shapely's shoelace.
    found = keystone(tilted(10.0), WALL)
    assert found is not None
    expected = [(-2.100292, 2.257601), (2.100292, 2.257601), (1.965859, -0.064893), (-1.965859, -0.064893)]
    assert found.corners_m == pytest.approx(np.array(expected), abs=1e-6)
    assert found.area_m2 == pytest.approx(9.443610, abs=1e-5)
    assert Polygon(expected).area == pytest.approx(found.area_m2, abs=1e-4)
    assert found.corners_m[0, 1] - found.corners_m[3, 1] == pytest.approx(2.322494, abs=1e-6)
    middle = tilted(10.0).wall_points(np.array([959.5, 539.5]))
    assert middle[1] == pytest.approx(1.057962, abs=1e-6)


def test_homography_from_pixels_agrees_with_opencv() -> None:
    # cv2.getPerspectiveTransform from the projected corners; the table counts pixels from the outer edge.
    device = tilted(10.0)
    edge = np.array([(0, 0), (1920, 0), (1920, 1080), (0, 1080)], dtype=np.float32)
    found = keystone(device, WALL)
    assert found is not None
    ours = np.linalg.inv(WALL.to_picture(device)) @ np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    ours /= ours[2, 2]
    theirs = cv2.getPerspectiveTransform(edge, found.corners_m.astype(np.float32))
    table = [[2.187804e-3, 0, -2.100292], [0, -2.154566e-3, 2.257601], [0, 6.33181e-5, 1]]
    assert ours == pytest.approx(np.array(table), rel=1e-5, abs=1e-9)
    assert ours == pytest.approx(theirs, rel=1e-4, abs=1e-6)


def test_what_digital_keystone_leaves() -> None:
    # w = 16 h / 9 <= width at its lower edge: 3.94377 x 2.21837 m, 92.64 % of the lit area.
    found = keystone(tilted(10.0), WALL)
    assert found is not None
    assert found.upright_m[2:] == pytest.approx((3.94377, 2.21837), abs=1e-4)
    assert found.area_kept == pytest.approx(0.9264, abs=1e-4)
    assert 0.9 < found.pixels_kept < 1.0


def test_nothing_is_lost_square_on() -> None:
    found = keystone(tilted(0.0), WALL)
    assert found is not None
    assert (found.pixels_kept, found.area_kept, found.side_ratio) == pytest.approx((1.0, 1.0, 1.0), abs=1e-6)


def test_a_picture_that_misses_the_plane_has_no_trapezoid() -> None:
    assert keystone(tilted(85.0), WALL) is None


@given(st.floats(-25.0, 25.0), st.floats(-25.0, 25.0))
def test_the_upright_picture_lies_inside_the_trapezoid(tilt: float, yaw: float) -> None:
    device = Device.from_throw(
        (1920, 1080),
        throw_ratio=1.5,
        position_m=(0, 0, 6.0),
        tilt_rad=math.radians(tilt),
        yaw_rad=math.radians(yaw),
    )
    found = keystone(device, WALL)
    assert found is not None
    left, bottom, width, height = found.upright_m
    assert height / width == pytest.approx(9 / 16, rel=1e-6)
    upright = Polygon(
        [(left, bottom), (left + width, bottom), (left + width, bottom + height), (left, bottom + height)]
    )
    assert Polygon(found.corners_m).buffer(1e-6).covers(upright)
    # A picture larger by a hundredth, whichever way it is moved, would not fit: try its own place.
    assert not Polygon(found.corners_m).covers(upright.buffer(0.01 * width, join_style="mitre"))


def test_largest_upright_takes_corners_in_either_order() -> None:
    quad: NDArray[np.float64] = np.array([(0.0, 0), (4, 0), (4, 3), (0, 3)])
    for corners in (quad, quad[::-1]):
        assert largest_upright(corners, 0.5)[2:] == pytest.approx((4.0, 2.0))


def test_yaw_stretches_the_far_side() -> None:
    # cos(y - a) / cos(y + a), a = atan(1/3); lit width 4.597571 m; pitch D sec2(e) / (f (1 + (u/f)2)).
    device = Device.from_throw((1920, 1080), throw_ratio=1.5, position_m=(0, 0, 6.0), yaw_rad=math.radians(20))
    found = keystone(device, WALL)
    assert found is not None
    assert found.side_ratio == pytest.approx(1.276150, abs=1e-6)
    row = device.wall_points(np.array([[-0.5, 539.5], [959.5, 539.5], [1919.5, 539.5]]))
    assert row[2, 0] - row[0, 0] == pytest.approx(4.597571, abs=1e-6)
    across, _, _ = pixel_pitch_m(device, WALL, row)
    assert across * 1000 == pytest.approx([1.8764, 2.3593, 3.0558], abs=1e-4)


@pytest.mark.parametrize(("columns", "pitch"), [(1920, 2.0833), (1280, 3.125), (3840, 1.0417)])
def test_pixel_pitch_square_on(columns: int, pitch: float) -> None:
    device = Device.from_throw((columns, columns * 9 // 16), throw_ratio=1.5, position_m=(0, 0, 6.0))
    across, down, worst = pixel_pitch_m(device, WALL, np.array([[0.3, -0.4]]))
    assert np.array([across[0], down[0], worst[0]]) * 1000 == pytest.approx(pitch, abs=1e-4)
