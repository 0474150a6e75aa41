"""Transfer through exact planes. OpenCV's perspectiveTransform and exact device models are the outside references."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely
from flat_scene import CAMERA, GARAGE, PROJECTOR, SIZE, FlatScene, corners, flat_scene, noisy, traced
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.tracing import Kind, Surface, Traced, Tracing
from limewash.facade.transfer import TransferredPath, transfer
from limewash.geometry.path import Arc, Line, Path2, polyline
from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]


@pytest.fixture(scope="module")
def scene() -> FlatScene:
    return flat_scene()


def distances(path: TransferredPath, truth: Array) -> Array:
    """From true points to the transferred line. [px]"""
    points = np.vstack([path.points, path.points[:1]]) if path.closed else path.points
    return np.asarray(shapely.distance(shapely.LineString(points), shapely.points(truth)))


def rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def through(matrix: Array, size: tuple[int, int]) -> Correspondence:
    """A correspondence that is one homography (photo to projector) everywhere, by OpenCV."""
    grid = np.stack(np.meshgrid(np.arange(size[0]), np.arange(size[1])), axis=-1).astype(np.float64)
    seen = cv2.perspectiveTransform(grid.reshape(1, -1, 2), np.linalg.inv(matrix)).reshape(grid.shape)
    inside = (seen >= 0).all(axis=-1) & (seen <= np.array(size) - 1).all(axis=-1)
    seen[~inside] = np.nan
    return Correspondence(
        seen[..., 0].astype(np.float32), seen[..., 1].astype(np.float32), inside.astype(np.float32), size, size
    )


def test_a_leaning_homography_is_returned_to_a_millionth_of_a_pixel() -> None:
    matrix = np.array([[1.03, 0.02, 2.1], [-0.04, 0.97, 3.3], [2e-4, -1e-4, 1.0]])
    corners_px = [(36.0, 30.0), (85.5, 29.0), (90.0, 62.0), (35.0, 60.0)]
    tracing = Tracing((124, 92), (Traced("w", Kind.WINDOW, polyline(corners_px, closed=True)),))
    (path,) = transfer(tracing, through(matrix, (124, 92)))
    assert distances(path, cv2.perspectiveTransform(np.array([corners_px]), matrix)[0]).max() < 1e-6


@settings(max_examples=8, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(
    st.tuples(*[st.floats(-0.08, 0.08)] * 4),
    st.tuples(st.floats(-5.0, 5.0), st.floats(-5.0, 5.0)),
    st.tuples(st.floats(-3e-4, 3e-4), st.floats(-3e-4, 3e-4)),
)
def test_an_exact_homography_is_returned(
    linear: tuple[float, ...], shift: tuple[float, ...], lean: tuple[float, ...]
) -> None:
    a, b, c, d = linear
    matrix = np.array([[1.0 + a, b, shift[0]], [c, 1.0 + d, shift[1]], [*lean, 1.0]])
    corners_px = [(36.0, 30.0), (85.5, 29.0), (90.0, 62.0), (35.0, 60.0)]
    tracing = Tracing((124, 92), (Traced("w", Kind.WINDOW, polyline(corners_px, closed=True)),))
    (path,) = transfer(tracing, through(matrix, (124, 92)))
    expected = cv2.perspectiveTransform(np.array([corners_px]), matrix)[0]
    assert path.closed
    # float32 keeps a camera coordinate of 64 to 128 px to half of 2^-17 px. For a plain shift all are rounded alike, so
    # no fit can be better than that; otherwise the errors average out and the result is some ten times better.
    tolerance_px = 2.0**-18
    assert distances(path, expected).max() < tolerance_px
    gap = np.hypot(*(path.points[:, None] - expected).transpose(2, 0, 1))
    assert gap.min(axis=0).max() < tolerance_px  # every corner is a point of the result


def test_straight_lines_run_straight_across_glass(scene: FlatScene) -> None:
    for path in transfer(scene.tracing, scene.correspondence):
        gap = distances(path, scene.truth[path.id])
        assert rms(gap) < 0.02, path.id
        assert gap.max() < 0.05, path.id
        assert path.quality.surfaces == 1
        assert path.quality.warnings == ()


def test_noise_and_outliers_hardly_matter(scene: FlatScene) -> None:
    correspondence = noisy(scene.correspondence, noise_px=0.3, outliers=0.01)
    paths = transfer(scene.tracing, correspondence)
    every = np.concatenate([distances(path, scene.truth[path.id]) for path in paths])
    assert rms(every) < 0.15
    assert every.max() < 0.5
    # Two coordinates with 0.3 photo px each, as seen from the projector's pixels.
    assert all(0.2 < path.quality.residual_px < 1.0 for path in paths)


def test_what_is_around_a_garage_can_be_asked_for(scene: FlatScene) -> None:
    """Without a word the nearer surface owns the edge; the person's word comes first."""
    garage = next(item for item in scene.tracing.items if item.id == "garage")
    others = tuple(item for item in scene.tracing.items if item.id != "garage")
    asked = replace(garage, surface=Surface.OUTSIDE)
    on_wall = transfer(Tracing(SIZE, (*others, asked)), scene.correspondence)[-1]
    left, right, low, high = GARAGE
    photo = CAMERA.project(corners(GARAGE, 0.6))
    expected = PROJECTOR.project(np.column_stack([CAMERA.wall_points(photo), np.zeros(4)]))
    assert distances(on_wall, expected).max() < 0.05
    assert distances(on_wall, scene.truth["garage"]).max() > 5.0
    assert right > left
    assert high > low


