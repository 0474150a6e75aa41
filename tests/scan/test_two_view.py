"""Lenses, pose, depth and metres from one correspondence, against OpenCV on exact points and the virtual houses."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.project.folder import create_project
from limewash.project.models import House
from limewash.scan import measure
from limewash.scan.correspondence import Correspondence, save_correspondence
from limewash.scan.geometry import SceneGeometry, TapePoint, load_geometry, measure_geometry, save_geometry
from limewash.scan.relief import laid_over, similarity
from limewash.scan.two_view import LensGuess, calibrate, ray_depth
from limewash.world.virtual import HOUSES, VirtualHouse, load_world

SIZE = (640, 360)
# Places on the plane z = 0 of each house, clear of what stands in front of it.
ON_WALL = {
    "painted": [(0.9, 3.4), (6.9, 3.8), (3.3, 6.2), (6.5, 1.0), (1.3, 1.0)],
    "brick": [(3.7, 4.6), (7.3, 4.6), (5.7, 5.0), (5.7, 3.8), (7.3, 3.8)],
}
NOISE_PX = 0.05  # of a scan's position, about; see bench/bench_scan_accuracy.py


@cache
def world(name: str) -> VirtualHouse:
    return load_world(name, camera_size=SIZE, projector_size=SIZE)


@cache
def scan(name: str, seed: int = 4) -> Correspondence:
    """The truth of a house with the noise of a scan and three pixels in a thousand wild."""
    truth, rng = world(name).truth(), np.random.default_rng(seed)
    shape = truth.camera_x.shape
    wild = rng.random(shape) < 0.003
    x, y = (
        part + np.where(wild, rng.normal(0.0, 30.0, shape), rng.normal(0.0, NOISE_PX, shape)).astype(np.float32)
        for part in (truth.camera_x, truth.camera_y)
    )
    return Correspondence(x, y, truth.confidence, truth.camera_size, truth.projector_size)


def guess(name: str, throw_off: float = 1.0) -> LensGuess:
    """A data sheet for the house's projector, and nothing about the phone."""
    stand = world(name).house.projector
    return LensGuess(stand.throw_ratio * throw_off, 0.03, stand.lens_shift, 0.02)


def tape(name: str, count: int) -> tuple[TapePoint, ...]:
    """Places of the main wall as a tape and a look at the photo give them."""
    wall = np.array(ON_WALL[name][:count])
    pixels = world(name).camera.project(np.column_stack([wall, np.zeros(len(wall))]))
    return tuple(TapePoint(tuple(a), tuple(b)) for a, b in zip(wall.tolist(), pixels.tolist(), strict=True))


@cache
def measured_scene(name: str, places: int) -> SceneGeometry:
    return measure_geometry(scan(name), guess(name), tape(name, places))


@cache
def landing(name: str) -> np.ndarray:
    """Where each projector pixel truly lands, (H, W, 3)."""
    from limewash.world.truth import cast

    house = world(name)
    grid = np.stack(np.meshgrid(np.arange(SIZE[0], dtype=float), np.arange(SIZE[1], dtype=float)), axis=-1)
    hits = cast(house.scene, house.projector, grid.reshape(-1, 2), house.camera.position_m)
    return hits.position_m.reshape(SIZE[1], SIZE[0], 3)


def two_devices() -> tuple[Device, Device]:
    projector = Device.from_throw((1920, 1080), throw_ratio=1.2, position_m=(0.0, 1.0, 8.0), lens_shift=(0.0, 0.3))
    camera = Device.from_throw(
        (1920, 1080), throw_ratio=0.8, position_m=(1.5, 1.6, 9.0), yaw_rad=-0.1, tilt_rad=0.08,
        distortion=(0.03, -0.02, 0, 0, 0),
    )  # fmt: skip
    return projector, camera


def box_of_points() -> np.ndarray:
    rng = np.random.default_rng(1)
    return rng.uniform((-2.5, 0.5, -2.0), (2.5, 3.5, 1.0), (2000, 3))


def exact_scan(points: np.ndarray, projector: Device, camera: Device) -> tuple[np.ndarray, np.ndarray]:
    return projector.project(points), camera.project(points)


