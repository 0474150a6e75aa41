"""Settling on edges whose place is known, and on photographs that other projects ship."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from edge_pictures import cover_of, half_plane, picture_of
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point as Spot
from shapely.geometry import box

from limewash.errors import InputError
from limewash.facade.snap import settle_path, settle_segment
from limewash.geometry.path import Arc, Cubic, Line, Path2, polyline
from limewash.geometry.path_flatten import flatten


def distance_to_line(points: np.ndarray, through: tuple[float, float], angle_rad: float) -> np.ndarray:
    return (points - through) @ np.array([-np.sin(angle_rad), np.cos(angle_rad)])


@settings(max_examples=20, deadline=None)
@given(
    x=st.floats(-0.5, 0.5),
    angle_deg=st.floats(0.0, 360.0),
    offsets=st.tuples(st.floats(-3.0, 3.0), st.floats(-3.0, 3.0)),
    blur_px=st.sampled_from([0.0, 0.6, 1.2]),
    noise=st.sampled_from([0.0, 3.0]),
)
def test_a_line_settles_on_a_straight_edge(
    x: float, angle_deg: float, offsets: tuple[float, float], blur_px: float, noise: float
) -> None:
    angle, through = np.radians(angle_deg), (40.0 + x, 36.0)
    picture = picture_of(cover_of(half_plane(through, angle), (80, 72)), blur_px=blur_px, noise=noise)
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    ends = [tuple(through + s * 30.0 * along + o * across) for s, o in zip((-1, 1), offsets, strict=True)]
    settled = settle_segment(picture, Line(*ends), reach_px=6.0)
    assert settled.moved
    off = distance_to_line(np.array([settled.segment.start, settled.segment.end]), through, angle)
    assert np.abs(off).max() < (0.07 if noise == 0.0 else 0.12)


def test_the_corners_of_a_rectangle_are_found() -> None:
    left, top, right, bottom = 20.3, 15.6, 91.4, 70.2
    picture = picture_of(cover_of(box(left, top, right, bottom), (110, 90)), noise=2.0)
    drawn = polyline([(22, 14), (90, 17), (93, 69), (18.6, 71.9)], closed=True)
    settled = settle_path(picture, drawn, reach_px=5.0)
    corners = np.array([s.start for s in settled.path.segments])
    # The lens's blur rounds the corner, not the sides: their crossing is the true corner.
    np.testing.assert_allclose(corners, [(left, top), (right, top), (right, bottom), (left, bottom)], atol=0.06)
    assert settled.path.closed and settled.path.segments[-1].end == settled.path.segments[0].start
    assert settled.support > 0.95


def test_a_half_round_keeps_being_one() -> None:
    centre, radius = (60.4, 62.3), 41.7
    disc = Spot(centre).buffer(radius, quad_segs=256).intersection(box(0, 0, 130, centre[1]))
    picture = picture_of(cover_of(disc, (122, 80)), noise=2.0)
    drawn = Path2((Arc((17.0, 63.5), (103.0, 61.0), (43.0, 43.0)), Line((103.0, 61.0), (17.0, 63.5))), closed=True)
    settled = settle_path(picture, drawn, reach_px=5.0)
    arc = settled.path.segments[0]
    assert isinstance(arc, Arc)
    round_part = flatten(Path2((arc,), closed=False), tolerance_px=0.01).points
    off = np.hypot(*(round_part - centre).T) - radius
    assert np.sqrt((off**2).mean()) < 0.12
    np.testing.assert_allclose(
        [arc.start, arc.end], [(centre[0] - radius, centre[1]), (centre[0] + radius, centre[1])], atol=0.3
    )


def test_a_cubic_settles_on_a_curved_edge() -> None:
    y = np.arange(90)[:, None] + 0.0
    x = np.arange(140)[None, :] + 0.0
    edge = 40.0 + 14.0 * np.sin(x / 45.0)
    picture = picture_of(np.clip(0.5 + (y - edge) / np.hypot(1.0, 14.0 / 45.0 * np.cos(x / 45.0)), 0.0, 1.0))
    drawn = Cubic((5.0, 43.0), (50.0, 58.0), (90.0, 58.0), (135.0, 43.5))
    settled = settle_segment(picture, drawn, reach_px=8.0)
    assert settled.moved
    points = flatten(Path2((settled.segment,), closed=False), tolerance_px=0.01).points[2:-2]
    slope = 14.0 / 45.0 * np.cos(points[:, 0] / 45.0)
    off = (points[:, 1] - 40.0 - 14.0 * np.sin(points[:, 0] / 45.0)) / np.hypot(1.0, slope)
    assert np.sqrt((off**2).mean()) < 0.15


def test_a_line_bends_with_an_edge_that_the_lens_bent() -> None:
    y, x = np.arange(60)[:, None] + 0.0, np.arange(240)[None, :] + 0.0
    bow = 1.8
    edge = 30.0 + bow * (1.0 - ((x - 120.0) / 110.0) ** 2)
    picture = picture_of(np.clip(0.5 + y - edge, 0.0, 1.0), noise=1.0)
    settled = settle_segment(picture, Line((10.0, 30.5), (230.0, 29.0)), reach_px=6.0)
    assert isinstance(settled.segment, Cubic)
    points = flatten(Path2((settled.segment,), closed=False), tolerance_px=0.01).points
    assert np.abs(points[:, 1] - 30.0 - bow * (1.0 - ((points[:, 0] - 120.0) / 110.0) ** 2)).max() < 0.1


def test_where_there_is_no_edge_nothing_moves() -> None:
    rng = np.random.default_rng(5)
    picture = np.clip(rng.normal(90.0, 4.0, (60, 80, 3)), 0, 255).astype(np.uint8)
    drawn = polyline([(10.0, 12.0), (60.0, 15.0), (40.0, 50.0)], closed=True)
    settled = settle_path(picture, drawn, reach_px=6.0)
    assert settled.path == drawn
    assert not any(s.moved for s in settled.segments)


def test_an_edge_under_boards_and_speckle_is_still_found() -> None:
    """Lines of the wall's own pattern end at the edge; they must not draw it to themselves."""
    cover = cover_of(half_plane((60.0, 40.25), 0.03), (120, 80))
    picture = picture_of(cover, noise=4.0).astype(np.int16)
    picture[:, ::9] -= 25
    picture[:, 1::9] -= 12
    settled = settle_segment(np.clip(picture, 0, 255).astype(np.uint8), Line((12.0, 41.5), (108.0, 40.0)), reach_px=5.0)
    off = distance_to_line(np.array([settled.segment.start, settled.segment.end]), (60.0, 40.25), 0.03)
    assert np.abs(off).max() < 0.15


