"""How far a picture moved, against pictures that SciPy moved in the frequency domain."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import fourier_shift, gaussian_filter

from limewash.scan.steady import shift_px


@pytest.mark.parametrize("size", [(270, 480), (271, 481)], ids=["quick to transform", "not so quick"])
@pytest.mark.parametrize("shift", [(0.3, -0.2), (2.4, 1.7), (-6.45, 0.1)])
@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_a_shift_is_found_in_noise_and_the_pictures_stay(
    size: tuple[int, int], shift: tuple[float, float], noise: float
) -> None:
    rng = np.random.default_rng(5)
    scene = gaussian_filter(rng.standard_normal(size), 1.8, mode="wrap")  # reliefs are no finer
    scene /= scene.std()
    moved = np.fft.ifft2(fourier_shift(np.fft.fft2(scene), shift[::-1])).real
    pictures = [(one + noise * rng.standard_normal(size)).astype(np.float32) for one in (scene, moved)]
    kept = [picture.copy() for picture in pictures]
    assert shift_px(*pictures) == pytest.approx(shift, abs=0.03)
    assert all(np.array_equal(a, b) for a, b in zip(pictures, kept, strict=True))
