"""Things of one kind on one house agree: what many clicks say together about edges that each leaves open.

All windows of a house have the same boards around them, lit by the same lamp from the same side: facing the same way,
their edges get lighter or darker alike, and part like stuffs. And a row of equal windows or posts is equally wide and
high, also in the photo once that stands upright.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.facade.meant import Candidate
from limewash.facade.parting import PartingEdge, believed, weighed_by_likeness
from limewash.facade.tracing import Kind
from limewash.geometry.homography import apply_homography
from limewash.geometry.path import Line, Path2, Segment
from limewash.geometry.path_measure import tangents_at

Array = NDArray[np.float64]

_ROUNDS = 20
_DOUBT = 0.5
"""Edges of either sort that are taken as seen before any is looked at: as little as can be (Jeffreys' prior). [-]"""
_SIZE_PX, _SIZE_SHARE = 0.75, 0.006
"""How much equal things differ in size once the photo stands upright: by this, and by so much of their size."""
_ODD_ONE = 3.0
"""Logarithm of how unlikely it is at most that one of a row is of another size. [-]"""
_LIKE_HANDS, _LIKE_SHARE = 3.75, 0.02
"""As drawn, equal things differ by at most so many spreads of a click, and by so much of their size."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """A path with the candidates of each of its segments, and what is believed of each candidate.

    Attributes
    ----------
    kind : Kind
    path : Path2
        As drawn. [px]
    found : list of list of Candidate
        For each segment.
    weights : list of ndarray
        For each segment, shape (K,): logarithms of likelihoods; changed by `agree`. [-]
    """

    kind: Kind
    path: Path2
    found: list[list[Candidate]]
    weights: list[Array]


def weighed(kind: Kind, path: Path2, found: list[list[Candidate]]) -> Weighed:
    """A path of which nothing is known but itself."""
    return Weighed(kind, path, found, [np.array([c.weight for c in some]) for some in found])


def agree(paths: Sequence[Weighed], to_upright: Array, hand_px: float) -> None:
    """Let paths of one kind tell each other which edges are meant: `weights` are changed.

    Parameters
    ----------
    paths : sequence of Weighed
    to_upright : ndarray of shape (3, 3)
        Homography from the photo to one where plumb lines are upright and level ones level, of about the same scale.
    hand_px : float
        Spread of a click along x and y. [px]
    """
    same_way(paths)
    same_parting(paths)
    same_size(paths, to_upright, hand_px)


def same_way(paths: Sequence[Weighed]) -> None:
    """Weigh candidates by how edges of their kind that face the same way mostly change the light.

    Notes
    -----
    Expectation and maximisation: the share of edges that get lighter outwards is what the candidates' likelihoods
    say under that same share. Each edge is told by the others alone.
    """
    groups: dict[tuple[Kind, int], list[tuple[Weighed, int, NDArray[np.bool_]]]] = defaultdict(list)
    for item, k, facing, sign in _facings(paths):
        lighter = np.array([(candidate.rises == (sign > 0)) for candidate in item.found[k]])
        groups[item.kind, facing].append((item, k, lighter))
    for edges in groups.values():
        before = [item.weights[k] for item, k, _ in edges]
        ways = [lighter for _, _, lighter in edges]
        share = np.full(len(edges), 0.5)
        for _ in range(_ROUNDS):
            share = _share_of_others([_under(w, way, s) for w, way, s in zip(before, ways, share, strict=True)], ways)
        for (item, k, way), weights, own in zip(edges, before, share, strict=True):
            item.weights[k] = _under(weights, way, own)


def _under(weights: Array, lighter: NDArray[np.bool_], share: float) -> Array:
    """Weights of candidates when such a share of edges like them gets lighter outwards."""
    bonus = np.where(lighter, math.log(2.0 * share), math.log(2.0 * (1.0 - share)))
    bonus[-1] = 0.0  # staying as drawn
    return np.asarray(weights + bonus)


def _share_of_others(weights: list[Array], ways: list[NDArray[np.bool_]]) -> Array:
    """For each edge the share (N,) of all the others that get lighter outwards: what it says of itself is known."""
    beliefs = [believed(w)[:-1] for w in weights]
    lighter = np.array([belief[way[:-1]].sum() for belief, way in zip(beliefs, ways, strict=True)])
    darker = np.array([belief[~way[:-1]].sum() for belief, way in zip(beliefs, ways, strict=True)])
    others, against = lighter.sum() - lighter, darker.sum() - darker
    return np.asarray((_DOUBT + others) / (2.0 * _DOUBT + others + against))


def same_parting(paths: Sequence[Weighed]) -> None:
    """Weigh candidates by what edges of their kind mostly part; see `limewash.facade.parting`."""
    groups: dict[Kind, list[tuple[Weighed, int, PartingEdge]]] = defaultdict(list)
    for item, k, _, sign in _facings(paths):
        lights = [c.beside.mean(axis=1) for c in item.found[k] if c.beside is not None]
        sides = np.array(lights).reshape(-1, 2)[:, ::sign]
        groups[item.kind].append((item, k, PartingEdge(item.weights[k], sides)))
    for edges in groups.values():
        heeded = weighed_by_likeness([edge for _, _, edge in edges])
        for (item, k, _), weights in zip(edges, heeded, strict=True):
            item.weights[k] = weights


def _facings(paths: Sequence[Weighed]) -> Iterator[tuple[Weighed, int, int, int]]:
    """Every segment: its path, its number, the quarter into which it faces, and the sign of its normal that does so."""
    for item in paths:
        outward = _outward(item.path)
        for k, segment in enumerate(item.path.segments):
            yield (item, k, *_facing(segment, outward))


def _outward(path: Path2) -> int:
    """1 if a closed path's normals point outwards, -1 if inwards, 0 for an open path."""
    if not path.closed:
        return 0
    x, y = np.array([segment.start for segment in path.segments]).T
    turned = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    if len(path.segments) < 3:  # an arc and its chord enclose what their starts do not
        return 0
    return -1 if turned > 0.0 else 1


def _facing(segment: Segment, outward: int) -> tuple[int, int]:
    """Quarter into which a segment faces (0 right, 1 down, 2 left, 3 up), and the sign of its normal that does so."""
    tangent = tangents_at(segment, 0.5)[0]
    normal = np.array([-tangent[1], tangent[0]])
    sign = outward or (1 if normal[1] < -abs(normal[0]) or (abs(normal[1]) <= abs(normal[0]) and normal[0] < 0) else -1)
    x, y = sign * normal
    return round(math.atan2(y, x) / (math.pi / 2.0)) % 4, sign


def same_size(paths: Sequence[Weighed], to_upright: Array, hand_px: float) -> None:
    """Weigh candidates by the width and height that upright rectangles of one kind and about one size have in common.

    Notes
    -----
    For each group and either direction the size is sought for which the best pairs of opposite edges are likeliest
    together; each candidate is then weighed with the best partner that it could have at that size.
    """
    rectangles = [r for r in (_rectangle(item, to_upright) for item in paths) if r is not None]
    while rectangles:
        first = rectangles[0]
        spare = _LIKE_HANDS * hand_px + _LIKE_SHARE * first.size_px
        row = [
            r
            for r in rectangles
            if r.item.kind is first.item.kind and (np.abs(r.size_px - first.size_px) < spare).all()
        ]
        rectangles = [r for r in rectangles if r not in row]
        if len(row) > 1:
            for axis in (0, 1):
                _share_size([r.pairs[axis] for r in row])


@dataclass(frozen=True, eq=False)
class _Pair:
    """Two opposite edges of a rectangle: weights and distances of all pairs of their candidates."""

    item: Weighed
    edges: tuple[int, int]
    distance_px: Array

    def weights(self) -> Array:
        one, other = (self.item.weights[k] for k in self.edges)
        return np.asarray(one[:, None] + other[None, :])


@dataclass(frozen=True, eq=False)
class _Rectangle:
    item: Weighed
    size_px: Array
    pairs: tuple[_Pair, _Pair]


def _rectangle(item: Weighed, to_upright: Array) -> _Rectangle | None:
    """A path of four straight sides, two about upright and two about level; None for any other."""
    segments = item.path.segments
    if not item.path.closed or len(segments) != 4 or not all(isinstance(s, Line) for s in segments):
        return None
    corners = apply_homography(to_upright, np.array([s.start for s in segments]))
    way = np.roll(corners, -1, axis=0) - corners
    across = np.abs(way).argmin(axis=1)  # the coordinate that a side keeps
    if list(across) not in ([0, 1, 0, 1], [1, 0, 1, 0]):
        return None
    middle = corners.mean(axis=0)
    pairs = []
    for axis in (0, 1):
        edges = np.flatnonzero(across == axis)
        places = [
            np.array([_place(c.fit.segment if c.fit else segments[k], to_upright, axis, middle) for c in item.found[k]])
            for k in edges
        ]
        pairs.append(_Pair(item, (int(edges[0]), int(edges[1])), np.abs(np.subtract.outer(*places))))
    return _Rectangle(item, np.ptp(corners, axis=0), (pairs[0], pairs[1]))


def _place(segment: Segment, to_upright: Array, axis: int, middle: Array) -> float:
    """Where a line lies across, abreast of the middle of its path."""
    a, b = apply_homography(to_upright, np.array([segment.start, segment.end]))
    run = b[1 - axis] - a[1 - axis]
    return float(a[axis] + (middle[1 - axis] - a[1 - axis]) / run * (b[axis] - a[axis]))


def _share_size(pairs: list[_Pair]) -> None:
    sizes = np.unique(np.concatenate([pair.distance_px.ravel() for pair in pairs]))
    total = np.zeros(len(sizes))
    for pair in pairs:
        odd = _oddness(pair.distance_px[None], sizes[:, None, None])
        total += (pair.weights()[None] - odd).max(axis=(1, 2))
    size = sizes[int(total.argmax())]
    for pair in pairs:
        together = pair.weights() - _oddness(pair.distance_px, size)
        one, other = pair.edges
        pair.item.weights[one], pair.item.weights[other] = together.max(axis=1), together.max(axis=0)


def _oddness(distance_px: Array, size_px: Array | float) -> Array:
    spread = _SIZE_PX + _SIZE_SHARE * size_px
    return np.minimum(0.5 * ((distance_px - size_px) / spread) ** 2, _ODD_ONE)
