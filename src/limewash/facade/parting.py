"""What edges of one kind part: on one house the same stuffs meet at all of them.

All roof lines part the house's boards from the night, all windows the same frames from the same wall. So an edge
between two other stuffs beside the meant one gives itself away, even where it is the stronger, once there are others
to compare.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_ROUNDS = 6
_LIKE = 0.6
"""Spread of the logarithm of the light on one stuff along a house front, for shade and distance. [-]"""
_UNLIKE = 1.0 / 5.0**2
"""Density of the light on both sides of any edge at all: spread over five units of its logarithm each. [-]"""
_DOUBT = 1.0
"""So many edges between any stuffs are taken as seen before any is looked at. [-]"""


@dataclass(frozen=True, eq=False)
class PartingEdge:
    """One segment: what is believed of its candidates, the last of which is staying as drawn.

    Attributes
    ----------
    weights : ndarray of shape (K,)
        Logarithms of likelihoods. [-]
    sides : ndarray of shape (K - 1, 2)
        Logarithm of the light within and without at each candidate edge. [-]
    """

    weights: Array
    sides: Array


def weighed_by_likeness(edges: list[PartingEdge]) -> list[Array]:
    """Weights (K,) of edges of one kind, heeding what the others of them part.

    Notes
    -----
    The likelihood of a candidate's two lights is a density about those of the other segments' candidates, each with
    what is believed of it, against the density of any edge at all. What a segment's own candidates are like says
    nothing.
    """
    counts = [len(edge.sides) for edge in edges]
    owner = np.repeat(np.arange(len(edges)), counts)
    sides = np.concatenate([edge.sides for edge in edges])
    apart = ((sides[:, None] - sides[None]) ** 2).sum(axis=-1)
    like = np.exp(-0.5 * apart / _LIKE**2) / (2.0 * math.pi * _LIKE**2)
    like[owner[:, None] == owner[None]] = 0.0
    ends = np.cumsum(counts)[:-1]
    weights = [edge.weights for edge in edges]
    for _ in range(_ROUNDS):
        belief = np.concatenate([believed(w)[:-1] for w in weights])
        seen = belief.sum() - np.bincount(owner, belief, minlength=len(edges))
        density = (_DOUBT * _UNLIKE + like @ belief) / (_DOUBT + seen[owner])
        bonus = np.split(np.log(density / _UNLIKE), ends)
        weights = [edge.weights + np.append(own, 0.0) for edge, own in zip(edges, bonus, strict=True)]
    return weights


def believed(weights: Array) -> Array:
    """Shares of belief (K,) of logarithms of likelihoods. [-]"""
    belief = np.exp(weights - weights.max())
    return np.asarray(belief / belief.sum())
