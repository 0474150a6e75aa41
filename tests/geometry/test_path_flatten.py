"""Flattening keeps to its tolerance; affine maps commute with evaluation. Shapely is the outside reference."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from path_strategies import segments

from limewash.errors import InputError
from limewash.geometry.path import Arc, Cubic, Line, Path2, polyline
from limewash.geometry.path_flatten import flatten
from limewash.geometry.path_measure import points_at
from limewash.geometry.path_transform import transform_path

CIRCLE = Path2(
    (Arc((10.0, 0.0), (-10.0, 0.0), (10.0, 10.0)), Arc((-10.0, 0.0), (10.0, 0.0), (10.0, 10.0))), closed=True
)


@given(segments, st.sampled_from([0.05, 0.5, 5.0]))
def test_no_point_of_the_curve_is_further_than_the_tolerance(segment: Line | Arc | Cubic, tolerance: float) -> None:
    chain = flatten(Path2((segment,), closed=False), tolerance_px=tolerance)
    line = shapely.LineString(chain.points)
    dense = shapely.points(points_at(segment, np.linspace(0.0, 1.0, 400)))
    assert float(shapely.distance(line, dense).max()) <= tolerance * (1.0 + 1e-6)


@given(segments)
def test_no_step_is_longer_than_asked(segment: Line | Arc | Cubic) -> None:
    chain = flatten(Path2((segment,), closed=False), tolerance_px=1.0, step_px=25.0)
    assert float(np.hypot(*np.diff(chain.points, axis=0).T).max()) <= 25.0 * (1.0 + 1e-9)


def test_a_closed_path_does_not_repeat_its_start() -> None:
    chain = flatten(polyline([(0, 0), (4, 0), (4, 3)], closed=True), tolerance_px=0.05, step_px=2.0)
    assert chain.closed
    assert chain.points[:3] == pytest.approx(np.array([[0, 0], [2, 0], [4, 0]]))
    assert len(np.unique(chain.points, axis=0)) == len(chain.points) == 7
    assert chain.segment.tolist() == [0, 0, 1, 1, 2, 2, 2]


def test_a_flattened_circle_has_the_area_of_the_circle() -> None:
    chain = flatten(CIRCLE, tolerance_px=1e-4)
    assert shapely.Polygon(chain.points).area == pytest.approx(math.pi * 100.0, rel=2e-5)


def test_absurd_sizes_are_refused_before_they_fill_the_memory() -> None:
    with pytest.raises(InputError, match="right unit"):
        flatten(polyline([(0, 0), (1e12, 0)], closed=False), tolerance_px=1.0, step_px=1.0)
    with pytest.raises(InputError, match="must be > 0"):
        flatten(CIRCLE, tolerance_px=0.0)


numbers = st.floats(-3.0, 3.0)


@given(segments, numbers, numbers, numbers, numbers, st.floats(-500.0, 500.0))
def test_moving_a_segment_moves_its_points(
    segment: Line | Arc | Cubic, a: float, b: float, c: float, d: float, shift: float
) -> None:
    matrix = np.array([[a, c, shift], [b, d, -shift], [0.0, 0.0, 1.0]])
    if abs(a * d - b * c) < 0.05:
        return
    (moved,) = transform_path(Path2((segment,), closed=False), matrix).segments
    ours = points_at(moved, np.linspace(0.0, 1.0, 301))
    theirs = points_at(segment, np.linspace(0.0, 1.0, 7)) @ matrix[:2, :2].T + matrix[:2, 2]
    assert type(moved) is type(segment)
    assert (ours[0], ours[-1]) == (pytest.approx(theirs[0]), pytest.approx(theirs[-1]))
    # An arc's parameter may run differently over the moved ellipse: compare as curves.
    gaps = shapely.distance(shapely.LineString(ours), shapely.points(theirs))
    size = float(np.ptp(theirs, axis=0).max()) + (max(segment.radius) if isinstance(segment, Arc) else 0.0)
    assert float(gaps.max()) <= 2e-3 * max(size, 1.0) * 3.0


def test_a_mirrored_arc_bends_the_other_way() -> None:
    mirror = np.diag([1.0, -1.0, 1.0])
    (moved,) = transform_path(Path2((Arc((0.0, 0.0), (10.0, 0.0), (5.0, 5.0)),), closed=False), mirror).segments
    assert points_at(moved, 0.5)[0] == pytest.approx([5.0, 5.0])


def test_an_arc_cannot_be_flattened_to_a_line() -> None:
    with pytest.raises(InputError, match="flattens"):
        transform_path(CIRCLE, np.diag([1.0, 0.0, 1.0]))
