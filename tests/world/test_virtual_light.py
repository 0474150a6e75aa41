"""The virtual projector and lamps against the inverse-square law and Lambert's law, in closed form."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from bare import BOX, REFLECTANCE, WALL, bare_house, bare_world, luminance
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.geometry.rays import pack_device
from limewash.world.cast import projector_lux
from limewash.world.view import View
from limewash.world.virtual import VirtualHouse

WHITE = np.full((108, 192), 255, dtype=np.uint8)
TILTED = {"lumens": 3000.0, "contrast": 1e9, "throw_ratio": 1.5, "place_m": (10.0, 6.0, 6.0), "tilt_deg": 10.0}


def wall_lux(world: VirtualHouse) -> np.ndarray:
    """Illuminance at the camera's pixels, from luminance on a matt wall: E = pi L / rho."""
    return luminance(world.view(samples=2).picture(WHITE)) * np.pi / REFLECTANCE


def test_a_square_on_picture_has_the_flux_over_its_area_everywhere() -> None:
    # Check-values 2.4: 3000 lm over 4.000 x 2.250 m = 333.333 lx; flat, because every pixel has the same flux.
    lux = wall_lux(bare_world())
    lit = lux[20:88, 40:152]  # the picture spans the camera's middle 2/3
    assert lit == pytest.approx(333.333, rel=1e-4)
    assert lux[:12].max() == 0.0


def test_luminance_is_lambert_s() -> None:
    # Check-values 2.5: L = E rho / pi, the same from every side: move the camera, keep the luminance.
    expected = 333.333 * REFLECTANCE / np.pi
    for place in ((10.0, 6.0, 6.0), (7.0, 5.0, 4.0), (14.0, 7.0, 5.0)):
        yaw = float(np.degrees(np.arctan2(10.0 - place[0], place[2])))
        world = bare_world(camera={"focal_per_width": 1.5, "place_m": place, "yaw_deg": yaw})
        picture = luminance(world.view().picture(WHITE))
        assert picture[54, 96] == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("tilt_deg", [0.0, 10.0, 20.0])
def test_all_of_the_flux_lands_on_the_wall(tilt_deg: float) -> None:
    device = Device.from_throw((192, 108), throw_ratio=1.5, position_m=(10.0, 6.0, 6.0), tilt_rad=np.radians(tilt_deg))
    flux = flux_over_pixels(device, 3000.0)
    assert flux == pytest.approx(3000.0, rel=1e-3)


@settings(max_examples=15, deadline=None)
@given(
    yaw=st.floats(-0.5, 0.5), tilt=st.floats(-0.4, 0.4), throw=st.floats(0.6, 3.0),
    shift=st.floats(-0.6, 0.6), k1=st.floats(-0.05, 0.05), p1=st.floats(-0.01, 0.01),
)  # fmt: skip
def test_the_flux_is_kept_by_any_aim_shift_and_distortion(
    yaw: float, tilt: float, throw: float, shift: float, k1: float, p1: float
) -> None:
    device = Device.from_throw(
        (192, 108), throw_ratio=throw, position_m=(0.0, 0.0, 6.0), yaw_rad=yaw, tilt_rad=tilt,
        lens_shift=(0.0, shift), distortion=(k1, 0.0, p1, -p1, 0.0),
    )  # fmt: skip
    assert flux_over_pixels(device, 2000.0) == pytest.approx(2000.0, rel=2e-3)


def flux_over_pixels(device: Device, lumens: float) -> float:
    """Illuminance at each pixel's middle times the area of wall between the pixel's own corners."""
    width, height = device.size
    edges = np.stack(np.meshgrid(np.arange(width + 1) - 0.5, np.arange(height + 1) - 0.5), axis=-1)
    corner = device.wall_points(edges)
    across, down = corner[1:, 1:] - corner[:-1, :-1], corner[1:, :-1] - corner[:-1, 1:]
    area = 0.5 * np.abs(across[..., 0] * down[..., 1] - across[..., 1] * down[..., 0])
    middle = device.wall_points(np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1))
    packed = pack_device(device)
    lux = [projector_lux(packed, lumens, x, y, 0.0, 0.0, 0.0, 1.0) for x, y in middle.reshape(-1, 2)]
    return float(np.sum(np.array(lux) * area.ravel()))


