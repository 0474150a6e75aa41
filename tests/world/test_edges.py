"""The measure of a map against the truth, on cases whose answer is known by hand."""

import numpy as np
import pytest

from limewash.errors import InputError
from limewash.facade.map import HouseMap, MapPath
from limewash.facade.tracing import Kind
from limewash.geometry.path import polyline
from limewash.world.edges import edge_accuracy
from limewash.world.features import Feature

SIZE = (400, 300)
SQUARE = np.array([[100.0, 100.0], [200.0, 100.0], [200.0, 200.0], [100.0, 200.0]])


def a_feature(points: np.ndarray) -> Feature:
    path = polyline(points, closed=True)
    return Feature("w", "Window", Kind.WINDOW, True, (), path, path)


def a_map(points: np.ndarray, path_id: str = "w") -> HouseMap:
    line = MapPath(path_id, Kind.WINDOW, "Window", True, points)
    return HouseMap(SIZE, (line,), np.zeros(SIZE[::-1], dtype=np.int32))


def test_a_perfect_map_has_no_error() -> None:
    found = edge_accuracy(a_map(SQUARE), [a_feature(SQUARE)])
    assert found.rmse_px == pytest.approx(0.0, abs=1e-12)
    assert found.worst_px == pytest.approx(0.0, abs=1e-12)


def test_a_square_grown_by_one_pixel_is_one_pixel_off() -> None:
    grown = SQUARE + np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    found = edge_accuracy(a_map(grown), [a_feature(SQUARE)])
    # Each point of the inner square is 1 px from the outer one; so is each of the outer, but for its corners.
    assert found.median_px == pytest.approx(1.0)
    assert found.rmse_px == pytest.approx(1.0, abs=0.01)
    assert found.worst_px == pytest.approx(np.sqrt(2.0))


def test_a_bulge_that_the_truth_does_not_have_is_seen() -> None:
    bulged = np.insert(SQUARE, 1, [150.0, 70.0], axis=0)
    found = edge_accuracy(a_map(bulged), [a_feature(SQUARE)])
    assert found.worst_px == pytest.approx(30.0, abs=0.5)  # points are taken every half pixel


def test_what_lies_outside_the_picture_does_not_count() -> None:
    shift = np.array([250.0, 0.0])
    wrong_outside = SQUARE + shift + np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 0.0], [0.0, 0.0]])
    found = edge_accuracy(a_map(wrong_outside), [a_feature(SQUARE + shift)])
    assert found.worst_px == pytest.approx(0.0, abs=1e-12)


def test_a_missing_path_is_refused() -> None:
    with pytest.raises(InputError, match="no path 'w'"):
        edge_accuracy(a_map(SQUARE, "other"), [a_feature(SQUARE)])
