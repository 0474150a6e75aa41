"""Which plane each stretch of a path lies on: the cheapest sequence along its stations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Labels = NDArray[np.intp]


def cheapest_labels(cost: Array, change: Array, *, closed: bool) -> Labels:
    """Choose one label a station so that the sum of costs and changes is least.

    Parameters
    ----------
    cost : ndarray of shape (n, K)
        Cost of each label at each station.
    change : ndarray of shape (n,)
        Cost of changing the label between station i and the next one (the last entry: from the last to the first
        of a closed path).
    closed : bool

    Returns
    -------
    labels : ndarray of int, shape (n,)
    """
    total = cost.sum(axis=0)
    steady = int(np.argmin(total))
    free = float(np.sum(cost.min(axis=1)))
    # A path that changes at all pays for it at least once, on a closed path twice.
    least_change = float(np.sort(change)[:2].sum()) if closed else float(change[:-1].min(initial=np.inf))
    if total[steady] <= free + least_change:
        return np.full(len(cost), steady, dtype=np.intp)
    if not closed:
        return _viterbi(cost, change)
    # Twice round: in the middle of it the ends' freedom has been forgotten.
    n = len(cost)
    twice = _viterbi(np.vstack([cost, cost]), np.concatenate([change, change]))
    half = n // 2
    return np.asarray(np.concatenate([twice[n : n + half], twice[half:n]]))


def _viterbi(cost: Array, change: Array) -> Labels:
    n, count = cost.shape
    best = cost[0].copy()
    came = np.zeros((n, count), dtype=np.intp)
    stay = np.arange(count)
    for i in range(1, n):
        leader = int(np.argmin(best))
        switched = best[leader] + change[i - 1]
        came[i] = np.where(switched < best, leader, stay)
        best = np.minimum(best, switched) + cost[i]
    labels = np.empty(n, dtype=np.intp)
    labels[-1] = int(np.argmin(best))
    for i in range(n - 1, 0, -1):
        labels[i - 1] = came[i, labels[i]]
    return labels
