"""The cheapest sequence of planes, against trying every sequence."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from limewash.facade.labels import cheapest_labels

costs = st.tuples(st.integers(2, 6), st.integers(1, 3)).flatmap(
    lambda shape: st.tuples(
        arrays(np.float64, shape, elements=st.floats(0.0, 5.0)),
        arrays(np.float64, shape[0], elements=st.floats(0.0, 6.0)),
    )
)


def total(labels: tuple[int, ...], cost: np.ndarray, change: np.ndarray) -> float:
    own = sum(cost[i, label] for i, label in enumerate(labels))
    return float(own + sum(change[i] for i in range(len(labels) - 1) if labels[i] != labels[i + 1]))


@given(costs)
def test_no_sequence_along_an_open_path_is_cheaper(case: tuple[np.ndarray, np.ndarray]) -> None:
    cost, change = case
    n, count = cost.shape
    best = min(total(labels, cost, change) for labels in product(range(count), repeat=n))
    found = cheapest_labels(cost, change, closed=False)
    assert total(tuple(found), cost, change) == pytest.approx(best, abs=1e-9)


def test_a_closed_path_may_change_across_its_start() -> None:
    cost = np.array([[9.0, 0.0]] * 3 + [[0.0, 9.0]] * 6 + [[9.0, 0.0]] * 3)
    labels = cheapest_labels(cost, np.full(12, 2.0), closed=True)
    assert labels.tolist() == [1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1]


def test_a_short_exception_is_bridged() -> None:
    cost = np.tile([0.0, 1.0], (20, 1))
    cost[8:11] = [1.0, 0.0]
    assert not cheapest_labels(cost, np.full(20, 5.0), closed=False).any()
    assert cheapest_labels(cost, np.full(20, 1.0), closed=False)[8:11].all()
