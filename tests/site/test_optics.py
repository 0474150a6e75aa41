"""Throw, offset, focus and tilt against data-sheet arithmetic and published examples."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.project.projector import Offset, Projector
from limewash.site.optics import (
    best_focus_m,
    blur_px,
    field_rad,
    focal_length_m,
    focus_limits,
    obliquity,
    picture_width_m,
    prop_height_m,
    size_from_diagonal_m,
    throw_distance_m,
)

FULL_HD = (1920, 1080)


def test_width_is_distance_over_throw_ratio() -> None:
    # Definition of the throw ratio; the area by algebra.
    width = picture_width_m(6.0, throw_ratio=1.5)
    assert width == pytest.approx(4.0, abs=1e-9)
    assert width * width * 9 / 16 == pytest.approx(9.0, abs=1e-9)


def test_a_makers_lens_formula_is_kept() -> None:
    # A maker's manual, table "Lens Formulas": distance = 0.86 W + 0.06, and 1.19 W + 0.02 to 1.63 W + 0.02.
    assert throw_distance_m(4.0, throw_ratio=0.86, throw_extra_m=0.06) == pytest.approx(3.50, abs=0.01)
    assert throw_distance_m(4.0, throw_ratio=1.19, throw_extra_m=0.02) == pytest.approx(4.78, abs=0.01)
    assert throw_distance_m(4.0, throw_ratio=1.63, throw_extra_m=0.02) == pytest.approx(6.54, abs=0.01)
    device = Projector(throw_ratio=0.86, throw_extra_m=0.06).device((0.0, 1.0, 3.5))
    edges = device.wall_points(np.array([[-0.5, 539.5], [1919.5, 539.5]]))
    assert edges[1, 0] - edges[0, 0] == pytest.approx(4.0, abs=1e-9)


@pytest.mark.parametrize(("inches", "width", "height"), [(100, 2.21380, 1.24526), (120, 2.65656, 1.49432)])
def test_size_from_a_diagonal(inches: float, width: float, height: float) -> None:
    # W = d * 16 / sqrt(337), by algebra.
    assert size_from_diagonal_m(inches * 0.0254, size_px=FULL_HD) == pytest.approx((width, height), abs=1e-5)


def test_field_of_the_lens() -> None:
    across, up = field_rad(1.5, size_px=FULL_HD)
    assert (math.degrees(across), math.degrees(up)) == pytest.approx((36.8699, 21.2393), abs=1e-4)


@pytest.mark.parametrize(
    ("percent", "of", "shift"),
    [
        (120.0, "half height", 0.6),  # a projector manual: 648 of 1080 rows up is 120 %
        (100.0, "half height", 0.5),  # two manuals: bottom edge at the lens axis
        (50.0, "full height", 0.5),  # two manuals' figures: bottom edge at the lens axis
        (110.0, "edge", 0.6),  # a glossary: 10 % of the height above the lens
        (60.0, "full height", 0.6),
    ],
)
def test_the_three_ways_to_count_an_offset(percent: float, of: str, shift: float) -> None:
    offset = Offset.model_validate({"percent": percent, "of": of})
    assert offset.shift == pytest.approx(shift, abs=1e-12)


def test_an_offset_of_120_percent_on_the_wall() -> None:
    # A 120 % = B 60 % = C 110 %: bottom 0.225 m, centre 1.350 m above the lens for a picture 2.25 m high.
    for offset in (
        Offset(percent=120.0, of="half height"),
        Offset(percent=60.0, of="full height"),
        Offset(percent=110.0, of="edge"),
    ):
        device = Projector(throw_ratio=1.5, offset=offset).device((0.0, 1.0, 6.0))
        middle, bottom = device.wall_points(np.array([[959.5, 539.5], [959.5, 1079.5]]))
        assert middle[1] - 1.0 == pytest.approx(1.350, abs=1e-9)
        assert bottom[1] - 1.0 == pytest.approx(0.225, abs=1e-9)


def test_focal_length_and_thin_lens() -> None:
    # f = throw ratio x panel width; v = f s / (s - f) and M = s / v, the thin lens.
    f = focal_length_m(1.5, panel_width_m=0.0144)
    assert f == pytest.approx(0.0216, abs=1e-12)
    v = f * 6.0 / (6.0 - f)
    assert v * 1000 == pytest.approx(21.67804, abs=1e-4)
    assert 6.0 / v == pytest.approx(276.778, abs=1e-3)


def test_focus_limits_of_a_usual_lens() -> None:
    # The depth-of-field formulas of dofmaster.com/equations2.html read from the panel outwards.
    found = focus_limits(6.0, focal_m=0.0216, f_number=2.0, blur_m=7.5e-6)
    assert found.hyperfocal_m * 1000 == pytest.approx(31125.6, abs=0.1)
    assert found.near_m * 1000 == pytest.approx(5032.7, abs=0.1)
    assert found.far_m * 1000 == pytest.approx(7427.6, abs=0.1)


def test_focus_limits_of_a_photography_course() -> None:
    # US Navy photography course: H 554 ft, D 10 ft gives 9.8 and 10.2 ft.
    focal = 1e-6  # far below the distances, as the course's short formula takes it
    blur = focal**2 / (2.0 * (554.0 - focal))
    found = focus_limits(10.0, focal_m=focal, f_number=2.0, blur_m=blur)
    assert (found.near_m, found.far_m) == pytest.approx((9.8, 10.2), abs=0.05)


def test_an_eighth_of_the_hyperfocal_distance() -> None:
    # Lens FAQ: focused at H/8, sharp from 8/9 to 8/7 of the distance.
    focal = 1e-7
    found = focus_limits(1.0, focal_m=focal, f_number=2.0, blur_m=focal**2 / (2.0 * (8.0 - focal)))
    assert (found.near_m, found.far_m) == pytest.approx((8 / 9, 8 / 7), rel=1e-6)


@given(st.floats(1.0, 20.0), st.floats(0.3, 3.0), st.floats(1.4, 4.0))
def test_the_blur_is_one_pixel_at_the_limits(at_m: float, throw: float, f_number: float) -> None:
    focal, pixel = focal_length_m(throw, panel_width_m=0.0144), 0.0144 / 1920
    found = focus_limits(at_m, focal_m=focal, f_number=f_number, blur_m=pixel)
    ends = [depth for depth in (found.near_m, found.far_m) if math.isfinite(depth)]
    # The near limit's formula drops a term of the order of the focal length over the distance.
    assert blur_px(ends, at_m=at_m, focal_m=focal, f_number=f_number, pixel_m=pixel) == pytest.approx(1.0, rel=0.1)


@given(st.floats(1.0, 20.0), st.floats(1.0, 3.0))
def test_the_best_focus_blurs_both_ends_alike(near: float, ratio: float) -> None:
    far = near * ratio
    near_blur, far_blur = blur_px([near, far], at_m=best_focus_m(near, far), focal_m=0.02, f_number=2.0, pixel_m=7.5e-6)
    assert near_blur == pytest.approx(far_blur, rel=1e-9, abs=1e-12)


def test_focusing_nearer_than_the_lens_is_refused() -> None:
    with pytest.raises(InputError, match="at_m must be more than the focal length"):
        focus_limits(0.02, focal_m=0.0216, f_number=2.0, blur_m=7.5e-6)


def test_propping_the_rear_feet() -> None:
    # tilt = atan(lift / foot spacing): 20 mm over 250 mm = 4.574 degrees, picture 0.480 m lower at 6 m.
    tilt = math.radians(-4.574)
    assert prop_height_m(tilt, foot_spacing_m=0.25) == pytest.approx(0.020, abs=1e-5)
    device = Device.from_throw(FULL_HD, throw_ratio=1.5, position_m=(0, 1.0, 6.0), tilt_rad=tilt)
    assert 1.0 - device.wall_points(np.array([959.5, 539.5]))[1] == pytest.approx(0.480, abs=5e-4)


def test_light_on_a_turned_wall() -> None:
    # Lambert's cosine law.
    light, stretch = obliquity(np.radians([15.0, 30.0, 45.0, 60.0]))
    assert light == pytest.approx([0.96593, 0.86603, 0.70711, 0.5], abs=5e-6)
    assert stretch == pytest.approx([1.0353, 1.1547, 1.4142, 2.0], abs=5e-5)


@pytest.mark.parametrize(("tilt", "depths"), [(10.0, (5.898, 6.093, 6.301)), (20.0, (5.977, 6.385, 6.853))])
def test_depth_along_a_tilted_axis(tilt: float, depths: tuple[float, float, float]) -> None:
    # D cos(e - t) / cos(e) for the rays of the lower edge, the middle and the upper edge.
    device = Device.from_throw(FULL_HD, throw_ratio=1.5, position_m=(0, 0, 6.0), tilt_rad=math.radians(tilt))
    wall = device.wall_points(np.array([[959.5, 1079.5], [959.5, 539.5], [959.5, -0.5]]))
    points = np.column_stack([wall, np.zeros(3)])
    assert device.depth_m(points) == pytest.approx(depths, abs=1e-3)