def test_depth_of_exact_points_is_that_of_opencv_s_triangulation() -> None:
    """cv2.triangulatePoints on the same undistorted points; Hartley and Sturm 1997 is not needed without noise."""
    projector, camera = two_devices()
    points = box_of_points()
    p, q = exact_scan(points, projector, camera)
    depth, growth = ray_depth(projector, camera, p, q)
    matrices = [
        d.camera_matrix @ np.hstack([d.rotation, -(d.rotation @ d.position_m)[:, None]]) for d in (projector, camera)
    ]
    straight = cv2.undistortPoints(
        q[:, None], camera.camera_matrix, np.array(camera.distortion), P=camera.camera_matrix
    )
    theirs = cv2.triangulatePoints(matrices[0], matrices[1], p.T, straight[:, 0].T)
    theirs_m = (theirs[:3] / theirs[3]).T
    assert np.allclose(depth, projector.depth_m(theirs_m), atol=1e-6)
    assert np.allclose(depth, projector.depth_m(points), atol=1e-6)
    # The growth is the camera's own, by differences.
    ray = (points - projector.position_m) / projector.depth_m(points)[:, None]
    moved = np.linalg.norm(camera.project(points + 1e-5 * ray) - q, axis=1) / 1e-5
    assert np.median(np.abs(growth / moved - 1.0)) < 0.05


def test_pose_of_exact_points_is_that_of_opencv_s_five_point_method() -> None:
    """cv2.findEssentialMat and recoverPose with the true lenses; Nister, IEEE PAMI 26(6), 2004."""
    projector, camera = two_devices()
    p, q = exact_scan(box_of_points(), projector, camera)
    inside = np.all((p > 0) & (p < (1919, 1079)) & (q > 0) & (q < (1919, 1079)), axis=1)
    p, q = p[inside], q[inside]
    a = cv2.undistortPoints(q[:, None], camera.camera_matrix, np.array(camera.distortion))[:, 0]
    b = (p - projector.centre_px) / projector.focal_px
    essential, _ = cv2.findEssentialMat(b, a, np.eye(3), cv2.RANSAC, 0.9999, 1e-4)
    _, rotation, shift, _ = cv2.recoverPose(essential, b, a, np.eye(3))
    sparse = np.full((1080, 1920), np.nan, dtype=np.float32)
    x, y = sparse.copy(), sparse.copy()
    # Whole projector pixels: move each point along the camera's view of its own depth.
    whole = np.rint(p).astype(int)
    depth = projector.depth_m(box_of_points()[inside])
    ray = np.hstack([(whole - projector.centre_px) / projector.focal_px, np.ones((len(whole), 1))]) @ projector.rotation
    seen = camera.project(projector.position_m + ray * depth[:, None])
    x[whole[:, 1], whole[:, 0]], y[whole[:, 1], whole[:, 0]] = seen[:, 0], seen[:, 1]
    known = LensGuess(1.2, 0.001, (0.0, 0.3), 0.001, 0.8, 0.001)
    view = calibrate(Correspondence(x, y, np.isfinite(x).astype(np.float32), (1920, 1080), (1920, 1080)), known)
    assert np.allclose(view.camera.rotation, rotation, atol=2e-3)
    away = -rotation.T @ shift.ravel()
    assert abs(view.camera.position_m @ away) > 0.9999
    true = projector.rotation @ (camera.position_m - projector.position_m)
    assert view.camera.position_m @ true / np.linalg.norm(true) > 0.9999
    assert view.residual_px < 0.01


@pytest.mark.parametrize("name", HOUSES)
def test_lenses_are_found_within_their_uncertainty(name: str) -> None:
    """A data sheet 3 % off, and a phone of which nothing is known but that it is one."""
    view = calibrate(scan(name), guess(name, throw_off=1.03))
    house = world(name)
    throw = view.projector.focal_px[0] / SIZE[0] / house.house.projector.throw_ratio
    focal = view.camera.focal_px[0] / SIZE[0] / house.house.camera.focal_per_width
    assert not view.flat
    assert abs(np.log(throw)) < 3.0 * view.throw_sigma
    assert abs(np.log(focal)) < 3.0 * view.focal_sigma
    assert view.throw_sigma < 0.05


