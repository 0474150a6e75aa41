"""Thin lines between boards, and what like things tell each other, on drawn pictures whose edges are known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from edge_pictures import cover_of, picture_of
from shapely.geometry import box

from limewash.facade.snap import settle_path, settle_segment, settle_tracing
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.geometry.path import Line, Path2, polyline

WALL, POST, SHADOW = 0.55, 0.75, 0.08


@pytest.mark.parametrize("width_px", [1.7, 2.0, 2.6, 3.5])
def test_both_rims_of_a_thin_shadow_are_met(width_px: float) -> None:
    """Their blurred flanks lie up to half a pixel further apart than the rims."""
    top, foot = 40.2, 40.2 + width_px
    shadow = cover_of(box(-10.0, top, 200.0, foot), (160, 80))
    picture = picture_of(shadow, inside=(SHADOW,) * 3, outside=(POST,) * 3, blur_px=0.0, noise=1.0)
    # A steady hand: with a wide one the two rims would be one to it.
    for rim in (top, foot):
        segment = settle_segment(picture, Line((20.0, rim), (140.0, rim)), reach_px=2.5).segment
        np.testing.assert_allclose([segment.start[1], segment.end[1]], rim, atol=0.12)


def test_a_joint_is_met_in_its_middle() -> None:
    """A dark joint of 0.9 px between two boards: whichever side the hand is on, the line lies in the joint."""
    joint = cover_of(box(-10.0, 40.2, 200.0, 41.1), (160, 80))
    picture = picture_of(joint, inside=(SHADOW,) * 3, outside=(POST,) * 3, blur_px=0.0, noise=1.5)
    for beside in (-1.5, 1.5):
        settled = settle_segment(picture, Line((20.0, 40.6 + beside), (140.0, 40.6 + beside)))
        assert settled.moved
        np.testing.assert_allclose([settled.segment.start[1], settled.segment.end[1]], 40.65, atol=0.15)


LEFT_PX = (40.3, 110.3, 180.3, 250.3)
WIDE_PX, TOP_PX, FOOT_PX, SHADOW_PX = 22.0, 30.0, 150.0, 3.4


def row_of_posts() -> np.ndarray:
    """Four equal posts, each with a shadow on the wall to its right."""
    size = (320, 180)
    posts = shapely.union_all([box(x, TOP_PX, x + WIDE_PX, FOOT_PX) for x in LEFT_PX])
    shadows = shapely.union_all([box(x + WIDE_PX, TOP_PX, x + WIDE_PX + SHADOW_PX, FOOT_PX) for x in LEFT_PX])
    light = WALL + (POST - WALL) * cover_of(posts, size) + (SHADOW - WALL) * cover_of(shadows, size)
    return picture_of(light, inside=(1.0,) * 3, outside=(0.0,) * 3, noise=1.5)


def post(x: float, right: float) -> Path2:
    return polyline([(x, TOP_PX), (right, TOP_PX), (right, FOOT_PX), (x, FOOT_PX)], closed=True)


def drawn_posts(off_px: float) -> Tracing:
    """Three well-drawn ones; the last one's right side is clicked nearer to the shadow's far rim than to its edge."""
    rights = [x + WIDE_PX + dx for x, dx in zip(LEFT_PX, (0.4, -0.6, 0.2, off_px), strict=True)]
    items = [
        Traced(f"post-{n}", Kind.POST, post(x, right)) for n, (x, right) in enumerate(zip(LEFT_PX, rights, strict=True))
    ]
    return Tracing((320, 180), tuple(items))


def test_the_odd_one_of_a_row_goes_with_the_others() -> None:
    picture, drawn = row_of_posts(), drawn_posts(SHADOW_PX - 0.4)
    edge = LEFT_PX[-1] + WIDE_PX
    alone = settle_path(picture, drawn.items[-1].path).path
    together = settle_tracing(picture, drawn)[-1].path
    assert alone.segments[1].start[0] == pytest.approx(edge + SHADOW_PX, abs=0.5)  # by itself it takes the shadow
    assert together.segments[1].start[0] == pytest.approx(edge, abs=0.5)


def test_what_is_locked_stays() -> None:
    picture, drawn = row_of_posts(), drawn_posts(1.0)
    locked = Traced("post-9", Kind.POST, drawn.items[-1].path, locked=True)
    done = settle_tracing(picture, Tracing(drawn.size, (*drawn.items[:-1], locked)))
    assert done[-1].path == locked.path and not any(s.moved for s in done[-1].segments)
    assert all(any(s.moved for s in d.segments) for d in done[:-1])


NIGHT, BOARD, FRONT = 0.02, 0.3, 0.75
EAVES_PX, BOARD_PX = (40.3, 110.3, 180.3), 4.0


def eaves() -> np.ndarray:
    """Three stripes of wall below a board below the night: at both of a board's edges it gets lighter downwards."""
    size = (240, 240)
    boards = cover_of(shapely.union_all([box(-9, y, 300, y + BOARD_PX) for y in EAVES_PX]), size)
    walls = cover_of(shapely.union_all([box(-9, y + BOARD_PX, 300, y + 30.0) for y in EAVES_PX]), size)
    light = NIGHT + (BOARD - NIGHT) * boards + (FRONT - NIGHT) * walls
    return picture_of(light, inside=(1.0,) * 3, outside=(0.0,) * 3, noise=1.5)


def test_the_edge_is_taken_that_parts_what_the_others_part() -> None:
    """Two roof lines are drawn well; the third is clicked nearer to the board's lower edge, where it gets as light."""
    picture = eaves()
    off_px = (0.3, -0.4, BOARD_PX - 1.0)
    items = [
        Traced(f"eave-{n}", Kind.ROOF_LINE, polyline([(20, y + dy), (220, y + dy)], closed=False))
        for n, (y, dy) in enumerate(zip(EAVES_PX, off_px, strict=True))
    ]
    alone = settle_path(picture, items[-1].path).path
    together = settle_tracing(picture, Tracing((240, 240), tuple(items)))[-1].path
    assert alone.start[1] == pytest.approx(EAVES_PX[-1] + BOARD_PX, abs=0.3)
    assert together.start[1] == pytest.approx(EAVES_PX[-1], abs=0.3)
