"""Angles by a polynomial, against NumPy's arc tangent."""

from __future__ import annotations

import numpy as np

from limewash.scan.locate import set_turns


def test_turns_are_those_of_numpy() -> None:
    angle = np.random.default_rng(1).uniform(-np.pi, np.pi, 200_000)
    size = 10.0 ** np.random.default_rng(2).uniform(-3.0, 4.0, angle.size)
    c, s = (size * np.cos(angle)).astype(np.float32), (size * np.sin(angle)).astype(np.float32)
    turns = np.empty_like(c)
    set_turns(c, s, turns)
    expected = np.arctan2(s.astype(np.float64), c.astype(np.float64)) / (2.0 * np.pi)
    assert np.abs(turns - expected).max() < 1e-7


def test_axes_and_nothing() -> None:
    c = np.array([1.0, 0.0, -1.0, 0.0, 0.0], dtype=np.float32)
    s = np.array([0.0, 1.0, 0.0, -1.0, 0.0], dtype=np.float32)
    turns = np.empty_like(c)
    set_turns(c, s, turns)
    np.testing.assert_allclose(turns, [0.0, 0.25, 0.5, -0.25, 0.0], atol=1e-7)
