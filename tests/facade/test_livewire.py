"""The live wire against SciPy's shortest paths, and on edges that are known."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from edge_pictures import cover_of, picture_of
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from shapely.geometry import Point as Spot
from shapely.geometry import box

from limewash.errors import InputError
from limewash.facade.livewire import LiveWire, _ways, smoothed, walked_back
from limewash.geometry.path import Cubic, Line
from limewash.geometry.path_flatten import flatten


def step_cost(cost: np.ndarray, ax: int, ay: int, bx: int, by: int) -> float:
    """Four times the cost of the entered pixel, times the step's length, rounded: the rule of the kernel."""
    return float(np.round(np.hypot(bx - ax, by - ay) * 4 * cost[by, bx]))


def test_ways_are_as_cheap_as_scipys() -> None:
    rng = np.random.default_rng(11)
    cost = rng.integers(1, 61, (23, 31))
    height, width = cost.shape
    rows, columns, values = [], [], []
    for y in range(height):
        for x in range(width):
            for dy in (-1, 0, 1):
                for dx in (-1, 0, 1):
                    nx, ny = x + dx, y + dy
                    if (dx or dy) and 0 <= nx < width and 0 <= ny < height:
                        rows.append(y * width + x)
                        columns.append(ny * width + nx)
                        values.append(step_cost(cost, x, y, nx, ny))
    graph = coo_matrix((values, (rows, columns)), shape=(height * width, height * width)).tocsr()
    x0, y0 = 4, 17
    wanted = dijkstra(graph, indices=y0 * width + x0)
    came = _ways(cost.astype(np.int64), x0, y0)
    for x, y in rng.integers(0, (width, height), (40, 2)):
        chain = walked_back(came, int(x), int(y)).astype(int)
        assert tuple(chain[0]) == (x0, y0) and tuple(chain[-1]) == (x, y)
        total = sum(step_cost(cost, *a, *b) for a, b in pairwise(chain))
        assert total == wanted[y * width + x]


def test_it_follows_a_round_edge() -> None:
    centre, radius = (70.0, 60.0), 40.0
    picture = picture_of(cover_of(Spot(centre).buffer(radius, quad_segs=128), (140, 120)), noise=2.0)
    wire = LiveWire(picture, (30.0, 60.0))
    chain = wire.to((110.0, 60.0))
    off = np.abs(np.hypot(*(chain - centre).T) - radius)
    assert np.median(off) < 0.8 and off.max() < 2.5
    path = smoothed(chain)
    assert any(isinstance(s, Cubic) for s in path.segments) and len(path.segments) <= 6
    points = flatten(path, tolerance_px=0.05).points
    assert np.abs(np.hypot(*(points - centre).T) - radius).max() < 2.5


def test_a_corner_stays_a_corner() -> None:
    picture = picture_of(cover_of(box(30.0, 25.0, 110.0, 90.0), (140, 110)))
    path = smoothed(LiveWire(picture, (30.0, 80.0)).to((100.0, 25.0)))
    corners = np.array([s.end for s in path.segments[:-1]])
    assert np.hypot(*(corners - (30.0, 25.0)).T).min() < 3.0
    assert all(isinstance(s, Line) for s in path.segments)


def test_a_start_outside_the_photo_is_refused() -> None:
    with pytest.raises(InputError, match="inside the photo"):
        LiveWire(np.zeros((20, 20, 3), dtype=np.uint8), (40.0, 2.0))