def test_a_tilted_picture_ends_at_the_trapezoid_s_corners() -> None:
    # Check-values 1.17: t 10 deg, D 6 m: (+-2.100292, 2.257601), (+-1.965859, -0.064893).
    world = bare_world(projector=TILTED, camera={"focal_per_width": 1.0, "place_m": (10.0, 7.0, 6.0)}, size=(768, 432))
    lit = luminance(world.view(samples=1).picture(WHITE)) > 0.0
    corners = np.array([(2.100292, 2.257601), (1.965859, -0.064893)]) + np.array([10.0, 6.0])
    for x, y in corners:
        px = world.camera.project((x, y, 0.0))
        row, column = round(px[1]), round(px[0])
        step = 1 if y > 7.0 else -1  # into the picture
        assert lit[row + 2 * step, column - 2]
        assert not lit[row - 2 * step, column - 2]
        assert not lit[row + 2 * step, column + 2]


def test_a_lamp_follows_inverse_square_and_cosine() -> None:
    # Check-values 2.31: E = I cos(a) / d2. 4 pi klm in all directions is 1000 cd.
    lamp = {
        "place_m": (10.0, 6.0, 2.0),
        "lumens": 4000.0 * np.pi,
        "colour_k": 6500.0,
        "down_only": False,
        "pole": False,
    }
    camera = {"focal_per_width": 1.0, "place_m": (10.0, 6.0, 8.0)}
    world = bare_world(lamps=[lamp], camera=camera)
    lux = luminance(world.view().ambient) * np.pi / REFLECTANCE
    side = 2.0 * np.tan(np.radians(60.0))
    for offset, expected in ((0.6, None), (side, 125.0 / 4)):  # 60 deg off: d doubles, so E = 250 cos(60) / 4
        x, y = world.camera.project((10.0 + offset, 6.0, 0.0))
        distance2 = offset**2 + 4.0
        law = 1000.0 * (2.0 / np.sqrt(distance2)) / distance2
        assert lux[round(y), round(x)] == pytest.approx(law, rel=0.02)
        if expected is not None:
            assert law == pytest.approx(expected, rel=1e-9)


def test_the_open_sky_gives_its_illuminance_to_level_ground() -> None:
    ground = [{"x_m": (-30.0, 50.0), "z_m": (3.0, 60.0), "y_m": 0.0, "surface": "grey"}]
    far = {**WALL, "front_z_m": -40.0}
    camera = {"focal_per_width": 1.0, "place_m": (10.0, 6.0, 30.0), "tilt_deg": -50.0}
    world = VirtualHouse(bare_house(far, ground=ground, camera=camera, sky={"night_lx": 2.0}), camera_size=(192, 108))
    lux = luminance(world.view().ambient) * np.pi / REFLECTANCE
    assert lux[60:, 40:150].mean() == pytest.approx(2.0, rel=0.04)  # the far wall takes a few per cent


def test_what_stands_forward_throws_a_shadow_where_the_projector_is_blocked() -> None:
    projector = {**TILTED, "place_m": (6.0, 2.0, 10.0), "tilt_deg": 0.0, "yaw_deg": 10.0, "throw_ratio": 1.2}
    camera = {"focal_per_width": 1.0, "place_m": (9.5, 2.0, 10.0)}
    world = bare_world(WALL, BOX, projector=projector, camera=camera, size=(768, 432))
    picture = luminance(world.view().picture(WHITE))
    # The box's right front edge, seen from the projector, meets the wall at this x; its left one lies on it.
    shadow_ends = 6.0 + (10.0 - 6.0) * 10.0 / 8.5
    for x, lit in ((shadow_ends - 0.08, False), (shadow_ends + 0.08, True), (10.25, False)):
        column, row = world.camera.project((x, 2.0, 0.0))
        assert (picture[round(row), round(column)] > 1.0) == lit


