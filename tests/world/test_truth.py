"""Truth against OpenCV's projection, a homography on the plane, and rays cast the other way round."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from bare import BOX, WALL, bare_world, small_world
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.facade.tracing import Kind
from limewash.geometry.path import Cubic, Path2
from limewash.world.features import Round, Straight, picture_path
from limewash.world.model import HOUSES
from limewash.world.truth import cast

CAMERA = {
    "focal_per_width": 1.0, "place_m": (9.0, 5.6, 6.5), "yaw_deg": 6.0, "tilt_deg": 3.0,
    "distortion": (0.03, -0.04, 0.001, -0.001, 0.0),
}  # fmt: skip


def test_on_a_bare_wall_truth_is_a_homography_and_the_lens_by_opencv() -> None:
    world = bare_world(camera=CAMERA)
    truth = world.truth()
    rows, columns = np.nonzero(truth.seen)
    corners = np.array([(0, 0), (191, 0), (191, 107), (0, 107)], dtype=float)
    ideal, _ = cv2.findHomography(corners, world.projector.wall_points(corners))
    wall = cv2.perspectiveTransform(np.stack([columns, rows], -1).astype(float)[:, None], ideal)[:, 0]
    camera = world.camera
    turned = np.array([1.0, -1.0, -1.0])  # rotation vectors near half a turn, which ours are, lose digits
    rotation, _ = cv2.Rodrigues(camera.rotation * turned)
    expected, _ = cv2.projectPoints(
        np.column_stack([wall, np.zeros(len(wall))]) * turned, rotation, -camera.rotation @ camera.position_m,
        camera.camera_matrix, np.array(camera.distortion),
    )  # fmt: skip
    found = np.stack([truth.camera_x, truth.camera_y], -1)[rows, columns]
    assert len(rows) > 15_000
    np.testing.assert_allclose(found, expected[:, 0], atol=2e-4)  # float32 maps


@pytest.mark.parametrize("name", HOUSES)
def test_a_ray_from_the_camera_finds_the_projector_pixel_back(name: str) -> None:
    world = small_world(name)
    truth = world.truth()
    rows, columns = np.nonzero(truth.seen)
    back = world.projector_pixels(np.stack([truth.camera_x, truth.camera_y], -1)[rows, columns])
    error = np.hypot(back[:, 0] - columns, back[:, 1] - rows)
    # At a silhouette the float32 camera pixel may fall beside the edge: a handful of pixels.
    assert np.mean(~(error < 0.01)) < 1e-3
    assert np.nanmedian(error) < 1e-4


@pytest.mark.parametrize("name", HOUSES)
def test_most_of_the_picture_lands_where_the_camera_sees_it(name: str) -> None:
    assert 0.5 < small_world(name).truth().seen.mean() < 0.95


def test_glass_gives_no_light_back() -> None:
    world = small_world("painted")
    truth = world.truth()
    window = next(f for f in world.features() if f.id == "lower-left-window")
    corners = np.array([s.start for s in window.projector.segments])
    middle = corners.mean(axis=0)
    size = np.ptp(corners, axis=0)
    x = slice(round(middle[0] - 0.3 * size[0]), round(middle[0] + 0.3 * size[0]))
    y = slice(round(middle[1] - 0.3 * size[1]), round(middle[1] + 0.3 * size[1]))
    assert truth.seen[y, x].mean() < 0.35  # only the bars between the panes


def test_what_the_camera_cannot_see_is_left_out() -> None:
    camera = {"focal_per_width": 1.0, "place_m": (4.0, 2.0, 8.0), "yaw_deg": 30.0}
    projector = {"lumens": 1000.0, "throw_ratio": 1.0, "place_m": (14.0, 2.0, 8.0), "yaw_deg": -20.0}
    world = bare_world(WALL, BOX, camera=camera, projector=projector)
    truth = world.truth()
    hidden = world.projector.project((10.6, 2.0, 0.0))  # behind the box's right edge for the camera
    seen = world.projector.project((13.0, 2.0, 0.0))
    assert not truth.seen[round(hidden[1]), round(hidden[0])]
    assert truth.seen[round(seen[1]), round(seen[0])]
    assert np.isnan(world.projector_pixels(world.camera.project((7.0, 2.0, 0.0))[None])).all()  # in its shadow


def test_the_nearest_hit_agrees_with_all_triangles_tried() -> None:
    world = small_world("painted")
    rng = np.random.default_rng(1)
    pixels = rng.uniform((0, 0), world.camera.size, (120, 2))
    hits = cast(world.scene, world.camera, pixels, world.projector.position_m)
    origin, triangles = world.camera.position_m, world.scene.tree.triangles
    for pixel, position in zip(pixels, hits.position_m, strict=True):
        direction = world.camera.rays(pixel)
        travel = brute_force(origin, direction, triangles)
        assert travel == pytest.approx(
            np.linalg.norm(position - origin) if np.isfinite(position).all() else np.inf, abs=1e-8
        )


def brute_force(origin: np.ndarray, direction: np.ndarray, triangles: np.ndarray) -> float:
    """Plane by plane, then inside by signed areas: another route than the kernel's."""
    a, ab, ac = triangles[:, :3], triangles[:, 3:6], triangles[:, 6:]
    normal = np.cross(ab, ac)
    with np.errstate(divide="ignore", invalid="ignore"):
        travel = np.einsum("ij,ij->i", a - origin, normal) / (normal @ direction)
        point = origin + travel[:, None] * direction
        total = np.einsum("ij,ij->i", normal, normal)
        v = np.einsum("ij,ij->i", np.cross(ab, point - a), normal) / total
        u = np.einsum("ij,ij->i", np.cross(point - a, ac), normal) / total
    inside = (u >= 0) & (v >= 0) & (u + v <= 1) & (travel > 0)
    return float(travel[inside].min()) if inside.any() else np.inf