def test_bad_input_is_refused() -> None:
    drawn = polyline([(1.0, 1.0), (20.0, 1.0)], closed=False)
    with pytest.raises(InputError, match="uint8"):
        settle_path(np.zeros((10, 10), dtype=np.uint8), drawn)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="reach_px must be 1 to 60"):
        settle_path(np.zeros((10, 10, 3), dtype=np.uint8), drawn, reach_px=100.0)


@pytest.mark.parametrize("name", ["camera", "china"])
def test_on_photographs_it_agrees_with_another_line_finder(name: str) -> None:
    """Lines that OpenCV's line segment detector finds on photographs shipped by scikit-image and scikit-learn.

    Drawn off by 1.2 px to either side, they must settle on one line, and on the detector's.
    """
    if name == "camera":
        picture = np.repeat(pytest.importorskip("skimage.data").camera()[..., None], 3, axis=2)
    else:
        picture = pytest.importorskip("sklearn.datasets").load_sample_image("china.jpg")
    detector = cv2.createLineSegmentDetector()
    lines = detector.detect(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))[0].reshape(-1, 4).astype(np.float64)
    lengths = np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])
    agree, apart, moved = [], [], 0
    for x0, y0, x1, y1 in lines[np.argsort(-lengths)[:40]]:
        across = np.array([-(y1 - y0), x1 - x0]) / np.hypot(y1 - y0, x1 - x0)
        found = []
        for shift in (-1.2, 1.2):
            dx, dy = shift * across
            found.append(settle_segment(picture, Line((x0 + dx, y0 + dy), (x1 + dx, y1 + dy)), reach_px=3.0))
        if all(s.moved for s in found):
            moved += 1
            middles = [(np.array(s.segment.start) + s.segment.end) / 2.0 for s in found]
            agree.append(abs((middles[0] - middles[1]) @ across))
            apart.append(abs((middles[0] - [(x0 + x1) / 2, (y0 + y1) / 2]) @ across))
    assert moved >= 30
    assert np.median(agree) < 0.05
    assert np.median(apart) < 0.4  # it works on the encoded grey picture, we in linear light
