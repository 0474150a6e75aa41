"""From camera pixels to the projector's grid: what is too small, or too much of a risk, to be believed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limewash.scan.decode import Decoded
from limewash.scan.grid import mark_risky, to_projector_grid
from limewash.scan.surface import Surfaces

SIZE = 60


def surfaces(side: int) -> Surfaces:
    """A wall seen straight on, with a hole; a square of some pixels elsewhere claims to be what lies in the hole."""
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    hole = slice(20, 20 + side)
    far = slice(4, 4 + side), slice(48, 48 + side)
    claimed_y, claimed_x = y[hole, hole].copy(), x[hole, hole].copy()
    x[hole, hole], y[hole, hole] = np.nan, np.nan
    x[:, 44:], y[:, 44:] = np.nan, np.nan
    x[far], y[far] = claimed_x, claimed_y
    slope = np.zeros((4, SIZE, SIZE), dtype=np.float32)
    slope[0] = slope[3] = 1.0
    seen = np.isfinite(x)
    right, down = np.zeros_like(seen), np.zeros_like(seen)
    right[:, :-1] = np.abs(np.diff(x, axis=1) - 1.0) < 0.1
    down[:-1] = np.abs(np.diff(y, axis=0) - 1.0) < 0.1
    flat = np.ones((SIZE, SIZE), dtype=np.float32)
    return Surfaces(x, y, slope, 0.02 * flat, 20.0 * flat, flat, right, down)


@pytest.mark.parametrize(("side", "believed"), [(4, False), (9, True)])
def test_a_crumb_is_left_out_although_it_lands_in_the_midst_of_others(side: int, believed: bool) -> None:
    wall = surfaces(side)
    decoded = Decoded(np.stack([wall.x, wall.y, 0.5 * wall.sigma, wall.amplitude]), 0.5 * np.ones_like(wall.x))
    found = to_projector_grid(decoded, wall, (SIZE, SIZE))
    middle = 20 + side // 2
    assert found.seen[middle, middle] == believed
    if believed:
        assert found.camera_x[middle, middle] == pytest.approx(48 + side // 2)
    assert found.seen[10, 10]
    assert found.camera_x[10, 10] == pytest.approx(10.0)


def test_where_nothing_was_found_nothing_is_given() -> None:
    none = np.full((SIZE, SIZE), np.nan, dtype=np.float32)
    dark = np.zeros((SIZE, SIZE), dtype=np.bool_)
    nothing = Surfaces(
        none, none, np.zeros((4, SIZE, SIZE), np.float32), none, 0.0 * np.ones_like(none), none, dark, dark
    )
    decoded = Decoded(np.stack([none, none, none, np.zeros_like(none)]), np.full_like(none, np.inf))
    found = to_projector_grid(decoded, nothing, (SIZE, SIZE))
    assert not found.seen.any()
    assert (found.confidence == 0.0).all()


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(
    ("likely", "jump", "gap", "believed"),
    [
        (0.9, 100.0, 1, False),
        (0.9, 100.0, 5, False),
        (0.9, 100.0, 12, True),  # nothing else is near
        (0.9, 5.0, 1, True),  # a mistake would be small
        (0.9999, 100.0, 1, True),  # and here it is hardly to be expected
    ],
)
def test_a_rim_before_something_far_must_be_surer(
    likely: float, jump: float, gap: int, believed: bool, turned: bool
) -> None:
    """A wall that ends after column 29, and another behind it from `gap` columns further on."""
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    x[:, 30:] += jump
    x[:, 30 : 29 + gap] = np.nan
    odds, risky = np.ones((SIZE, SIZE), dtype=np.float32), np.zeros((SIZE, SIZE), dtype=np.bool_)
    odds[:, 29] = odds[:, 15] = likely
    maps = [part.T.copy() for part in (y, x, odds)] if turned else [x, y, odds]
    mark_risky(*maps, 15.0, 0, SIZE, risky)
    where = risky.T if turned else risky
    assert (where[:, 29] == (not believed)).all()
    assert not where[:, :29].any(), "in the midst of a wall nothing else is near"


@pytest.mark.parametrize(("sigma_px", "rim"), [(0.02, 44), (0.5, 43), (0.8, 42)])
def test_the_noisier_a_surface_the_more_of_its_rim_is_left_out(sigma_px: float, rim: int) -> None:
    """A rim is claimed half a camera pixel and more beyond the last one, column 43."""
    wall = surfaces(9)
    wall = replace(wall, sigma=np.full_like(wall.x, sigma_px))
    decoded = Decoded(np.stack([wall.x, wall.y, 0.2 * wall.sigma, wall.amplitude]), 0.5 * np.ones_like(wall.x))
    found = to_projector_grid(decoded, wall, (SIZE, SIZE)).seen[34:54]
    assert found[:, 4 : rim + 1].all()
    assert not found[:, rim + 1 :].any()