@pytest.mark.parametrize("name", HOUSES)
def test_growth_is_the_slope_of_the_truth_itself(name: str) -> None:
    truth = small_world(name).truth()
    step = np.diff(truth.camera_x, axis=1)
    mean = 0.5 * (truth.growth[:, 1:, 0, 0] + truth.growth[:, :-1, 0, 0])
    both = np.isfinite(step) & np.isfinite(mean)
    assert np.median(np.abs(step - mean)[both]) < 1e-3


# Features


@pytest.mark.parametrize("name", HOUSES)
def test_features_agree_in_metres_camera_and_projector(name: str) -> None:
    world = small_world(name)
    for feature in world.features():
        for device, path in ((world.camera, feature.camera), (world.projector, feature.projector)):
            ends = np.array([segment.start for segment in path.segments] + [path.segments[-1].end])
            starts = device.project(np.array([edge.at(0.0) for edge in feature.edges]))
            distance = np.linalg.norm(starts[:, None] - ends[None], axis=2).min(axis=1)
            assert distance.max() < 1e-9
            if feature.closed:
                np.testing.assert_allclose(path.end, path.start, atol=1e-9)


@pytest.mark.parametrize("name", HOUSES)
def test_every_kind_that_a_house_has_is_traced(name: str) -> None:
    tracing = small_world(name).tracing()
    kinds = {item.kind for item in tracing.items}
    assert kinds >= {Kind.WINDOW, Kind.DOOR, Kind.GARAGE, Kind.ROOF_LINE, Kind.WALL, Kind.POST, Kind.TRIM, Kind.STEP}
    assert all(item.title for item in tracing.items)
    assert not any(item.is_area for item in tracing.of_kind(Kind.ROOF_LINE))
    assert all(item.is_area for item in tracing.of_kind(Kind.WINDOW))


@pytest.mark.parametrize("name", HOUSES)
def test_windows_lie_in_both_pictures(name: str) -> None:
    world = small_world(name)
    for feature in world.features():
        if feature.kind in (Kind.WINDOW, Kind.DOOR, Kind.GARAGE):
            for device, path in ((world.camera, feature.camera), (world.projector, feature.projector)):
                points = np.array([segment.start for segment in path.segments])
                assert (points > -0.5).all(), feature.id
                assert (points < np.array(device.size) - 0.5).all(), feature.id


def test_what_is_mostly_hidden_is_not_traced() -> None:
    ids = {feature.id for feature in small_world("brick").features()}
    assert "porch-post-1" not in ids  # the garage stands before it
    assert {"porch-post-2", "garage-door-lintel"} <= ids


def test_a_traced_window_follows_the_edge_of_what_returns_light() -> None:
    world = small_world("painted")
    window = next(f for f in world.features() if f.id == "upper-left-window")
    outline = np.concatenate([edge.at(np.linspace(0.02, 0.98, 25)) for edge in window.edges])
    middle = outline.mean(axis=0)
    inward = outline + 0.03 * (middle - outline)
    hits = cast(world.scene, world.camera, world.camera.project(inward), world.projector.position_m)
    np.testing.assert_allclose(hits.position_m[:, 2], outline[:, 2], atol=1e-6)
    assert hits.diffuse.all()


@settings(max_examples=25, deadline=None)
@given(x=st.floats(4.0, 16.0), y=st.floats(3.0, 9.0), radius=st.floats(0.1, 1.5))
def test_curves_stay_on_the_exact_arc(x: float, y: float, radius: float) -> None:
    device = bare_world(camera=CAMERA, size=(1920, 1080)).camera
    edge = Round((x, y, 0.02), radius, 0.0, np.pi)
    path = picture_path((edge,), device, closed=False)
    curve = np.concatenate([bezier(segment) for segment in path.segments if isinstance(segment, Cubic)])
    exact = device.project(edge.at(np.linspace(0, 1, 20_001)))
    gap = np.array([np.hypot(*(exact - point).T).min() for point in curve])
    assert gap.max() < 0.02 + 0.5 * np.hypot(*np.diff(exact, axis=0).T).max()


def bezier(segment: Cubic) -> np.ndarray:
    t = np.linspace(0, 1, 9)[:, None]
    a, b, c, d = (np.array(p) for p in (segment.start, segment.control1, segment.control2, segment.end))
    return (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t * t * (1 - t) * c + t**3 * d


@settings(max_examples=25, deadline=None)
@given(st.tuples(st.floats(2, 18), st.floats(1, 11)), st.tuples(st.floats(2, 18), st.floats(1, 11)))
def test_straight_edges_follow_the_bending_lens(a: tuple[float, float], b: tuple[float, float]) -> None:
    device = bare_world(camera=CAMERA, size=(1920, 1080)).camera
    edge = Straight((*a, 0.0), (*b, 0.0))
    path: Path2 = picture_path((edge,), device, closed=False)
    exact = device.project(edge.at(np.linspace(0, 1, 301)))
    ends = np.array([path.segments[0].start] + [s.end for s in path.segments])
    gap = [distance_to_chain(point, ends) for point in exact]
    assert max(gap) < 0.04


def distance_to_chain(point: np.ndarray, ends: np.ndarray) -> float:
    a, ab = ends[:-1], np.diff(ends, axis=0)
    t = np.clip(np.einsum("ij,ij->i", point - a, ab) / np.maximum(np.einsum("ij,ij->i", ab, ab), 1e-12), 0, 1)
    return float(np.hypot(*(a + t[:, None] * ab - point).T).min())
