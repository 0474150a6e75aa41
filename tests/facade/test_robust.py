"""The compiled small fits, against NumPy's least squares and against points of which some are far out."""

from __future__ import annotations

import numpy as np
import pytest

from limewash.facade.robust import robust_weights, weighted_fit


@pytest.mark.parametrize("terms", [2, 4, 6])
def test_it_solves_what_numpys_least_squares_solves(terms: int) -> None:
    rng = np.random.default_rng(terms)
    basis, place, weights = rng.normal(size=(50, terms)), rng.normal(size=50), rng.uniform(0.1, 3.0, 50)
    place[[3, 8]] = np.nan
    weights[[3, 8, 20]] = 0.0
    pull = np.linspace(0.01, 1.5, terms)
    root = np.sqrt(weights / weights.max())
    rows = np.vstack([basis * root[:, None], np.diag(pull)])
    expected = np.linalg.lstsq(rows, np.append(np.nan_to_num(place) * root, np.zeros(terms)), rcond=None)[0]
    np.testing.assert_allclose(weighted_fit(basis, place, weights, pull), expected, rtol=1e-10, atol=1e-12)


def test_points_far_out_are_forgotten() -> None:
    share = np.linspace(0.0, 1.0, 60)
    basis = np.column_stack([1.0 - share, share])
    place = basis @ (0.4, -0.7)
    place[::4] += 2.0
    pull = np.zeros(2)
    weights = robust_weights(basis, place, np.ones(60), pull, 6)
    assert (weights[::4] == 0.0).all()
    np.testing.assert_allclose(weighted_fit(basis, place, weights, pull), (0.4, -0.7), atol=1e-9)
