"""A scan of a white corner that lights itself, rendered by Mitsuba 3 with all that bounces to and fro in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bare import WALL, bare_house
from mitsuba_scene import projector, render

from limewash.scan.decode import decode_stack
from limewash.scan.grid import to_projector_grid
from limewash.scan.pattern import plan_pattern
from limewash.scan.shots import pictures_of
from limewash.scan.surface import find_surfaces
from limewash.world.accuracy import accuracy
from limewash.world.virtual import VirtualHouse

pytestmark = pytest.mark.slow

SIZE = (320, 180)
WING = {**WALL, "id": "wing", "title": "Wing", "x_m": (8.0, 20.0), "front_z_m": 5.0, "depth_m": 9.0}
PROJECTOR = {
    "lumens": 3000.0, "throw_ratio": 1.1, "place_m": (3.0, 3.0, 10.0), "yaw_deg": 27.0, "tilt_deg": -2.0,
    "roll_deg": 2.0,
}  # fmt: skip
CAMERA = {"focal_per_width": 1.0, "place_m": (5.5, 2.6, 10.5), "yaw_deg": 16.0, "roll_deg": 1.0}
WHITE_PAINT, BOUNCES = 0.85, 3
DISPLAY, CAMERA_TONE = 2.4, 1 / 2.2  # Rec. ITU-R BT.1886; the usual curve of a camera


def test_light_from_wall_to_wall_does_not_move_the_scan(tmp_path: Path) -> None:
    house = bare_house(WALL, WING, projector=PROJECTOR, camera=CAMERA)
    world = VirtualHouse(house, camera_size=SIZE, projector_size=SIZE)

    def seen(codes: np.ndarray, bounces: int) -> np.ndarray:
        lamp = projector(world.projector, (codes / 255.0) ** DISPLAY, filter_type="nearest")
        return render(world, lamp, tmp_path, bounces=bounces, samples=16, reflectance=WHITE_PAINT)[..., 1]

    white = np.full(SIZE[::-1], 255.0)
    direct, whole = seen(white, 0), seen(white, BOUNCES)
    lit = (direct > 0.02 * direct.max()) & (whole > 0.02 * direct.max())
    scattered = (whole - direct)[lit] / whole[lit]
    assert np.quantile(scattered, 0.9) > 0.2  # the corner is worth the name

    plan = plan_pattern(SIZE, form="short")
    rng = np.random.default_rng(1)
    brightest = np.quantile(whole, 0.99)
    taken = {}
    for hold in pictures_of(plan):
        light = np.clip(0.7 * seen(plan.picture(hold).astype(np.float64), BOUNCES) / brightest, 0.0, None)
        codes = 255.0 * (light + 1e-4) ** CAMERA_TONE + rng.normal(0.0, 0.6, light.shape)
        taken[hold] = np.rint(16.0 * np.clip(codes, 0.0, 255.0)).astype(np.uint16)
    stack = np.stack([taken[replace(hold, beats=1)] for hold in plan.body])
    decoded = decode_stack(stack, np.full(len(stack), 1 / 16), plan)
    found = accuracy(to_projector_grid(decoded, find_surfaces(decoded), SIZE), world.truth())
    assert found.median_px < 0.15
    assert found.rmse_px < 0.4
    assert found.p95_px < 0.6
    assert found.over3_share < 0.001
    # The renderer's own noise, of 16 paths a pixel, drowns some of the wing in the corner, where half of the light is
    # scattered and the wall is lit at a slant.
    assert found.coverage > 0.95
    assert found.false_coverage < 0.01