def test_a_line_over_two_surfaces_is_split(scene: FlatScene) -> None:
    """Drawn over wall and garage: each part lies on its own surface, with a step between."""
    at_m = np.array([(2.0, 0.9, 0.0), (4.2, 0.9, 0.0)])
    wall_part, wall_truth = traced("a", Kind.OTHER, at_m, closed=False)
    garage_part, garage_truth = traced("b", Kind.OTHER, np.array([(4.95, 0.9, 0.6), (6.5, 0.9, 0.6)]), closed=False)
    way = Path2(
        (*wall_part.path.segments, Line(wall_part.path.end, garage_part.path.start), *garage_part.path.segments), False
    )
    line = Traced("line", Kind.OTHER, way)
    path = transfer(Tracing(SIZE, (*scene.tracing.items, line)), scene.correspondence)[-1]
    assert path.quality.surfaces == 2
    assert distances(path, wall_truth).max() < 0.1
    assert distances(path, garage_truth[1:]).max() < 0.1
    step = np.hypot(*np.diff(path.points, axis=0).T).max()
    assert step > 5.0


def test_curves_stay_within_their_tolerance(scene: FlatScene) -> None:
    """A circle on the photo without a lens: OpenCV maps its points, and the chain may stray 0.05 px from them."""
    plain = flat_scene(lens=False)
    circle = Path2(
        (Arc((420.0, 150.0), (360.0, 150.0), (30.0, 30.0)), Arc((360.0, 150.0), (420.0, 150.0), (30.0, 30.0))), True
    )
    tracing = Tracing(SIZE, (*plain.tracing.items, Traced("round", Kind.WINDOW, circle)))
    path = transfer(tracing, plain.correspondence)[-1]
    angle = np.linspace(0.0, 2.0 * np.pi, 400)
    photo = np.column_stack([390.0 + 30.0 * np.cos(angle), 150.0 + 30.0 * np.sin(angle)])
    camera = replace(CAMERA, distortion=(0.0,) * 5)
    four = np.array([(200.0, 100.0), (700.0, 100.0), (700.0, 400.0), (200.0, 400.0)])
    world = np.column_stack([camera.wall_points(four), np.zeros(4)])
    matrix = cv2.getPerspectiveTransform(four.astype(np.float32), PROJECTOR.project(world).astype(np.float32))
    expected = cv2.perspectiveTransform(photo[None], matrix)[0]
    assert distances(path, expected).max() < 0.05


def test_a_path_far_from_all_data_is_laid_on_the_main_wall_and_said_so(scene: FlatScene) -> None:
    lost, truth = traced("lost", Kind.TRIM, np.array([(0.2, 4.4, 0.0), (0.6, 4.4, 0.0)]), closed=False)
    path = transfer(Tracing(SIZE, (*scene.tracing.items, lost)), scene.correspondence)[-1]
    assert path.quality.support == 0
    assert path.quality.extrapolated == 1.0
    assert path.quality.warnings[0].startswith("no scan data within 20 px of 'lost'")
    assert distances(path, truth).max() < 0.5


def test_a_hidden_post_stands_in_a_row_with_the_others(scene: FlatScene) -> None:
    """Two posts are the garage's own edges here; the third is drawn where only the wall is seen, on and on."""
    posts, truth = [], {}
    for number, x in enumerate((4.92, 6.5)):
        edge = (x, x + 0.08, 0.4, 2.2)
        item, truth[f"p{number}"] = traced(f"p{number}", Kind.POST, corners(edge, 0.6), closed=True)
        posts.append(item)
    item, truth["hidden"] = traced("hidden", Kind.POST, corners((4.5, 4.6, 0.4, 2.2), 0.6), closed=True)
    paths = transfer(Tracing(SIZE, (*scene.tracing.items, *posts, item)), scene.correspondence)
    assert "in a row with the other posts" in " ".join(paths[-1].quality.warnings)
    assert distances(paths[-1], truth["hidden"]).max() < 0.3


def test_the_side_of_the_camera_may_be_told(scene: FlatScene) -> None:
    """Told wrongly, near and far change places: so the hint is heard."""
    right = transfer(scene.tracing, scene.correspondence, camera_side=(0.8, -0.4))
    garage = next(path for path in right if path.id == "garage")
    assert distances(garage, scene.truth["garage"]).max() < 0.05
    wrong = transfer(scene.tracing, scene.correspondence, camera_side=(-0.8, 0.4))
    garage = next(path for path in wrong if path.id == "garage")
    assert distances(garage, scene.truth["garage"]).max() > 5.0


def test_a_path_does_not_depend_on_the_order_of_the_tracing(scene: FlatScene) -> None:
    forward = {path.id: path.points for path in transfer(scene.tracing, scene.correspondence)}
    turned = Tracing(SIZE, tuple(reversed(scene.tracing.items)))
    for path in transfer(turned, scene.correspondence):
        assert path.points == pytest.approx(forward[path.id], abs=1e-6)


def test_faults_are_told(scene: FlatScene) -> None:
    other = replace(scene.tracing, size=(640, 480))
    with pytest.raises(InputError, match=r"photo of 640 x 480 px, the scan's photo has 960 x 540"):
        transfer(other, scene.correspondence)
    empty = np.full((540, 960), np.nan, dtype=np.float32)
    nothing = Correspondence(empty, empty, np.zeros_like(empty), SIZE, SIZE)
    with pytest.raises(InputError, match="the scan has only 0 points"):
        transfer(scene.tracing, nothing)
    assert transfer(Tracing(SIZE), scene.correspondence) == ()


def test_quality_goes_into_a_report(scene: FlatScene) -> None:
    path = transfer(scene.tracing, scene.correspondence)[0]
    report = path.quality_json()
    assert report["id"] == "window-0"
    assert report["kind"] == "window"
    assert report["support"] == path.quality.support > 1000
