from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.interpolate import BSpline

from limewash.show.effects.chance import _spline_taps, chance, drift, waver

KEYS = st.integers(-(2**40), 2**40)


def test_chance_is_even_and_does_not_know_its_neighbour() -> None:
    rows, columns = np.arange(300)[:, None], np.arange(300)
    values = chance(12, rows, columns)
    # Kolmogorov-Smirnov against the even distribution, from SciPy.
    assert stats.kstest(values.ravel(), "uniform").pvalue > 0.01
    for a, b in ((values[1:], values[:-1]), (values[:, 1:], values[:, :-1]), (values, chance(13, rows, columns))):
        assert abs(stats.pearsonr(a.ravel(), b.ravel()).statistic) < 0.015


@given(seed=KEYS, first=KEYS, second=KEYS)
def test_the_same_keys_give_the_same_number_in_any_company(seed: int, first: int, second: int) -> None:
    alone = chance(seed, first, second)
    among = chance(seed, np.array([7, first, 9]), second)
    assert 0.0 <= float(alone) < 1.0
    assert float(alone) == among[1]


def test_spline_weights_are_scipys_cubic_b_spline() -> None:
    at = np.linspace(0.0, 0.999, 50)
    knots, weights = _spline_taps(at)
    for k in range(4):
        centred = BSpline.basis_element(np.arange(-2.0, 3.0), extrapolate=False)
        assert np.allclose(weights[k], np.nan_to_num(centred(at - knots[k])), atol=1e-12)


def test_drift_fills_its_range_about_one_half() -> None:
    values = np.stack([drift(np.linspace(0, 60, 300), np.linspace(0, 40, 200), t, seed=4) for t in range(0, 40, 4)])
    assert values.min() >= 0.0
    assert values.max() <= 1.0
    assert abs(values.mean() - 0.5) < 0.02
    assert 0.15 < values.std() < 0.35


def test_drift_changes_smoothly_in_space_and_time() -> None:
    x, y = np.linspace(0.0, 8.0, 801), np.linspace(0.0, 5.0, 501)
    here = drift(x, y, 3.0, seed=9, octaves=2)
    # A lattice cell is 100 samples: no sample may leap.
    assert np.abs(np.diff(here, axis=1)).max() < 0.06
    assert np.abs(drift(x, y, 3.01, seed=9, octaves=2) - here).max() < 0.06
    assert np.abs(drift(x, y, 3.5, seed=9, octaves=2) - here).max() > 0.2


def test_waver_wavers_slowly() -> None:
    times = np.arange(0.0, 60.0, 1 / 30)
    values = np.stack([waver(3, np.arange(40), float(t), 1.0) for t in times])
    assert values.min() >= 0.0
    assert values.max() <= 1.0
    assert np.abs(np.diff(values, axis=0)).max() < 0.12
    crossings = (np.diff(np.sign(values - 0.5), axis=0) != 0).sum(axis=0) / 60.0
    assert 0.3 < crossings.mean() / 2.0 < 1.2  # swings a second, asked for 1
