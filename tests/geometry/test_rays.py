"""The ray kernels against every triangle tried in NumPy, and the packed device against the device."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.geometry.rays import (
    ANY,
    NEAREST,
    STACK_DEPTH,
    Tree,
    build_tree,
    nearest,
    pack_device,
    pixel_direction,
    pixel_of,
)

STACK = np.empty(STACK_DEPTH, dtype=np.int64)


def shoot(
    tree: Tree, origin: np.ndarray, direction: np.ndarray, stop: float = np.inf, anything: object = NEAREST
) -> tuple:
    return nearest(tree, *(float(x) for x in (*origin, *direction)), float(stop), anything, STACK)  # type: ignore[arg-type]


def every_triangle(corners: np.ndarray, origin: np.ndarray, direction: np.ndarray) -> float:
    """Solve origin + t d = a + u ab + v ac for each triangle as a linear system."""
    a, ab, ac = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    system = np.stack([np.tile(-direction, (len(a), 1)), ab, ac], axis=-1)
    good = np.abs(np.linalg.det(system)) > 1e-12
    t, u, v = np.linalg.solve(system[good], (origin - a[good])[..., None])[..., 0].T
    hit = (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 1e-9)
    return float(t[hit].min()) if hit.any() else np.inf


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(1, 400), size=st.sampled_from([0.02, 0.3, 3.0]))
def test_the_nearest_hit_is_the_nearest_of_all(seed: int, count: int, size: float) -> None:
    rng = np.random.default_rng(seed)
    corners = rng.uniform(-2, 2, (count, 1, 3)) + rng.normal(0, size, (count, 3, 3))
    tree = build_tree(corners)
    for origin, direction in zip(rng.uniform(-4, 4, (12, 3)), rng.normal(0, 1, (12, 3)), strict=True):
        place, travel, u, v = shoot(tree, origin, direction)
        expected = every_triangle(corners, origin, direction)
        assert (place >= 0) == np.isfinite(expected)
        assert travel == pytest.approx(expected, rel=1e-9)
        if place >= 0:
            triangle = tree.triangles[place]
            point = triangle[:3] + u * triangle[3:6] + v * triangle[6:]
            np.testing.assert_allclose(point, origin + travel * direction, atol=1e-8)
            np.testing.assert_allclose(triangle[:3], corners[tree.order[place], 0])
            assert shoot(tree, origin, direction, travel * 1.001, ANY)[0] >= 0
            assert shoot(tree, origin, direction, travel * 0.999, ANY)[0] < 0


def test_rays_along_the_axes_and_through_shared_edges_do_not_slip_through() -> None:
    grid = np.arange(0.0, 5.0)
    corners = []
    for x in grid[:-1]:
        for y in grid[:-1]:
            a, b, c, d = (x, y, 0), (x + 1, y, 0), (x + 1, y + 1, 0), (x, y + 1, 0)
            corners += [(a, b, c), (a, c, d)]
    tree = build_tree(np.array(corners, dtype=float))
    for x in np.linspace(0.0, 4.0, 33):
        for y in np.linspace(0.0, 4.0, 33):
            assert shoot(tree, np.array([x, y, 3.0]), np.array([0.0, 0.0, -1.0]))[1] == 3.0


def test_triangles_that_share_one_place_are_all_kept() -> None:
    tree = build_tree(np.tile(np.array([[(0, 0, 0), (1, 0, 0), (0, 1, 0)]], dtype=float), (50, 1, 1)))
    assert sorted(tree.order) == list(range(50))
    assert shoot(tree, np.array([0.2, 0.2, 1.0]), np.array([0.0, 0.0, -1.0]))[1] == 1.0


@settings(max_examples=40, deadline=None)
@given(
    yaw=st.floats(-0.6, 0.6), tilt=st.floats(-0.5, 0.5), k1=st.floats(-0.1, 0.1), p1=st.floats(-0.01, 0.01),
    x=st.floats(0, 639), y=st.floats(0, 359),
)  # fmt: skip
def test_a_packed_device_is_the_device(yaw: float, tilt: float, k1: float, p1: float, x: float, y: float) -> None:
    device = Device.from_throw(
        (640, 360), throw_ratio=1.1, position_m=(1.0, 2.0, 8.0), yaw_rad=yaw, tilt_rad=tilt,
        lens_shift=(0.1, 0.3), distortion=(k1, -k1 / 2, p1, -p1, 0.001),
    )  # fmt: skip
    packed = pack_device(device)
    direction = np.array(pixel_direction(packed, x, y))
    np.testing.assert_allclose(direction / np.linalg.norm(direction), device.rays((x, y)), atol=1e-11)
    point = device.position_m + 5.0 * direction
    *pixel, depth = pixel_of(packed, *(float(c) for c in point))
    np.testing.assert_allclose(pixel, (x, y), atol=1e-7)
    assert depth == pytest.approx(float(device.depth_m(point)), abs=1e-9)
    assert np.isnan(pixel_of(packed, *(float(c) for c in device.position_m - direction))[0])


@pytest.mark.parametrize("shape", [(0, 3, 3), (4, 3), (4, 3, 2)])
def test_what_is_not_triangles_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(InputError, match=r"corners_m must have shape \(N, 3, 3\)"):
        build_tree(np.zeros(shape))
