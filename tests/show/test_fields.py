from __future__ import annotations

import numpy as np
import pytest
import shapely
import svgpathtools
from invented_house import PATHS_M, half_round, invented_map, invented_wall, wall_to_projector
from scipy.ndimage import distance_transform_edt

from limewash.errors import InputError
from limewash.facade.map import HouseMap
from limewash.geometry.homography import apply_homography
from limewash.show.fields import Fields, Selection
from limewash.show.wall import assumed_wall


def line_px(name: str) -> np.ndarray:
    entry = next(path for path in PATHS_M if path[0] == name)
    points = apply_homography(wall_to_projector((480, 270)), entry[3])
    return np.vstack([points, points[:1]]) if entry[2] else points


def test_distance_to_the_edge_agrees_with_scipy(fields: Fields) -> None:
    region = fields.region(fields.select(["windows", "door"]))
    inside = region.cover > 0.5
    # SciPy gives the distance to the nearest pixel centre of the other side; the border lies half a pixel nearer.
    expected = np.where(inside, distance_transform_edt(inside) - 0.5, 0.5 - distance_transform_edt(~inside))
    assert np.abs(region.edge_px - expected).max() < 1e-3


@pytest.mark.parametrize("name", ["roof", "window-3", "half-round", "wall"])
def test_distance_to_an_outline_agrees_with_shapely(fields: Fields, name: str) -> None:
    lines = fields.lines(fields.select([name]))
    rng = np.random.default_rng(3)
    rows, columns = rng.integers(0, 270, 400), rng.integers(0, 480, 400)
    line = shapely.LineString(line_px(name))
    expected = shapely.distance(line, shapely.points(columns, rows))
    error = lines.away_px[rows, columns] - expected
    assert np.quantile(np.abs(error), 0.97) < 2e-3
    assert error.min() > -2e-3
    assert (error / np.maximum(expected, 1.0)).max() < 0.022  # half-way between two edges, see `LineFields`


@pytest.mark.parametrize("name", ["roof", "window-3", "half-round"])
def test_length_along_an_outline_agrees_with_shapely(fields: Fields, name: str) -> None:
    lines = fields.lines(fields.select([name]))
    points_m = next(path[3] for path in PATHS_M if path[0] == name)
    line_m = shapely.LineString([*points_m, points_m[0]] if name != "roof" else points_m)
    near = lines.away_px < 0.2  # there the nearest point in pixels is the nearest in metres
    rows, columns = np.nonzero(near)
    metres = apply_homography(np.linalg.inv(wall_to_projector((480, 270))), np.column_stack([columns, rows]))
    expected = shapely.line_locate_point(line_m, shapely.points(metres))
    gap = np.abs(lines.along_m[near] - expected)
    whole = line_m.length
    assert len(gap) > 20
    assert np.minimum(gap, np.abs(whole - gap)).max() < 0.01  # at the seam of a closed path 0 is the whole length
    assert lines.outlines[0].length_m == pytest.approx(whole, rel=1e-4)


def test_length_of_the_half_round_agrees_with_svgpathtools(fields: Fields) -> None:
    (x0, y0), (x1, y1) = half_round(5.0, 4.2, 0.7)[0], half_round(5.0, 4.2, 0.7)[-1]
    arc = svgpathtools.Arc(complex(x0, y0), complex(0.7, 0.7), 0, False, True, complex(x1, y1))
    measured = fields.lines(fields.select(["half-round"])).outlines[0].length_m
    # 39 chords for the half circle: shorter than the arc by 1 - sin(a)/a with a = pi/78, 0.03 %.
    assert measured == pytest.approx(arc.length() + abs(x1 - x0), rel=5e-4)


def test_share_along_an_outline_runs_from_nought_to_one(fields: Fields) -> None:
    lines = fields.lines(fields.select(["roof"]))
    assert lines.share.min() == 0.0
    assert lines.share.max() == pytest.approx(1.0)
    assert np.allclose(lines.share, lines.along_m / lines.outlines[0].length_m, atol=1e-5)


