from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented_house import camera_to_wall, invented_correspondence, invented_wall, wall_to_projector

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.geometry.homography import apply_homography
from limewash.scan.geometry import SceneGeometry
from limewash.show.wall import assumed_wall, geometry_metres, wall_metres


def exact_metres(size: tuple[int, int] = (480, 270)) -> np.ndarray:
    """The plane's own map, written without anything of the module under test."""
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    return apply_homography(np.linalg.inv(wall_to_projector(size)), np.stack([x, y], axis=-1))


def test_metres_are_exact_on_a_plane_also_across_glass() -> None:
    wall = invented_wall()
    assert np.abs(np.stack([wall.x_m, wall.y_m], axis=-1) - exact_metres()).max() < 1e-4


def test_a_garage_set_forward_keeps_the_metres_that_the_camera_sees() -> None:
    scan = invented_correspondence(glass=False)
    forward = np.zeros(scan.camera_x.shape, dtype=bool)
    forward[150:230, 300:420] = True
    shifted = np.where(forward, scan.camera_x + np.float32(12.0), scan.camera_x)
    wall = wall_metres(replace(scan, camera_x=shifted), camera_to_wall())
    inner = np.s_[155:225, 305:415]
    assert np.abs(wall.x_m[inner] - exact_metres()[inner][..., 0] - 12.0 * 12.0 / 639.0).max() < 1e-3
    assert np.abs(wall.x_m[:140] - exact_metres()[:140, :, 0]).max() < 1e-3


def test_a_hole_in_a_part_set_forward_is_filled_at_its_depth() -> None:
    scan = invented_correspondence(glass=False)
    x = scan.camera_x + np.float32(12.0)
    x[100:130, 200:240] = np.nan
    x[:, :20] = scan.camera_x[:, :20]
    wall = wall_metres(replace(scan, camera_x=x), camera_to_wall())
    hole = np.s_[100:130, 200:240]
    assert np.abs(wall.x_m[hole] - exact_metres()[hole][..., 0] - 12.0 * 12.0 / 639.0).max() < 0.01


def test_single_wrong_pixels_do_not_show() -> None:
    scan = invented_correspondence(glass=False)
    rng = np.random.default_rng(5)
    wrong = rng.random(scan.camera_x.shape) < 0.002
    wall = wall_metres(replace(scan, camera_x=np.where(wrong, np.float32(50.0), scan.camera_x)), camera_to_wall())
    assert np.abs(wall.x_m - exact_metres()[..., 0]).max() < 0.02


def test_pixel_size_agrees_with_differences_of_the_exact_metres() -> None:
    exact = exact_metres()
    right, down = exact[1:-1, 2:] - exact[1:-1, :-2], exact[2:, 1:-1] - exact[:-2, 1:-1]
    side = np.sqrt(np.abs(right[..., 0] * down[..., 1] - right[..., 1] * down[..., 0])) / 2.0
    assert np.abs(invented_wall().pixel_m()[1:-1, 1:-1] / side - 1.0).max() < 1e-3


def test_pixels_and_metres_are_inverse() -> None:
    points = np.random.default_rng(1).uniform([5, 5], [470, 260], (50, 2))
    wall = invented_wall()
    assert np.abs(wall.pixel_at(wall.at(points)) - points).max() < 1e-3


def test_a_reduced_wall_gives_the_same_metres() -> None:
    wall = invented_wall()
    small = wall.reduced(2)
    points = np.array([[100.0, 50.0], [401.0, 222.0]])
    assert small.size == (240, 135)
    assert np.allclose(small.at((points + 0.5) / 2 - 0.5), wall.at(points), atol=1e-6)
    assert np.allclose(small.pixel_m().mean(), 2.0 * wall.pixel_m().mean(), rtol=0.01)


def test_an_assumed_wall_stands_on_the_ground() -> None:
    wall = assumed_wall((320, 180), 8.0)
    assert wall.x_m[0, 0] == pytest.approx(0.0125)
    assert wall.x_m[0, -1] == pytest.approx(8.0 - 0.0125)
    assert wall.y_m[-1, 0] == pytest.approx(0.0125)
    assert np.allclose(wall.pixel_m(), 0.025)


def test_too_little_seen_is_refused() -> None:
    scan = invented_correspondence()
    blind = np.full_like(scan.camera_x, np.nan)
    with pytest.raises(InputError, match="saw only 0"):
        wall_metres(replace(scan, camera_x=blind, camera_y=blind), camera_to_wall())
    with pytest.raises(InputError, match="width_m must be > 0"):
        assumed_wall((320, 180), 0.0)


def test_a_lawn_wider_than_the_house_does_not_pass_for_its_wall() -> None:
    size = (320, 180)
    device = Device(size, (300.0, 300.0), (159.5, 60.0), np.diag([1.0, -1.0, -1.0]), np.array([0.0, 1.5, 12.0]))
    across, down = np.meshgrid((np.arange(size[0]) - 159.5) / 300.0, (np.arange(size[1]) - 60.0) / 300.0)
    # By hand: a ray (a, -b, -1) from 12 m before the wall meets it at depth 12, the ground at depth 1.5 / b.
    depth = np.full(across.shape, 12.0)
    depth[down > 0.0] = np.minimum(12.0, 1.5 / down[down > 0.0])
    wall_seen = depth == 12.0
    assert wall_seen.mean() < 0.6
    seen = ~wall_seen
    seen[20:60, 60:260] = True  # the lawn is seen whole, of the wall less than a quarter
    normal = np.where(wall_seen[..., None], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]).astype(np.float32)
    unknown = np.full(depth.shape, np.nan, dtype=np.float32)
    geometry = SceneGeometry(
        projector=device,
        camera=device,
        depth_m=np.where(seen, depth, np.nan).astype(np.float32),
        sigma_m=unknown,
        normal=normal,
        tilt_sigma_rad=unknown,
        stretch=0.0,
        tape_m=0.0,
        throw_sigma=0.0,
        metric=True,
    )
    wall = geometry_metres(geometry)
    there = np.s_[25:55, 70:250]
    assert np.abs(wall.x_m[there] - 12.0 * across[there]).max() < 1e-3
    assert np.abs(wall.y_m[there] - (1.5 - 12.0 * down[there])).max() < 1e-3
    # Metres across on the plane that was fitted: 12 / 300 to a pixel, everywhere.
    assert wall.pixel_m() == pytest.approx(12.0 / 300.0, rel=1e-3)
