"""Shares of pixels at a rim, against the blurred step that a lens and a pixel make of it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from limewash.scan.rims import CODE_TO_LIGHT, filled_shares

SIZE = 40


def shares(edge: float, tilt: float, reach: float, noise: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Found and true shares of a half plane that ends at a tilted edge, blurred by a Gaussian of 0.5 px.

    The integral of a Gaussian over a half plane is the normal distribution function of the distance.
    """
    row, col = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    inside = np.cos(tilt) * (edge - col) + np.sin(tilt) * (0.5 * SIZE - row)
    true = ndtr(inside / 0.5)
    seen = inside > -reach
    x, y = np.where(seen, 0.9 * col, np.nan).astype(np.float32), np.where(seen, 0.9 * row, np.nan).astype(np.float32)
    slope = np.zeros((4, SIZE, SIZE), dtype=np.float32)
    slope[0] = slope[3] = 0.9
    amplitude = (40.0 * true ** (1.0 / CODE_TO_LIGHT)).astype(np.float32)
    rng = np.random.default_rng(3)
    amplitude += noise * rng.standard_normal(amplitude.shape).astype(np.float32)
    right, down = np.zeros_like(seen), np.zeros_like(seen)
    right[:, :-1], down[:-1] = seen[:, 1:] & seen[:, :-1], seen[1:] & seen[:-1]
    company = np.ones_like(x)
    quiet = np.zeros_like(x)
    found = filled_shares(x, y, slope, quiet + 0.02, amplitude, quiet, right, down, company)
    return np.where(seen, found, np.nan), true


@pytest.mark.parametrize("edge", [18.0, 18.3, 18.5, 18.8])
@pytest.mark.parametrize("tilt", [0.0, 0.4, 1.1])
def test_the_share_is_that_of_the_blurred_step(edge: float, tilt: float) -> None:
    found, true = shares(edge, tilt, reach=0.9)
    inner = (slice(6, -6), slice(6, -6))
    at_rim = np.isfinite(found[inner]) & (true[inner] < 0.98)
    assert at_rim.sum() > 20
    assert np.abs(found[inner] - true[inner])[at_rim].max() < 0.06


def test_noise_moves_the_rim_by_its_own_size() -> None:
    found, true = shares(18.3, 0.4, reach=0.9, noise=1.0)
    inner = (slice(6, -6), slice(6, -6))
    off = (found - true)[inner][(true[inner] > 0.2) & (true[inner] < 0.8)]
    # A code of 40 to the power of 2.2: 2.2 / 40 of the light for each code of noise.
    assert np.sqrt(np.mean(off**2)) < 1.5 * CODE_TO_LIGHT / 40.0


def test_what_is_too_small_to_have_an_inside_goes_by_its_company() -> None:
    row, col = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    seen = (np.abs(row - 20) < 2) & (np.abs(col - 20) < 2)
    x, y = np.where(seen, col, np.nan).astype(np.float32), np.where(seen, row, np.nan).astype(np.float32)
    slope = np.zeros((4, SIZE, SIZE), dtype=np.float32)
    slope[0] = slope[3] = 1.0
    right, down = np.zeros_like(seen), np.zeros_like(seen)
    right[:, :-1], down[:-1] = seen[:, 1:] & seen[:, :-1], seen[1:] & seen[:-1]
    light, noise = np.full_like(x, 20.0), np.full_like(x, 5.0)
    found = filled_shares(x, y, slope, np.zeros_like(x), light, noise, right, down, np.full_like(x, 0.6))
    rim = seen.copy()
    rim[20, 20] = False
    np.testing.assert_allclose(found[rim], 0.6 - 0.8 * 5.0 / 20.0, rtol=1e-5)
    assert found[20, 20] == 1.0