def test_above_and_level_know_which_way_is_up(fields: Fields) -> None:
    lines = fields.lines(fields.select(["window-1"]))
    x, y = line_px("window-1")[:4].mean(axis=0).round().astype(int)
    top = int(line_px("window-1")[:, 1].min())
    assert lines.above[top - 8, x] > 0.95
    assert lines.above[top + 6, x] < -0.95
    assert lines.level[top - 8, x] > 0.95
    left = int(line_px("window-1")[:, 0].min())
    assert lines.level[y, left - 5] < 0.1


def test_covers_of_windows_and_of_all_but_windows_make_the_house(fields: Fields) -> None:
    windows = fields.region(fields.select(["windows"])).cover
    rest = fields.region(fields.select(["not windows"])).cover
    assert np.abs(windows + rest - fields.house).max() < 1e-5


def test_windows_are_cut_out_of_the_wall(fields: Fields) -> None:
    wall = fields.region(fields.select(["walls"]))
    window = fields.house_map.cover("window-2") == 255
    assert wall.cover[window].max() == 0.0
    assert (wall.edge_px[window] < 0.0).all()


def test_areas_come_from_left_to_right_in_metres(fields: Fields) -> None:
    areas = fields.region(fields.select(["windows"])).areas
    assert [a.id for a in areas] == ["window-1", "window-2", "half-round", "window-3", "window-4"]
    assert areas[0].centre_m == pytest.approx((1.8, 1.9), abs=1e-3)
    assert areas[0].half_m == pytest.approx((0.5, 0.7), abs=1e-3)


def test_the_nearest_area_answers_outside(fields: Fields) -> None:
    region = fields.region(fields.select(["window-1", "window-4"]))
    assert [region.areas[k].id for k in region.which[140, [5, 470]]] == ["window-1", "window-4"]
    everything = fields.region(fields.select(["everything"]))
    assert everything.which[0, 0] >= 0


@pytest.mark.parametrize(
    ("words", "ids"),
    [
        (["windows"], {"window-1", "window-2", "window-3", "window-4", "half-round"}),
        (["Window", "not half round"], {"window-1", "window-2", "window-3", "window-4"}),
        (["roof line", "DOOR"], {"roof", "door"}),
        (["not windows", "not walls"], {"door", "roof"}),
        (["door", "garages", "not steps"], {"door"}),
        ("", {"window-1", "window-2", "window-3", "window-4", "half-round", "wall", "door", "roof"}),
    ],
)
def test_where_is_read_in_plain_words(fields: Fields, words: list[str], ids: set[str]) -> None:
    assert fields.select(words).ids == ids


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["windoes"], "did you mean 'windows'"),
        (["window-7"], "nothing called 'window-7'; did you mean 'window-"),
        (["lamp"], "kept dark"),
        (["garage"], "has nothing that is 'garage'"),
        (["door", "not doors"], "has nothing that is 'door', 'not doors'"),
    ],
)
def test_wrong_words_are_named(fields: Fields, words: list[str], message: str) -> None:
    with pytest.raises(InputError, match=message):
        fields.select(words)


def test_a_reduced_house_keeps_its_covers(fields: Fields) -> None:
    small = fields.reduced(2)
    whole = fields.region(fields.select(["windows"])).cover
    half = small.region(small.select(["windows"])).cover
    assert half.shape == (135, 240)
    assert np.abs(half - whole.reshape(135, 2, 240, 2).mean(axis=(1, 3))).max() < 0.01
    assert small.dark.sum() > 0


def test_without_a_traced_wall_the_house_is_the_whole_picture() -> None:
    full = invented_map()
    lines = tuple(p for p in full.lines if p.id in ("door", "roof"))
    bare = Fields(HouseMap(full.size, lines, full.areas, {"door": full.masks["door"]}), invented_wall())
    assert bare.house.min() == 1.0
    assert bare.has_areas(Selection(frozenset(), whole=True))
    assert not bare.has_areas(bare.select(["roof"]))


def test_map_and_scan_of_different_sizes_are_refused() -> None:
    with pytest.raises(InputError, match="480 x 270 pixels and the scan 320 x 180"):
        Fields(invented_map(), assumed_wall((320, 180), 8.0))
