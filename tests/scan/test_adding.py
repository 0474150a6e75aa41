"""Adding up the frames of a hold: as NumPy adds them, however many there are and however they lie in memory."""

from __future__ import annotations

import numpy as np
import pytest

from limewash.scan.follow import _add_up


@pytest.mark.parametrize("count", [1, 3, 4, 7, 8])
def test_frames_are_added_as_numpy_adds_them(count: int) -> None:
    rng = np.random.default_rng(count)
    # Decoders pad their rows, and a picture may already hold earlier frames.
    pictures = list(rng.integers(0, 256, (count, 20, 48), dtype=np.uint8)[..., :37])
    total = rng.integers(0, 5000, (20, 37), dtype=np.uint16)
    expected = total + np.sum(pictures, axis=0)
    for picture in pictures:
        picture.flags.writeable = False
    _add_up(total, pictures)
    np.testing.assert_array_equal(total, expected)
