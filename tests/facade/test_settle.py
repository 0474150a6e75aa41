"""Check points: the planes against OpenCV, the thin plate against its formula, and what must hold for every input."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.facade.checkpoints import CheckPoint, CheckPoints, checkpoints_text, read_checkpoints
from limewash.facade.settle import Settling, plane_through, settled_correspondence
from limewash.geometry.homography import apply_homography
from limewash.scan.correspondence import Correspondence

CORNERS = [(100.0, 80.0), (1800.0, 90.0), (1780.0, 1000.0), (120.0, 980.0)]
SPOTS = np.array([(300.0, 200.0), (960.0, 540.0), (1500.0, 900.0), (50.0, 30.0)])


def points_of(pairs: list[tuple[tuple[float, float], tuple[float, float]]], part: str = "") -> list[CheckPoint]:
    return [CheckPoint(name=f"{part}{n}", part=part, map_px=a, house_px=b) for n, (a, b) in enumerate(pairs)]


def test_four_corners_are_opencvs_perspective_transform() -> None:
    moved = [(112.0, 71.0), (1790.5, 99.0), (1771.0, 1012.0), (133.0, 968.0)]
    theirs = cv2.getPerspectiveTransform(np.float32(CORNERS), np.float32(moved))
    settling = Settling(points_of(list(zip(CORNERS, moved, strict=True))), "flat")
    np.testing.assert_allclose(settling.apply(SPOTS), apply_homography(theirs, SPOTS), atol=1e-3)


def test_three_points_are_opencvs_affine_transform() -> None:
    moved = [(112.0, 71.0), (1790.5, 99.0), (1771.0, 1012.0)]
    theirs = cv2.getAffineTransform(np.float32(CORNERS[:3]), np.float32(moved))
    ours = plane_through(np.array(CORNERS[:3]), np.array(moved))
    np.testing.assert_allclose(ours[:2], theirs, atol=2e-4)


def test_two_points_turn_and_size_without_shear_and_one_shifts() -> None:
    ours = plane_through(np.array([(0.0, 0.0), (10.0, 0.0)]), np.array([(5.0, 5.0), (5.0, 25.0)]))
    np.testing.assert_allclose(apply_homography(ours, [(0.0, 10.0)]), [(-15.0, 5.0)], atol=1e-12)
    ours = plane_through(np.array([(3.0, 4.0)]), np.array([(5.0, 1.0)]))
    np.testing.assert_allclose(apply_homography(ours, [(100.0, 100.0)]), [(102.0, 97.0)])


def thin_plate(source: np.ndarray, rest: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The textbook system: kernel r^2 log r, affine part, weights orthogonal to it."""

    def kernel(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        r = np.linalg.norm(a[:, None] - b[None], axis=-1)
        return np.where(r > 0, r**2 * np.log(np.where(r > 0, r, 1.0)), 0.0)

    flat = np.column_stack([np.ones(len(source)), source])
    system = np.block([[kernel(source, source), flat], [flat.T, np.zeros((3, 3))]])
    weights = np.linalg.solve(system, np.vstack([rest, np.zeros((3, 2))]))
    return kernel(at, source) @ weights[:-3] + np.column_stack([np.ones(len(at)), at]) @ weights[-3:]


def test_the_smooth_way_is_a_thin_plate_over_the_plane() -> None:
    rng = np.random.default_rng(4)
    source = rng.uniform((50, 50), (1850, 1000), (9, 2))
    target = source + rng.normal(0, 6, source.shape)
    pairs = list(zip(map(tuple, source.tolist()), map(tuple, target.tolist()), strict=True))
    settling = Settling(points_of(pairs), "smooth")
    base = plane_through(source, target)
    expected = apply_homography(base, SPOTS) + thin_plate(source, target - apply_homography(base, source), SPOTS)
    np.testing.assert_allclose(settling.apply(SPOTS), expected, atol=1e-6)
    assert settling.left_over_px().max() < 1e-8
    assert Settling(points_of(pairs), "flat").left_over_px().max() > 1.0


def test_each_part_moves_as_its_own_plane() -> None:
    """A porch in front of the wall moves differently from the wall; inside each, the plane holds exactly."""
    wall = [(a, (a[0] + 4.0, a[1])) for a in [(100.0, 100.0), (900.0, 100.0), (900.0, 900.0), (100.0, 900.0)]]
    porch = [
        (a, (a[0] - 9.0, a[1] + 2.0)) for a in [(1100.0, 500.0), (1700.0, 500.0), (1700.0, 900.0), (1100.0, 900.0)]
    ]
    settling = Settling([*points_of(wall, "wall"), *points_of(porch, "porch")], "parts")
    np.testing.assert_allclose(settling.apply([(500.0, 400.0)]), [(504.0, 400.0)], atol=1e-6)
    np.testing.assert_allclose(settling.apply([(1400.0, 700.0)]), [(1391.0, 702.0)], atol=1e-6)
    # No jump between the two.
    row = settling.apply([(x, 700.0) for x in np.linspace(850.0, 1150.0, 601)])
    assert np.abs(np.diff(row[:, 0]) - 0.5).max() < 0.2


offsets = st.lists(st.tuples(st.floats(-15, 15), st.floats(-15, 15)), min_size=0, max_size=6)


@settings(max_examples=60, deadline=None)
@given(offsets=offsets, method=st.sampled_from(["flat", "parts", "smooth"]))
def test_back_is_the_inverse_of_apply(offsets: list[tuple[float, float]], method: str) -> None:
    places = [*CORNERS, (960.0, 300.0), (700.0, 800.0)]
    pairs = [(p, (p[0] + dx, p[1] + dy)) for p, (dx, dy) in zip(places, offsets, strict=False)]
    settling = Settling(points_of(pairs), method)  # type: ignore[arg-type]
    np.testing.assert_allclose(settling.back(settling.apply(SPOTS)), SPOTS, atol=1e-3)


def test_a_settled_scan_sees_through_the_correction_and_leaves_the_old_one_alone() -> None:
    width, height = 320, 240
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    old = Correspondence(x * 2 + 7, y * 2 + 3, np.ones_like(x), (700, 500), (width, height))
    pairs = [((20.0, 20.0), (23.0, 18.0)), ((300.0, 20.0), (302.0, 21.0)), ((300.0, 220.0), (299.0, 224.0))]
    settling = Settling(points_of([*pairs, ((20.0, 220.0), (20.0, 220.0))]), "smooth")
    new = settled_correspondence(old, settling)
    places = np.array([(60.0, 50.0), (200.0, 120.0), (290.0, 200.0)])
    # What the map had at p is now met at apply(p).
    np.testing.assert_allclose(new.sample(settling.apply(places)), old.sample(places), atol=2e-3)
    assert np.isnan(new.camera_x[0, 0])  # nothing of the old map comes to lie there
    assert new.confidence[0, 0] == 0.0
    np.testing.assert_array_equal(old.camera_x, x * 2 + 7)


def test_points_on_one_line_or_on_each_other_are_refused_in_words() -> None:
    line = [((float(x), 10.0), (float(x), 12.0)) for x in (0, 100, 200)]
    with pytest.raises(InputError, match="on one line"):
        Settling(points_of(line), "flat")
    with pytest.raises(InputError, match="on each other on the map"):
        Settling(points_of([((1.0, 1.0), (1.0, 1.0)), ((1.2, 1.0), (9.0, 9.0))]), "flat")


def test_the_file_reads_back_what_was_written(tmp_path: Path) -> None:
    points = CheckPoints(scan="scan-1", method="parts", point=tuple(points_of([((1.5, 2.0), (3.0, 4.25))], "gable")))
    path = tmp_path / "checkpoints.toml"
    path.write_text(checkpoints_text(points), encoding="utf-8")
    assert read_checkpoints(path) == points
    with pytest.raises(InputError, match="names of their own"):
        points.with_points(points.point * 2)
