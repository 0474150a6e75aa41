"""Light on surfaces: laws that hold for every aim, and closed forms."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.geometry.device import Device
from limewash.site.light_maps import Output, illuminance_lx, incidence_rad, light_share, panel_weight
from limewash.site.surface import flat_surface
from limewash.site.visibility import frame_shape, seen

OUTPUT = Output(light_lm=3000.0, contrast=1000.0)
UP = (0.0, 0.0, 1.0)
WALL = flat_surface(np.array([(-500.0, -500, 0), (500, -500, 0), (500, 500, 0), (-500, 500, 0)]), name="wall")

angles = st.floats(-30.0, 30.0)


def aimed(yaw: float = 0.0, tilt: float = 0.0, roll: float = 0.0, distance: float = 6.0, throw: float = 1.5) -> Device:
    return Device.from_throw(
        (1920, 1080),
        throw_ratio=throw,
        position_m=(0.0, 0.0, distance),
        yaw_rad=math.radians(yaw),
        tilt_rad=math.radians(tilt),
        roll_rad=math.radians(roll),
    )


def test_square_on_the_light_is_lumens_over_area() -> None:
    # E = F / A: 3000 lm on 9 m2 give 333.333 lx, everywhere, for an even panel.
    grid = np.stack(np.meshgrid(np.linspace(-1.9, 1.9, 7), np.linspace(-1.1, 1.1, 5), [0.0]), axis=-1)
    assert illuminance_lx(aimed(), OUTPUT, grid, UP) == pytest.approx(333.3333, abs=1e-3)


def test_at_one_metre() -> None:
    # F * TR^2 * 16/9: 12 000 lx for a throw ratio of 1.5, 1333 lx for 0.5.
    for throw, lux in ((1.5, 12000.0), (0.5, 1333.0)):
        device = aimed(distance=1.0, throw=throw)
        assert illuminance_lx(device, OUTPUT, np.zeros(3), UP) == pytest.approx(lux, abs=1.0)


@settings(max_examples=20, deadline=None)
@given(angles, angles, st.floats(-180.0, 180.0), st.sampled_from([1.0, 0.6]))
def test_moving_the_aim_never_changes_the_total(yaw: float, tilt: float, roll: float, corner: float) -> None:
    # The integral over the wall, by summing lux over a fine grid of the wall: another way than ours by pixels.
    device, output = aimed(yaw, tilt, roll), Output(3000.0, 1000.0, corner)
    sight = seen(device, WALL, [])
    assert light_share(sight.picture, device.size, corner) == pytest.approx(1.0, abs=1e-6)
    left, bottom, right, top = sight.plane.bounds
    n = 500
    x = left + (np.arange(n) + 0.5) * (right - left) / n
    y = bottom + (np.arange(n) + 0.5) * (top - bottom) / n
    points = np.stack(np.meshgrid(x, y, [0.0]), axis=-1)
    total = illuminance_lx(device, output, points, UP).sum() * (right - left) * (top - bottom) / n**2
    assert total == pytest.approx(3000.0, rel=5e-3)


@given(st.floats(2.0, 30.0), st.floats(1.1, 4.0), angles, angles)
def test_light_falls_with_the_square_of_the_distance(distance: float, times: float, yaw: float, tilt: float) -> None:
    near, far = aimed(yaw, tilt, distance=distance), aimed(yaw, tilt, distance=distance * times)
    pixel = np.array([500.0, 700.0])
    spots = [np.append(d.wall_points(pixel), 0.0) for d in (near, far)]
    light = [float(illuminance_lx(d, OUTPUT, s, UP)) for d, s in zip((near, far), spots, strict=True)]
    assert light[0] / light[1] == pytest.approx(times**2, rel=1e-9)


@given(st.floats(2.0, 30.0), st.floats(1.1, 4.0), angles, angles)
def test_the_picture_grows_with_the_distance(distance: float, times: float, yaw: float, tilt: float) -> None:
    corners = shapely.get_coordinates(frame_shape(aimed()))
    sizes = [np.ptp(aimed(yaw, tilt, distance=d).wall_points(corners), axis=0) for d in (distance, distance * times)]
    assert sizes[1] == pytest.approx(sizes[0] * times, rel=1e-9)


def test_a_turned_wall_gets_the_cosine() -> None:
    # A small patch at one place, turned about its own middle: E is in proportion to cos(i), CIE law.
    device, place = aimed(), np.array([0.4, 0.3, 0.0])
    ray = (device.position_m - place) / np.linalg.norm(device.position_m - place)
    side = np.cross(ray, [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    straight = float(illuminance_lx(device, OUTPUT, place, ray))
    for degrees in (15.0, 30.0, 60.0):
        a = math.radians(degrees)
        turned = float(illuminance_lx(device, OUTPUT, place, math.cos(a) * ray + math.sin(a) * side))
        assert turned / straight == pytest.approx(math.cos(a), rel=1e-12)
    assert illuminance_lx(device, OUTPUT, place, -ray) == 0.0


def test_corner_light_is_what_the_data_sheet_says() -> None:
    device = aimed()
    corner, middle = (np.append(device.wall_points(np.array(p)), 0.0) for p in ((-0.5, -0.5), (959.5, 539.5)))
    output = Output(3000.0, 1000.0, 0.6)
    e = [float(illuminance_lx(device, output, spot * 0.999999, UP)) for spot in (corner, middle)]
    assert e[0] / e[1] == pytest.approx(0.6, abs=1e-4)
    pixels = np.stack(np.meshgrid(np.arange(1920.0), np.arange(1080.0)), axis=-1)
    assert panel_weight(pixels, (1920, 1080), 0.6).mean() == pytest.approx(1.0, abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.05, 1.0), st.floats(0.0, 900.0), st.floats(0.0, 500.0))
def test_the_light_through_a_shape_agrees_with_a_sum_over_pixels(corner: float, x: float, y: float) -> None:
    shape = shapely.box(x, y, x + 700.0, y + 400.0).difference(shapely.box(x + 100, y + 100, x + 300, y + 200))
    grid = np.stack(np.meshgrid(np.arange(1.5, 1919.5, 4.0), np.arange(1.5, 1079.5, 4.0)), axis=-1)
    inside = shapely.contains_xy(shape, grid[..., 0], grid[..., 1])
    rough = (panel_weight(grid, (1920, 1080), corner) * inside).mean()
    assert light_share(shape, (1920, 1080), corner) == pytest.approx(rough, rel=0.03)


def test_incidence_is_the_angle_to_the_normal() -> None:
    device = aimed()
    angles_found = incidence_rad(device, WALL, np.array([(0.0, 0.0, 0.0), (6.0, 0.0, 0.0)]))
    assert np.degrees(angles_found) == pytest.approx([0.0, 45.0], abs=1e-9)
