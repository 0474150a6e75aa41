"""Small least-squares fits that forget outliers: thousands of them in one settling, so they are compiled."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.jit import kernel

Array = NDArray[np.float64]

TUKEY = 4.685
"""Spreads at which a value is forgotten: 95 % as efficient as least squares where nothing is amiss. [-]"""
LEAST_SPREAD_PX = 0.075


@kernel
def robust_weights(basis: Array, place: Array, weights: Array, pull: Array, rounds: int) -> Array:
    """Weights (N,) that forget outliers: Tukey's biweight of the residuals' spread, which is never under 0.075 px.

    Parameters
    ----------
    basis : ndarray of shape (N, P)
        Columns of the linear model.
    place : ndarray of shape (N,)
        What it shall meet; NaN is left out. [px]
    weights : ndarray of shape (N,)
        Before anything is forgotten.
    pull : ndarray of shape (P,)
        How strongly each coefficient is held to zero; see `weighted_fit`.
    rounds : int
    """
    count = len(place)
    current = weights.copy()
    rest = np.empty(count)
    kept = np.empty(count)
    for _ in range(rounds):
        coefficients = weighted_fit(basis, place, current, pull)
        heard = 0
        for n in range(count):
            at = 0.0
            for p in range(basis.shape[1]):
                at += basis[n, p] * coefficients[p]
            rest[n] = abs(place[n] - at)
            if weights[n] > 0.0 and not np.isnan(rest[n]):
                kept[heard] = rest[n]
                heard += 1
        spread = 1.4826 * np.median(kept[:heard]) if heard > 0 else 0.0
        limit = TUKEY * max(spread, LEAST_SPREAD_PX)
        for n in range(count):
            u = rest[n] / limit
            current[n] = weights[n] * (1.0 - u * u) ** 2 if u < 1.0 else 0.0
    return current


@kernel
def weighted_fit(basis: Array, place: Array, weights: Array, pull: Array) -> Array:
    """Coefficients (P,) of the weighted least squares; weights count by their share of the greatest.

    Each coefficient is drawn to zero as by one more equation `pull * coefficient = 0`.
    """
    count, terms = basis.shape
    most = 1e-12
    for n in range(count):
        most = max(most, weights[n])
    matrix = np.zeros((terms, terms))
    right = np.zeros(terms)
    for p in range(terms):
        matrix[p, p] = pull[p] * pull[p]
    for n in range(count):
        share = weights[n] / most
        if share <= 0.0:
            continue
        y = 0.0 if np.isnan(place[n]) else place[n]
        for p in range(terms):
            right[p] += share * basis[n, p] * y
            for q in range(p + 1):
                matrix[p, q] += share * basis[n, p] * basis[n, q]
    return _solved(matrix, right)


@kernel
def _solved(matrix: Array, right: Array) -> Array:
    """Cholesky's solution of a small positive definite system whose lower half is given; both are overwritten."""
    terms = len(right)
    for p in range(terms):
        for q in range(p + 1):
            total = matrix[p, q]
            for k in range(q):
                total -= matrix[p, k] * matrix[q, k]
            if p == q:
                matrix[p, p] = np.sqrt(total)
            else:
                matrix[p, q] = total / matrix[q, q]
    for p in range(terms):
        for k in range(p):
            right[p] -= matrix[p, k] * right[k]
        right[p] /= matrix[p, p]
    for p in range(terms - 1, -1, -1):
        for k in range(p + 1, terms):
            right[p] -= matrix[k, p] * right[k]
        right[p] /= matrix[p, p]
    return right
