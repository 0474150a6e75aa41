"""Points, lengths and boxes of segments, against svgpathtools 1.8 and SciPy's quadrature as outside references."""

import math

import numpy as np
import pytest
import svgpathtools
from hypothesis import assume, given
from path_strategies import arcs, cubics, segments
from scipy.integrate import quad

from limewash.geometry.path import Arc, Cubic, Line, Path2, polyline
from limewash.geometry.path_arc import tidy_arc, to_centre
from limewash.geometry.path_measure import bounding_box, path_length, points_at, segment_length, tangents_at


def as_complex(point: tuple[float, float]) -> complex:
    return complex(*point)


def outside(segment: Line | Arc | Cubic) -> object:
    """The same segment as an object of svgpathtools."""
    start, end = as_complex(segment.start), as_complex(segment.end)
    if isinstance(segment, Arc):
        return svgpathtools.Arc(
            start, as_complex(segment.radius), segment.rotation_deg, segment.large, segment.sweep, end
        )
    if isinstance(segment, Cubic):
        return svgpathtools.CubicBezier(start, as_complex(segment.control1), as_complex(segment.control2), end)
    return svgpathtools.Line(start, end)


HALF_ROUND = Arc((100.0, 80.0), (180.0, 80.0), (40.0, 40.0), 0.0, False, True)


def test_a_half_round_rises_above_its_ends() -> None:
    # sweep = 1 turns through increasing angle, which on a picture with y down goes over the top from left to right
    assert points_at(HALF_ROUND, [0.0, 0.5, 1.0]) == pytest.approx(
        np.array([[100.0, 80.0], [140.0, 40.0], [180.0, 80.0]])
    )


@given(arcs)
def test_arc_points_agree_with_svgpathtools(arc: Arc) -> None:
    theirs = outside(arc)
    t = np.linspace(0.0, 1.0, 9)
    expected = np.array([[z.real, z.imag] for z in (theirs.point(s) for s in t)])  # type: ignore[attr-defined]
    # A half turn is where either side's rounding may put the centre anywhere within sqrt(epsilon) radii.
    scale = max(arc.radius) + math.dist(arc.start, arc.end)
    assert points_at(arc, t) == pytest.approx(expected, abs=1e-6 * scale)


@given(cubics)
def test_cubic_points_agree_with_svgpathtools(cubic: Cubic) -> None:
    theirs = outside(cubic)
    t = np.linspace(0.0, 1.0, 9)
    expected = np.array([[z.real, z.imag] for z in (theirs.point(s) for s in t)])  # type: ignore[attr-defined]
    assert points_at(cubic, t) == pytest.approx(expected, abs=1e-8)


@given(segments)
def test_the_tangent_is_the_derivative(segment: Line | Arc | Cubic) -> None:
    t, h = np.array([0.2, 0.7]), 1e-5
    difference = (points_at(segment, t + h) - points_at(segment, t - h)) / (2.0 * h)
    assert tangents_at(segment, t) == pytest.approx(difference, rel=1e-4, abs=1e-3)


@given(segments)
def test_length_agrees_with_scipy_quadrature(segment: Line | Arc | Cubic) -> None:
    if isinstance(segment, Cubic):
        # Quadrature of our own tangents is no help at a cusp, where svgpathtools too gives up.
        speed = np.hypot(*tangents_at(segment, np.linspace(0.0, 1.0, 200)).T)
        assume(speed.min() > 0.02 * speed.max())
    expected, _ = quad(lambda t: float(np.hypot(*tangents_at(segment, t)[0])), 0.0, 1.0, limit=200, epsrel=1e-10)
    assert segment_length(segment) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    "segment",
    [
        Arc((0.0, 0.0), (300.0, 40.0), (200.0, 90.0), 25.0, True, False),
        Arc((10.0, 5.0), (60.0, 90.0), (40.0, 300.0), -70.0, False, True),
        Cubic((0.0, 0.0), (40.0, -80.0), (200.0, 100.0), (260.0, 10.0)),
        HALF_ROUND,
    ],
)
def test_length_agrees_with_svgpathtools(segment: Arc | Cubic) -> None:
    theirs = outside(segment)
    assert segment_length(segment) == pytest.approx(theirs.length(error=1e-9), rel=1e-6)  # type: ignore[attr-defined]


def test_length_of_a_cubic_with_a_cusp() -> None:
    # A symmetric cusp at t = 1/2: B(t) - P0 runs out and back; both halves have the same closed-form length.
    cusp = Cubic((0.0, 0.0), (100.0, 100.0), (0.0, 100.0), (100.0, 0.0))
    t = np.linspace(0.0, 1.0, 2_000_001)
    chain = points_at(cusp, t)
    assert segment_length(cusp) == pytest.approx(float(np.hypot(*np.diff(chain, axis=0).T).sum()), rel=1e-9)


def test_a_path_is_as_long_as_its_parts() -> None:
    square = polyline([(0.0, 0.0), (3.0, 0.0), (3.0, 4.0)], closed=True)
    assert path_length(square) == pytest.approx(12.0)


@given(segments)
def test_bounding_box_agrees_with_svgpathtools(segment: Line | Arc | Cubic) -> None:
    if isinstance(segment, Arc):
        arc = to_centre(segment)
        assume(abs(abs(arc.sweep_rad) - math.pi) > 1e-3)  # svgpathtools may take the other half there
    left, right, top, bottom = outside(segment).bbox()  # type: ignore[attr-defined]
    box = bounding_box(Path2((segment,), closed=False))
    size = 1.0 + max(abs(v) for v in (left, right, top, bottom))
    assert (box.left, box.right, box.top, box.bottom) == pytest.approx((left, right, top, bottom), abs=1e-6 * size)


def test_arcs_out_of_range_follow_the_standard() -> None:
    assert tidy_arc(Arc((1.0, 1.0), (1.0, 1.0), (5.0, 5.0))) is None
    assert tidy_arc(Arc((0.0, 0.0), (9.0, 0.0), (0.0, 5.0))) == Line((0.0, 0.0), (9.0, 0.0))
    small = Arc((0.0, 0.0), (10.0, 0.0), (-1.0, 1.0))
    assert tidy_arc(small) == Arc((0.0, 0.0), (10.0, 0.0), (1.0, 1.0))
    assert points_at(small, 0.5)[0] == pytest.approx([5.0, -5.0])  # enlarged until it spans