@pytest.mark.parametrize("name", HOUSES)
@pytest.mark.parametrize("places", [2, 5])
def test_the_house_is_measured_to_a_hundredth_of_its_distance(name: str, places: int) -> None:
    measured = measured_scene(name, places)
    off = np.linalg.norm(measured.points_m() - landing(name), axis=-1)
    off = off[np.isfinite(off)]
    assert measured.metric
    distance = float(np.linalg.norm(world(name).projector.position_m))
    assert np.median(off) < 0.015 * distance
    # What the geometry says of itself covers what it misses: the stretch is smooth and grows with distance.
    assert np.median(off) < 3.0 * measured.stretch * distance + 3.0 * float(np.nanmedian(measured.sigma_m))
    stand = np.linalg.norm(measured.projector.position_m - world(name).projector.position_m)
    assert stand < 0.06 * distance


def test_another_scan_of_the_house_measures_the_same() -> None:
    """The valley of lenses and pose is flat: the fit must go to its floor, and know lenses that sit askew."""
    first = measured_scene("painted", 5)
    second = measure_geometry(scan("painted", seed=9), guess("painted"), tape("painted", 5))
    apart = np.linalg.norm(first.points_m() - second.points_m(), axis=-1)
    distance = float(np.linalg.norm(world("painted").projector.position_m))
    assert np.nanmedian(apart) < 0.003 * distance
    truth = landing("painted")
    off = np.linalg.norm(second.points_m() - truth, axis=-1)
    assert np.nanmedian(off) < 0.006 * distance
    assert np.allclose(second.camera.distortion[2:4], world("painted").camera.distortion[2:4], atol=4e-4)


def test_noise_of_depth_and_normals_is_what_it_is_said_to_be() -> None:
    name = "painted"
    measured = measured_scene(name, 5)
    truth = landing(name)
    pick = np.isfinite(measured.depth_m) & np.isfinite(truth[..., 0])
    ours, exact = measured.points_m()[pick].astype(np.float64), truth[pick]
    # The smooth stretch is told apart: noise is what is left after the best similarity.
    tame = np.linalg.norm(ours - exact, axis=1) < 1.0
    error = np.linalg.norm(laid_over(ours[tame], exact[tame]) - exact[tame], axis=1)
    assert np.median(error) < 4.0 * float(np.nanmedian(measured.sigma_m))
    wall = pick & (np.abs(truth[..., 2]) < 0.005)
    tilt = np.arccos(np.clip(measured.normal[wall] @ np.array([0.0, 0.0, 1.0]), -1.0, 1.0))
    assert np.nanmedian(tilt) < 2.0 * float(np.nanmedian(measured.tilt_sigma_rad[wall])) + np.radians(1.0)


def test_a_flat_wall_is_said_to_be_flat() -> None:
    """A scene that one plane explains has no depth to measure: Hartley and Zisserman, section 11.9 (degeneracies)."""
    projector, camera = two_devices()
    grid = np.stack(np.meshgrid(np.arange(640.0), np.arange(360.0)), axis=-1)
    small, phone = projector.resized((640, 360)), camera.resized((640, 360))
    wall = small.wall_points(grid)
    seen = phone.project(np.concatenate([wall, np.zeros((*wall.shape[:2], 1))], axis=-1))
    seen += np.random.default_rng(2).normal(0.0, NOISE_PX, seen.shape)
    x, y = (seen[..., k].astype(np.float32) for k in (0, 1))
    flat = Correspondence(x, y, np.ones_like(x), (640, 360), (640, 360))
    with pytest.raises(InputError, match="too flat"):
        measure_geometry(flat, LensGuess(1.2, 0.03, (0.0, 0.3)))


