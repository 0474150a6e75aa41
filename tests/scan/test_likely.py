"""The networks that judge claims: their arithmetic against scikit-learn's, and what they say of a simple scene."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm
from sklearn.neural_network import MLPClassifier

from limewash.scan.claims import claims_of
from limewash.scan.decode import Decoded
from limewash.scan.describe import NEIGHBOURS, OWN, TERMS
from limewash.scan.likely import Network, likelihood, networks
from limewash.scan.surface import find_surfaces


def test_a_network_says_what_scikit_learn_makes_of_the_same_weights() -> None:
    rng = np.random.default_rng(2)
    inputs = rng.standard_normal((300, 7))
    answers = (inputs[:, 0] * inputs[:, 1] + 0.3 * rng.standard_normal(300)) > 0
    theirs = MLPClassifier((6, 5), max_iter=2000, random_state=1).fit(inputs, answers)
    ours = Network(
        tuple(part.astype(np.float32) for part in theirs.coefs_),
        tuple(part.astype(np.float32) for part in theirs.intercepts_),
    )
    likely = theirs.predict_proba(inputs)
    expected = np.clip(np.log(likely[:, 1] / likely[:, 0]), -6.0, 6.0)
    np.testing.assert_allclose(ours.log_odds(inputs.astype(np.float32)), expected, atol=1e-4)


def test_the_networks_take_what_is_described() -> None:
    first, second = networks()
    assert first.weights[0].shape[0] == TERMS
    assert second.weights[0].shape[0] == OWN + NEIGHBOURS
    for network in (first, second):
        assert network.weights[-1].shape[1] == 1
        assert all(np.isfinite(part).all() for part in (*network.weights, *network.biases))


def half_plane(edge: float, blur_px: float) -> Decoded:
    """A wall that ends at a camera column, before the dark, as a lens blurs it.

    What a pixel beside the edge sees comes from what lies before the edge, weighted with a Gaussian: its light is that
    of the normal distribution function, its place the mean of a normal distribution cut off there (Greene,
    Econometric Analysis, on the truncated normal distribution; from memory).
    """
    row, col = np.mgrid[:60, :60].astype(np.float64)
    z = (edge - col) / blur_px
    light = 40.0 * ndtr(z) ** (1.0 / 2.2)
    from_where = col - blur_px * norm.pdf(z) / np.maximum(ndtr(z), 1e-12)
    lit = light > 3.0
    x, y = (np.where(lit, part, np.nan) for part in (2.0 + 1.1 * from_where + 0.02 * row, 3.0 + 0.01 * col + 1.2 * row))
    noise = np.full((60, 60), 0.8)
    # Phase of a sinusoid of ten pixels from thirty steps.
    sigma = np.where(lit, 10.0 / (2.0 * np.pi) * np.sqrt(2.0 / 30.0) * noise / np.maximum(light, 1.0), np.nan)
    return Decoded(np.stack([x, y, sigma, light]).astype(np.float32), noise.astype(np.float32))


@pytest.mark.parametrize("edge", [30.0, 30.25, 30.5, 30.75])
def test_a_rim_is_found_to_a_fraction_of_a_pixel(edge: float) -> None:
    decoded = half_plane(edge, 0.8)
    surfaces = find_surfaces(decoded)
    claims = claims_of(surfaces, (75, 75))
    likely = likelihood(decoded, surfaces, claims)
    inner = slice(10, 60)
    from_edge = edge - np.where(claims.whose >= 0, claims.camera_x, np.inf)
    amid = (from_edge > 3.0) & (claims.camera_x > 3.0)
    assert likely[inner][amid[inner]].min() > 0.9
    found = np.where(likely[inner] > 0.5, np.nan_to_num(claims.camera_x[inner], nan=-np.inf), -np.inf).max(axis=1)
    # A projector pixel is 0.9 camera pixels wide: the last one found lies within that before the edge.
    assert np.abs(np.median(found) - (edge - 0.45)) < 0.75
    assert (likely[claims.whose < 0] == 0.0).all()