def test_black_is_white_over_the_contrast() -> None:
    world = bare_world(projector={**TILTED, "contrast": 1000.0})
    view = world.view(samples=1)
    white, black = view.picture(WHITE), view.picture(np.zeros_like(WHITE))
    assert black[54, 96] == pytest.approx(white[54, 96] / 1000.0, rel=1e-5)


@settings(max_examples=10, deadline=None)
@given(a=st.floats(0.0, 0.5), b=st.floats(0.0, 0.5))
def test_light_adds_up(a: float, b: float) -> None:
    view = tilted_view()
    rng = np.random.default_rng(4)
    one, two = (rng.uniform(0, 1, (108, 192, 3)).astype(np.float32) for _ in range(2))
    dark = view.picture(np.zeros((108, 192), np.float32))
    both = view.picture((a * one + b * two).astype(np.float32)) - dark
    apart = a * (view.picture(one) - dark) + b * (view.picture(two) - dark)
    np.testing.assert_allclose(both, apart, atol=2e-4 * float(both.max()) + 1e-6)


@cache
def tilted_view() -> View:
    return bare_world(projector=TILTED).view(samples=1)


def test_a_colour_picture_keeps_its_channels_apart() -> None:
    red = np.zeros((108, 192, 3), np.float32)
    red[..., 0] = 1.0
    picture = tilted_view().picture(red)[54, 96]
    assert picture[0] > 10.0
    assert picture[1:].max() < 1e-3


def test_defocus_spreads_an_edge_and_keeps_its_light() -> None:
    patch = np.zeros((108, 192), np.float32)
    patch[40:70, 80:110] = 1.0
    sharp, soft = tilted_view().picture(patch), tilted_view().picture(patch, defocus_px=2.0)
    assert (soft > 0.05 * sharp.max()).sum() > 1.2 * (sharp > 0.05 * sharp.max()).sum()
    assert soft.sum() == pytest.approx(sharp.sum(), rel=0.02)


def test_bounced_light_comes_from_what_is_lit_and_grows_with_its_share() -> None:
    direct = tilted_view().picture(WHITE)
    extra = [(tilted_view().picture(WHITE, bounce=share) - direct).sum() for share in (0.05, 0.1)]
    assert extra[1] == pytest.approx(2.0 * extra[0], rel=1e-4)
    # Spread evenly the share of the light that comes back is bounce times reflectance; some leaves the picture.
    assert 0.5 * REFLECTANCE < extra[1] / (direct - tilted_view().ambient).sum() / 0.1 < 1.01 * REFLECTANCE
    with pytest.raises(InputError, match="percentage"):
        tilted_view().picture(WHITE, bounce=5.0)


def test_hits_are_where_the_camera_s_pixels_land() -> None:
    hits = tilted_view().hits
    wall = tilted_view().camera.wall_points(np.array([(96.0, 54.0), (60.0, 40.0)]))
    index = np.array([54 * 192 + 96, 40 * 192 + 60])
    np.testing.assert_allclose(hits.position_m[index, :2], wall, atol=1e-9)
    np.testing.assert_allclose(hits.normal[index], [(0, 0, 1)] * 2, atol=1e-12)
    assert tilted_view().albedo[54, 96] == pytest.approx(REFLECTANCE, rel=1e-6)


@pytest.mark.parametrize("shape", [(54, 96), (108, 192, 4), (192, 108)])
def test_a_picture_of_the_wrong_shape_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(InputError, match=r"projected must have shape \(108, 192\)"):
        tilted_view().picture(np.zeros(shape, np.float32))


def test_no_samples_are_refused() -> None:
    with pytest.raises(InputError, match="samples must be at least 1"):
        bare_world().view(samples=0)
