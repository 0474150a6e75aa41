"""What surfaces claim of the projector's picture: all between their pixels, and a little beyond their rims."""

from __future__ import annotations

import numpy as np
import pytest

from limewash.scan.claims import REACH, claims_of
from limewash.scan.surface import Surfaces

SIZE = 40
ACROSS = (0.9, 0.1)  # change of projector x and y to the next camera column
DOWNWARDS = (-0.05, 0.8)


def plane(mirrored: bool = False, last: int = SIZE) -> Surfaces:
    """A plane seen a little askew, cut off after some camera columns."""
    row, col = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    across = (-ACROSS[0], ACROSS[1]) if mirrored else ACROSS
    x = (36.0 if mirrored else 4.0) + across[0] * col + DOWNWARDS[0] * row
    y = 2.0 + across[1] * col + DOWNWARDS[1] * row
    x[:, last:], y[:, last:] = np.nan, np.nan
    slope = np.zeros((4, SIZE, SIZE), dtype=np.float32)
    slope[0], slope[1], slope[2], slope[3] = *across, *DOWNWARDS
    seen = np.isfinite(x)
    right, down = np.zeros_like(seen), np.zeros_like(seen)
    right[:, :-1], down[:-1] = seen[:, 1:] & seen[:, :-1], seen[1:] & seen[:-1]
    flat = np.ones_like(x)
    return Surfaces(x, y, slope, 0.02 * flat, 20.0 * flat, flat, right, down)


def places(mirrored: bool) -> tuple[np.ndarray, np.ndarray]:
    """Camera columns and rows of all projector pixels on that plane, by the inverse of its matrix."""
    sign = -1.0 if mirrored else 1.0
    matrix = np.array([[sign * ACROSS[0], DOWNWARDS[0]], [ACROSS[1], DOWNWARDS[1]]])
    v, u = np.mgrid[:SIZE, :SIZE]
    offset = np.stack([u - (36.0 if mirrored else 4.0), v - 2.0], axis=-1)
    column, row = np.moveaxis(offset @ np.linalg.inv(matrix).T, -1, 0)
    return column, row


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_plane_claims_all_within_it_and_a_little_beyond(mirrored: bool) -> None:
    claims = claims_of(plane(mirrored, last=20), (SIZE, SIZE))
    column, row = places(mirrored)
    beyond = np.maximum.reduce([-column, column - 19.0, -row, row - (SIZE - 1.0)])  # of the pixels' middles
    claimed = np.isfinite(claims.camera_x)
    np.testing.assert_array_equal(
        claimed[np.abs(beyond - REACH) > 0.01], (beyond < REACH)[np.abs(beyond - REACH) > 0.01]
    )
    np.testing.assert_array_equal(claimed, claims.whose >= 0)
    np.testing.assert_allclose(claims.camera_x[claimed], column[claimed], atol=1e-3)
    np.testing.assert_allclose(claims.camera_y[claimed], row[claimed], atol=1e-3)
    within = np.abs(beyond) > 1e-3
    np.testing.assert_array_equal((claims.filled >= 0.0)[within], (beyond <= 0.0)[within])
    assert claims.usual_px == pytest.approx(1.0 / np.sqrt(0.9 * 0.8 + (-1 if mirrored else 1) * 0.005), rel=1e-4)


def test_the_nearest_pixel_is_the_one_that_claims() -> None:
    claims = claims_of(plane(), (SIZE, SIZE))
    column, row = places(mirrored=False)
    whose_row, whose_column = np.divmod(claims.whose, SIZE)
    claimed = claims.whose >= 0
    off = np.maximum(np.abs(column - whose_column), np.abs(row - whose_row))[claimed]
    assert off[np.isfinite(off)].max() <= REACH + 1e-4
    inner = (claims.filled >= 0.0)[claimed]
    assert inner.sum() > 500
    assert off[inner].max() <= 0.5 + 1e-4


def test_where_nothing_was_found_nothing_is_claimed() -> None:
    claims = claims_of(plane(last=0), (SIZE, SIZE))
    assert not np.isfinite(claims.camera_x).any()
    assert (claims.whose == -1).all()


def test_where_surfaces_overlap_the_claim_and_who_claims_belong_together() -> None:
    """Half of the camera's picture sees the same places as the other, by a brighter surface."""
    row, col = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    x, y = 3.0 + 0.9 * np.where(col < 20, col, col - 19.6), 2.0 + 0.8 * row
    slope = np.zeros((4, SIZE, SIZE), dtype=np.float32)
    slope[0], slope[3] = 0.9, 0.8
    right, down = np.ones((SIZE, SIZE), dtype=np.bool_), np.ones((SIZE, SIZE), dtype=np.bool_)
    right[:, [19, SIZE - 1]], down[-1] = False, False
    flat, light = np.ones_like(x), np.where(col < 20, 20.0, 30.0).astype(np.float32)
    share = np.where(col < 20, 1.0, -0.4).astype(np.float32)  # noise leaves less than nothing of it
    two = Surfaces(x.astype(np.float32), y.astype(np.float32), slope, 0.02 * flat, light, share, right, down)
    claims = claims_of(two, (SIZE, SIZE))
    between = claims.filled >= 0.0
    assert between.sum() > 400
    whose_row, whose_column = np.divmod(claims.whose[between], SIZE)
    assert np.abs(claims.camera_x[between] - whose_column).max() <= 0.501
    assert np.abs(claims.camera_y[between] - whose_row).max() <= 0.501
    assert (whose_column >= 20).mean() > 0.9  # the brighter one
