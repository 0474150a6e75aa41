"""Blocks and tiles of the camera's picture hold what is marked, all of it and once."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from limewash.scan.tiles import BLOCK, blocks_of, tiles_of


@given(st.integers(1, 90), st.integers(1, 90), st.data())
def test_a_block_is_marked_if_one_of_its_pixels_is(height: int, width: int, data: st.DataObject) -> None:
    row, col = data.draw(st.integers(0, height - 1)), data.draw(st.integers(0, width - 1))
    mask = np.zeros((height, width), dtype=bool)
    assert not blocks_of(mask).any()
    mask[row, col] = True
    expected = np.zeros((-(-height // BLOCK), -(-width // BLOCK)), dtype=bool)
    expected[row // BLOCK, col // BLOCK] = True
    np.testing.assert_array_equal(blocks_of(mask), expected)


@given(arrays(np.bool_, (13, 60)), st.integers(0, BLOCK - 1), st.integers(0, BLOCK - 1))
def test_tiles_hold_what_is_marked_once(blocks: np.ndarray, less_high: int, less_wide: int) -> None:
    shape = (13 * BLOCK - less_high, 60 * BLOCK - less_wide)
    count = np.zeros(shape, dtype=int)
    for first, last, start, stop in tiles_of(blocks, shape):
        assert 0 <= first < last <= shape[0]
        assert 0 <= start < stop <= shape[1]
        count[first:last, start:stop] += 1
    marked = np.kron(blocks, np.ones((BLOCK, BLOCK), dtype=bool))[: shape[0], : shape[1]]
    assert (count[marked] == 1).all()
    assert count.max() <= 1
    if not marked.any():
        assert count.max() == 0