def test_without_a_tape_there_are_no_metres() -> None:
    measured = measure_geometry(scan("painted"), guess("painted"))
    assert not measured.metric
    assert np.isnan(measured.tape_m)
    assert np.linalg.norm(measured.projector.position_m - measured.camera.position_m) == pytest.approx(1.0)
    # The wall is upright and faces the street all the same; roofs and shrubs are in the picture, too.
    assert np.nanmedian(measured.normal[..., 2]) > 0.8


def test_too_little_and_senseless_input_is_refused() -> None:
    nothing = np.full((360, 640), np.nan, dtype=np.float32)
    empty = Correspondence(nothing, nothing, np.zeros_like(nothing), SIZE, SIZE)
    with pytest.raises(InputError, match="geometry needs"):
        measure_geometry(empty)
    one = tape("painted", 1)
    with pytest.raises(InputError, match="one spot"):
        measure_geometry(scan("painted"), guess("painted"), (*one, *one))


def test_a_stored_geometry_comes_back(tmp_path_factory: pytest.TempPathFactory) -> None:
    measured = measured_scene("painted", 5)
    path = tmp_path_factory.mktemp("geometry") / "geometry.npz"
    save_geometry(path, measured)
    back = load_geometry(path)
    assert np.allclose(back.points_m(), measured.points_m(), equal_nan=True, atol=1e-5)
    assert back.camera.size == measured.camera.size
    assert isinstance(back, SceneGeometry)
    path.write_bytes(path.read_bytes()[:500])
    with pytest.raises(InputError, match="measure again"):
        load_geometry(path)
    with pytest.raises(InputError, match="scan measure"):
        load_geometry(path.with_name("other.npz"))


@settings(max_examples=40, deadline=None)
@given(
    scale=st.floats(0.1, 10.0),
    turn=st.tuples(*[st.floats(-3.0, 3.0)] * 3),
    shift=st.tuples(*[st.floats(-5.0, 5.0)] * 3),
)
def test_a_similarity_is_found_again(scale: float, turn: tuple[float, ...], shift: tuple[float, ...]) -> None:
    points = np.random.default_rng(3).normal(size=(30, 3))
    rotation = cv2.Rodrigues(np.array(turn))[0]
    found_scale, found_rotation, found_shift = similarity(points, scale * points @ rotation.T + shift)
    assert found_scale == pytest.approx(scale, rel=1e-9)
    assert np.allclose(found_rotation, rotation, atol=1e-9)
    assert np.allclose(found_shift, shift, atol=1e-8)


def test_a_measured_place_beside_the_photo_is_told(tmp_path: Path) -> None:
    point = {"what": "door", "wall_m": [1.0, 0.0], "photo_px": [350.0, 90000.0]}
    house = House.model_validate({"name": "A house", "facade": {"width_m": 9.0, "height_m": 6.0, "measured": [point]}})
    project = create_project(tmp_path / "house", house)
    folder = project.next_scan()
    folder.mkdir(parents=True)
    save_correspondence(folder / "correspondence.npz", scan("painted"))
    with pytest.raises(InputError, match=r"'door': photo_px must lie on .* got \[350, 90000\]"):
        measure.measure_scan(project)


def test_a_scan_is_measured_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    project = create_project(tmp_path / "house", House(name="A house"))
    folder = project.next_scan()
    folder.mkdir(parents=True)
    save_correspondence(folder / "correspondence.npz", scan("painted"))
    (folder / "geometry.npz").write_bytes(b"the old one")
    monkeypatch.setattr(measure, "measure_geometry", lambda *_: measured_scene("painted", 5))
    disk_full = InputError("cannot write: the disk is full")
    with monkeypatch.context() as patch:
        patch.setattr(measure, "write_image", lambda *_: (_ for _ in ()).throw(disk_full))
        with pytest.raises(InputError, match="disk is full"):
            measure.measure_scan(project)
    assert (folder / "geometry.npz").read_bytes() == b"the old one"
    assert sorted(path.name for path in folder.iterdir()) == ["correspondence.npz", "geometry.npz"]
    measure.measure_scan(project)
    assert sorted(path.name for path in folder.iterdir()) == ["correspondence.npz", "depth.png", "geometry.npz"]
    assert load_geometry(folder / "geometry.npz").metric
