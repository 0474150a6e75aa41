"""The parts of the camera's picture that the projector lights."""

from __future__ import annotations

import numpy as np
import pytest

from limewash.scan.lit import lit_blocks
from limewash.scan.pattern import PatternPlan, plan_pattern

SIZE = (200, 331)  # rows and columns: no whole blocks
PLAN: PatternPlan = plan_pattern((1280, 720))


def pictures(light: np.ndarray, car: int | None = None) -> np.ndarray:
    """Sums of 10 frames of the references, whose noise is 1.5 codes: white shows `light`, black number `car` too."""
    noise = np.random.default_rng(3)
    sums = np.zeros((len(PLAN.body), *SIZE), dtype=np.uint16)
    blacks = 0
    for n, hold in enumerate(PLAN.body):
        if hold.kind in ("black", "white"):
            shown = light * (hold.kind == "white") + (60.0 if hold.kind == "black" and blacks == car else 0.0)
            blacks += hold.kind == "black"
            sums[n] = np.rint(10.0 * (30.0 + shown + noise.normal(0.0, 1.5, SIZE)))
    return sums


@pytest.mark.parametrize("car", [None, 0, 1])
def test_light_below_the_noise_of_a_pixel_counts(car: int | None) -> None:
    light = np.zeros(SIZE)
    light[60:140, 100:200] = 0.7
    light[:64, 240:] = 100.0
    blocks = lit_blocks(pictures(light, car), np.full(len(PLAN.body), 0.1), PLAN)
    assert blocks.shape == (13, 21)
    assert blocks[4:9, 6:13].all()
    assert blocks.mean() < 0.7  # of which 0.58 are lit or near it


def test_an_exposure_that_fell_hides_nothing() -> None:
    """White was filmed with a tenth less exposure: what is unlit is darker by 3 codes in it than in black."""
    light = np.zeros(SIZE)
    light[60:140, 100:200] = 5.0
    light[150:190, 100:320] = 100.0
    sums = pictures(light)
    for n, hold in enumerate(PLAN.body):
        if hold.kind == "white":
            sums[n] = np.rint(0.9 * sums[n])
    assert lit_blocks(sums, np.full(len(PLAN.body), 0.1), PLAN)[4:9, 6:13].all()


def test_where_all_is_lit_all_is_lit() -> None:
    assert lit_blocks(pictures(np.full(SIZE, 5.0)), np.full(len(PLAN.body), 0.1), PLAN).all()


def test_a_missing_black_counts_as_black() -> None:
    sums = pictures(np.full(SIZE, 5.0))
    for n, hold in enumerate(PLAN.body):
        if hold.kind == "black":
            sums[n] = 0
    assert lit_blocks(sums, np.full(len(PLAN.body), 0.1), PLAN).all()
