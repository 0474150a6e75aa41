"""Exact filling, against Shapely's intersection of the polygon with every pixel's square."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from limewash.facade.fill import cover_of

SIZE = (14, 11)
ROUNDING = 0.5 / 255.0


def whole(rings: list[NDArray[np.float64]], size: tuple[int, int] = SIZE) -> NDArray[np.float64]:
    left, top, cover = cover_of(rings, size)
    picture = np.zeros((size[1], size[0]))
    picture[top : top + cover.shape[0], left : left + cover.shape[1]] = cover / 255.0
    return picture


def by_shapely(polygon: shapely.Polygon, size: tuple[int, int] = SIZE) -> NDArray[np.float64]:
    column, row = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    squares = shapely.box(column - 0.5, row - 0.5, column + 0.5, row + 0.5)
    return np.asarray(shapely.area(shapely.intersection(squares, polygon)))


@st.composite
def stars(draw: st.DrawFn) -> NDArray[np.float64]:
    """A simple polygon around a point: corners at growing angles, any distance; it may reach out of the picture."""
    count = draw(st.integers(3, 9))
    reach = np.array(draw(st.lists(st.floats(0.5, 12.0), min_size=count, max_size=count)))
    angle = (
        2.0
        * np.pi
        * (np.arange(count) + 0.5 * np.array(draw(st.lists(st.floats(0.0, 0.9), min_size=count, max_size=count))))
        / count
    )
    centre = np.array([draw(st.floats(-3.0, 16.0)), draw(st.floats(-3.0, 13.0))])
    return centre + reach[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)


@settings(deadline=None)
@given(stars(), st.booleans())
def test_every_pixel_holds_its_exact_share(ring: NDArray[np.float64], turned: bool) -> None:
    found = whole([ring[::-1] if turned else ring])
    assert found == pytest.approx(by_shapely(shapely.Polygon(ring)), abs=ROUNDING + 1e-9)


def test_a_square_on_pixel_edges_is_full_and_sharp() -> None:
    ring = np.array([(1.5, 2.5), (4.5, 2.5), (4.5, 6.5), (1.5, 6.5)])
    left, top, cover = cover_of([ring], SIZE)
    assert (left, top, cover.shape) == (2, 3, (4, 3))
    assert (cover == 255).all()


def test_holes_are_left_out() -> None:
    outer = np.array([(0.5, 0.5), (9.5, 0.5), (9.5, 9.5), (0.5, 9.5)])
    hole = np.array([(2.0, 2.0), (2.0, 7.3), (7.1, 7.3), (7.1, 2.0)])
    expected = by_shapely(shapely.Polygon(outer, [hole]))
    assert whole([outer, hole]) == pytest.approx(expected, abs=ROUNDING + 1e-9)


def test_what_lies_outside_gives_nothing() -> None:
    for x, y in ((-9.0, 3.0), (40.0, 3.0), (3.0, -9.0), (3.0, 40.0), (1e7, 1e7)):
        _, _, cover = cover_of([np.array([(x, y), (x + 2.0, y), (x, y + 2.0)])], SIZE)
        assert cover.shape == (0, 0)


def test_a_huge_polygon_fills_the_picture() -> None:
    ring = np.array([(-1e6, -2e6), (3e6, -1e6), (2e6, 3e6), (-2e6, 2e6)])
    assert (whole([ring]) == 1.0).all()


def test_the_area_is_the_polygons_area() -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 300, endpoint=False)
    ring = np.array([60.2, 44.9]) + 37.77 * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    assert whole([ring], (128, 96)).sum() == pytest.approx(shapely.Polygon(ring).area, rel=1e-4)
