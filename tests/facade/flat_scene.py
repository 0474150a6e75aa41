"""A wall with windows, a garage front before it, and what a camera and a projector see of them, exactly."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.geometry.device import Device
from limewash.geometry.path import polyline
from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]
Rectangle = tuple[float, float, float, float]  # left, right, low, high [m]

SIZE = (960, 540)
PROJECTOR = Device.from_throw(
    SIZE, throw_ratio=1.3, position_m=(5.0, 1.2, 9.0), tilt_rad=0.05, yaw_rad=-0.03, lens_shift=(0.0, 0.3)
)
CAMERA = Device.from_throw(
    SIZE,
    throw_ratio=0.85,
    position_m=(5.8, 1.6, 9.5),
    tilt_rad=0.1,
    yaw_rad=-0.12,
    roll_rad=0.01,
    distortion=(-0.05, 0.0, 0.0, 0.0, 0.0),
)
WINDOWS: tuple[Rectangle, ...] = (
    (2.0, 2.8, 1.0, 2.4),
    (3.2, 4.3, 1.0, 2.4),
    (1.8, 2.6, 3.2, 4.2),
    (5.5, 6.6, 3.2, 4.2),
)
GARAGE: Rectangle = (4.9, 6.6, 0.4, 2.2)
GARAGE_Z_M = 0.6


@dataclass(frozen=True)
class FlatScene:
    """An exact correspondence, its tracing, and the true projector points of each traced path."""

    correspondence: Correspondence
    tracing: Tracing
    truth: dict[str, Array]


def flat_scene(*, windows_dark: bool = True, lens: bool = True) -> FlatScene:
    """Wall z = 0 from 1.2 m to 7.8 m and up to 5 m, garage front at z = 0.6 m; glass gives nothing back."""
    camera = CAMERA if lens else replace(CAMERA, distortion=(0.0,) * 5)
    grid = np.stack(np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1])), axis=-1).astype(np.float64)
    wall, garage = PROJECTOR.wall_points(grid), PROJECTOR.wall_points(grid, z_m=GARAGE_Z_M)
    on_garage = _within(garage, GARAGE)
    spot = np.where(on_garage[..., None], _at(garage, GARAGE_Z_M), _at(wall, 0.0))
    seen = camera.project(spot)
    hidden = _within(camera.wall_points(np.nan_to_num(seen), z_m=GARAGE_Z_M), GARAGE) & ~on_garage
    glass = np.any([_within(wall, window) for window in WINDOWS], axis=0) & windows_dark
    beside = ~_within(wall, (1.2, 7.8, 0.0, 5.0))
    inside = (seen >= 0.0).all(axis=-1) & (seen <= np.array(SIZE) - 1.0).all(axis=-1)
    seen[hidden | ((glass | beside) & ~on_garage) | ~inside] = np.nan
    correspondence = Correspondence(
        camera_x=seen[..., 0].astype(np.float32),
        camera_y=seen[..., 1].astype(np.float32),
        confidence=np.isfinite(seen[..., 0]).astype(np.float32),
        camera_size=SIZE,
        projector_size=SIZE,
    )
    items, truth = [], {}
    shapes = [(f"window-{i}", Kind.WINDOW, corners(w, 0.0), True) for i, w in enumerate(WINDOWS)]
    shapes.append(("garage", Kind.GARAGE, corners(GARAGE, GARAGE_Z_M), True))
    shapes.append(("string-course", Kind.TRIM, np.array([(1.5, 2.8, 0.0), (7.5, 2.75, 0.0)]), False))
    for name, kind, points, closed in shapes:
        item, truth[name] = traced(name, kind, points, closed=closed, camera=camera)
        items.append(item)
    return FlatScene(correspondence, Tracing(SIZE, tuple(items)), truth)


def traced(name: str, kind: Kind, points_m: Array, *, closed: bool, camera: Device = CAMERA) -> tuple[Traced, Array]:
    """A path through world points as traced on the photo (finely, for the lens bends it), and on the projector."""
    chain = np.vstack([points_m, points_m[:1]]) if closed else points_m
    share = np.arange(16)[:, None] / 16.0
    dense = np.vstack([a + share * (b - a) for a, b in pairwise(chain)])
    if not closed:
        dense = np.vstack([dense, chain[-1:]])
    return Traced(name, kind, polyline(camera.project(dense), closed=closed)), PROJECTOR.project(dense)


def corners(rectangle: Rectangle, z_m: float) -> Array:
    left, right, low, high = rectangle
    return np.array([(left, high, z_m), (right, high, z_m), (right, low, z_m), (left, low, z_m)])


def noisy(exact: Correspondence, *, noise_px: float, outliers: float, seed: int = 0) -> Correspondence:
    """Gaussian noise on both camera coordinates, and a share of values that are plain wrong."""
    rng = np.random.default_rng(seed)
    x = exact.camera_x + rng.normal(0.0, noise_px, exact.camera_x.shape).astype(np.float32)
    y = exact.camera_y + rng.normal(0.0, noise_px, exact.camera_y.shape).astype(np.float32)
    wrong = rng.random(x.shape) < outliers
    x[wrong] = rng.uniform(0, exact.camera_size[0] - 1, wrong.sum())
    y[wrong] = rng.uniform(0, exact.camera_size[1] - 1, wrong.sum())
    return replace(exact, camera_x=x, camera_y=y, confidence=np.isfinite(x).astype(np.float32))


def _within(points: Array, rectangle: Rectangle) -> NDArray[np.bool_]:
    left, right, low, high = rectangle
    x, y = points[..., 0], points[..., 1]
    return (x > left) & (x < right) & (y > low) & (y < high)


def _at(points: Array, z_m: float) -> Array:
    return np.concatenate([points, np.full((*points.shape[:-1], 1), z_m)], axis=-1)
