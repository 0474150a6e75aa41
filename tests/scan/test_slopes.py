"""Usual steps around pixels, against the slopes of the planes that the places were made of."""

from __future__ import annotations

import numpy as np
import pytest

from limewash.scan.slopes import UsualSteps, slopes_around

SHAPE = (90, 130)


def planes(first: tuple[float, ...], second: tuple[float, ...], noise: float) -> np.ndarray:
    """x, y and noise of two planes side by side, far from each other; (slope x, y to the right, x, y down) each."""
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)
    left = col < SHAPE[1] / 2
    seen = np.empty((3, *SHAPE), dtype=np.float32)
    for axis in range(2):
        one, two = (s[axis] * col + s[2 + axis] * row for s in (first, second))
        seen[axis] = np.where(left, one, two + 300.0) + np.random.default_rng(axis).normal(0.0, noise, SHAPE)
    seen[2] = noise
    return seen


@pytest.mark.parametrize("noise", [0.0, 0.1])
@pytest.mark.parametrize("tile", [(0, 90, 0, 130), (16, 48, 32, 96), (64, 90, 96, 130)])
def test_slopes_of_two_planes(noise: float, tile: tuple[int, int, int, int]) -> None:
    first, second = (0.9, 0.02, -0.01, 0.8), (1.4, -0.1, 0.2, 0.9)
    seen = planes(first, second, noise)
    seen[:, 20:30, 20:40] = np.nan
    slopes = slopes_around(seen, tile, UsualSteps.of(seen[0], seen[1]))
    rows, columns = slice(tile[0], tile[1]), slice(tile[2], tile[3])
    row, col = np.mgrid[rows, columns]
    inside = ~((row >= 20) & (row < 30) & (col >= 20) & (col < 40)) & (np.abs(col - SHAPE[1] / 2) > 11)
    for k in range(4):
        expected = np.where(col < SHAPE[1] / 2, first[k], second[k])
        assert np.abs(slopes[k] - expected)[inside].max() < 1e-3 + 1.2 * noise
        # A jump is no step: the mean of the near ones keeps to its own side.
        assert np.abs(slopes[k] - expected)[np.abs(col - SHAPE[1] / 2) > 2].mean() < 1e-3 + 0.25 * noise


def test_a_tile_knows_what_the_whole_knows() -> None:
    seen = planes((0.9, 0.02, -0.01, 0.8), (1.4, -0.1, 0.2, 0.9), 0.2)
    seen[:, np.random.default_rng(5).random(SHAPE) < 0.3] = np.nan
    usual = UsualSteps.of(seen[0], seen[1])
    whole = slopes_around(seen, (0, *SHAPE[:1], 0, SHAPE[1]), usual)
    part = slopes_around(seen, (32, 64, 48, 112), usual)
    np.testing.assert_allclose(part, whole[:, 32:64, 48:112], atol=1e-5)


def test_where_nothing_is_known_the_usual_holds() -> None:
    seen = np.full((3, *SHAPE), np.nan, dtype=np.float32)
    assert (slopes_around(seen, (0, 16, 0, 16), UsualSteps.of(seen[0], seen[1])) == 0.0).all()
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    seen[0, :, :40], seen[1, :, :40], seen[2, :, :40] = 1.2 * col[:, :40], 0.7 * row[:, :40], 0.0
    slopes = slopes_around(seen, (0, 16, 96, 130), UsualSteps.of(seen[0], seen[1]))
    np.testing.assert_allclose(slopes.mean(axis=(1, 2)), [1.2, 0.0, 0.0, 0.7], atol=1e-4)
