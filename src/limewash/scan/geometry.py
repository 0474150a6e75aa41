"""Metres: where projector, phone and every lit spot of the house stand in the world of the wall.

Two views give the shape without its size. The wall is the upright plane that most of the light lies on; places
on it that were measured with a tape give size, direction and origin. One length is enough: two places, such as foot and
top of a door.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.files import write_bytes
from limewash.geometry.device import Device
from limewash.scan.correspondence import Correspondence
from limewash.scan.relief import Relief, measure_relief, systematic
from limewash.scan.two_view import LensGuess, TwoView, calibrate, flat_px

Array = NDArray[np.float64]
Map = NDArray[np.float32]

FORMAT = 1

_TRIES = 400  # planes through three random places
_SAMPLES = 4000
_NEAR_SHARE = 0.004  # of the distance: what lies on a plane
_AROUND_SHARE = 0.004  # of the photo's width: what of the scan belongs to a measured place
_FEW = 5  # pixels of the scan that tell where such a place is
_WITNESSES = 0.3  # share of the measured places that must lie on the wall for it to be theirs
_LEVEL = 0.35  # sine of the tilt up to which a plane counts as upright
_PLANES = 6  # candidates that the tape chooses from


@dataclass(frozen=True)
class TapePoint:
    """A place on the wall plane that was measured.

    Attributes
    ----------
    wall_m : (float, float)
        To the right and up. [m]
    photo_px : (float, float)
        The same place on the scan's photo. [px]
    """

    wall_m: tuple[float, float]
    photo_px: tuple[float, float]


@dataclass(frozen=True)
class SceneGeometry:
    """The measured scene, world axes as in `Device`; arrays have shape (projector height, width, ...).

    Attributes
    ----------
    projector, camera : Device
    depth_m : ndarray of float32
        Along the projector's optical axis; NaN where unseen. [m]
    sigma_m : ndarray of float32
        Its standard deviation from the noise of the scan. [m]
    normal : ndarray of float32, shape (H, W, 3)
        Of the surface, towards the projector; NaN where it cannot be told. [-]
    tilt_sigma_rad : ndarray of float32
        Standard deviation of the normal's tilt. [rad]
    stretch : float
        What lenses and pose leave open: relief may be off by this share of the distance, smoothly, over the whole
        picture. [-]
    tape_m : float
        Root mean square misfit of the measured places; 0 where they just suffice; NaN without any. [m]
    throw_sigma : float
        Standard deviation of the throw ratio found, as a share. [-]
    metric : bool
        Whether the unit is the metre. Without a measured length it is the distance between the lenses.
    """

    projector: Device
    camera: Device
    depth_m: Map
    sigma_m: Map
    normal: Map
    tilt_sigma_rad: Map
    stretch: float
    tape_m: float
    throw_sigma: float
    metric: bool

    def points_m(self) -> Map:
        """Where each projector pixel lands, float32 (H, W, 3) [m]; NaN where unseen."""
        height, width = self.depth_m.shape
        (fx, fy), (cx, cy) = self.projector.focal_px, self.projector.centre_px
        x = (np.arange(width) - cx) / fx
        y = (np.arange(height) - cy) / fy
        ray = np.stack([*np.meshgrid(x, y), np.ones((height, width))], axis=-1) @ self.projector.rotation
        return np.asarray(self.projector.position_m + ray * self.depth_m[..., None], dtype=np.float32)


def measure_geometry(
    correspondence: Correspondence, guess: LensGuess | None = None, tape: Sequence[TapePoint] = ()
) -> SceneGeometry:
    """Measure the scene of a scan.

    Parameters
    ----------
    correspondence : Correspondence
    guess : LensGuess, optional
        What is known of the lenses.
    tape : sequence of TapePoint
        Two or more give metres.

    Raises
    ------
    InputError
        If the scan is too small, no pose explains it, the scene is so flat that depth would be invented, or the
        measured places do not fit any wall.
    """
    flat = flat_px(correspondence)
    if flat is not None:
        raise _too_flat(flat)
    view = calibrate(correspondence, guess)
    if view.flat:
        raise _too_flat(view.relief_px)
    raw = measure_relief(correspondence, view.projector, view.camera, view.residual_px)
    scale, rotation, shift, tape_m = _into_world(view, raw, correspondence, tape)
    projector, camera = (_moved(device, scale, rotation, shift) for device in (view.projector, view.camera))
    return SceneGeometry(
        projector=projector,
        camera=camera,
        depth_m=(scale * raw.points[..., 2]).astype(np.float32),
        sigma_m=(scale * raw.sigma).astype(np.float32),
        normal=(raw.normal @ rotation.T.astype(np.float32)).astype(np.float32),
        tilt_sigma_rad=raw.tilt_sigma,
        stretch=systematic(view, correspondence),
        tape_m=tape_m,
        throw_sigma=view.throw_sigma,
        metric=len(tape) >= 2,
    )


def _too_flat(relief_px: float) -> InputError:
    return InputError(
        f"the scene is too flat, or phone and projector stand too close together, to measure depth: a single "
        f"plane explains it to {relief_px:.1f} camera pixels. Lines and map need no depth; for metres, put "
        "the phone a step further to the side and scan again, or measure four places on the wall"
    )


def _moved(device: Device, scale: float, rotation: Array, shift: Array) -> Device:
    return replace(
        device, rotation=device.rotation @ rotation.T, position_m=scale * rotation @ device.position_m + shift
    )


def _into_world(
    view: TwoView, raw: Relief, correspondence: Correspondence, tape: Sequence[TapePoint]
) -> tuple[float, Array, Array, float]:
    """Scale, rotation and shift from the projector's frame to the world, and the misfit of the tape [m]."""
    planes = _upright_planes(view, raw)
    if len(tape) < 2:
        rotation = _upright_axes(planes[0][0], view.camera)
        seen = raw.points.reshape(-1, 3)[np.isfinite(raw.sigma).ravel()][::50] @ rotation.T
        low, left = np.quantile(seen[:, 1], 0.01), np.quantile(seen[:, 0], 0.01)
        return 1.0, rotation, np.array([-left, -low, -float(rotation[2] @ planes[0][1])]), float("nan")
    spots = _near_tape(raw, correspondence, tape)
    near = _NEAR_SHARE * float(np.nanmedian(raw.points[..., 2]))
    fits, witnesses = [], []
    for normal, middle in planes:
        # A parallel wall further back fits the tape as well: the plane must pass where the scan saw the places.
        off = (spots - middle) @ normal
        offset = _offset(off, near)
        fits.append(_by_tape(view, normal, middle + offset * normal, tape))
        # Two places cannot tell a moved plane from the right one.
        witnesses.append(int(np.sum(np.abs(off - (offset if len(tape) > 2 else 0.0)) < near)))
    heard = [fit for fit, seen in zip(fits, witnesses, strict=True) if 2 * seen >= max(witnesses)]
    # Two places fit every plane; of those that the scan speaks for the largest is the wall.
    return min(heard, key=lambda fit: fit[3]) if len(tape) > 2 else heard[0]


def _offset(off: Array, near: float) -> float:
    """How far the measured places agree to lie in front of a plane; 0 where enough of them lie on it, or disagree.

    Corners are poor witnesses: casings stand out, windows lie back, posts stand in front.
    """
    if not len(off) or np.mean(np.abs(off) < near) >= _WITNESSES:
        return 0.0
    middle = float(np.median(off))
    return middle if np.median(np.abs(off - middle)) < 2.0 * near else 0.0


def _near_tape(raw: Relief, correspondence: Correspondence, tape: Sequence[TapePoint]) -> Array:
    """What the scan saw around each measured place, (N, 3), in the frame of the relief."""
    known = np.isfinite(raw.sigma)
    seen = np.column_stack([correspondence.camera_x[known], correspondence.camera_y[known]])
    points = raw.points[known]
    around = max(_AROUND_SHARE * correspondence.camera_size[0], 1.5)
    spots = []
    for place in tape:
        close = np.max(np.abs(seen - np.asarray(place.photo_px, dtype=np.float32)), axis=1) < around
        if close.sum() >= _FEW:
            spots.append(np.median(points[close], axis=0))
    return np.array(spots, dtype=np.float64).reshape(-1, 3)


def _upright_planes(view: TwoView, raw: Relief) -> list[tuple[Array, Array]]:
    """Normals (towards the projector) and middles of the upright planes that most of the picture lies on."""
    rows, columns = np.nonzero(np.isfinite(raw.sigma))
    pick = slice(None, None, max(1, len(rows) // _SAMPLES))
    points = raw.points[rows[pick], columns[pick]].astype(np.float64)
    rng = np.random.default_rng(0)
    down = view.camera.rotation[1]
    near = _NEAR_SHARE * float(np.median(points[:, 2]))
    found: list[tuple[Array, Array]] = []
    while len(found) < _PLANES and len(points) > 100:
        best: NDArray[np.bool_] | None = None
        for three in points[rng.integers(0, len(points), (_TRIES, 3))]:
            normal = np.cross(three[1] - three[0], three[2] - three[0])
            size = np.linalg.norm(normal)
            if size < 1e-9 or abs(normal @ down) > _LEVEL * size:
                continue
            on = np.abs((points - three[0]) @ normal) < near * size
            if best is None or on.sum() > best.sum():
                best = on
        if best is None:
            break
        for _ in range(3):
            middle = points[best].mean(axis=0)
            normal = np.linalg.svd(points[best] - middle, full_matrices=False)[2][2]
            best = np.abs((points - middle) @ normal) < 0.5 * near
        found.append((normal if normal @ middle < 0.0 else -normal, middle))
        points = points[np.abs((points - middle) @ normal) > near]
    if not found:
        raise InputError("the scan shows no upright wall; let phone and projector see more of the house front")
    return found


def _upright_axes(normal: Array, camera: Device) -> Array:
    """World axes by the wall's normal and the phone's upright: rows are x (right), y (up), z (out of the wall)."""
    up = -camera.rotation[1]
    up = up - (up @ normal) * normal
    up /= np.linalg.norm(up)
    return np.stack([np.cross(up, normal), up, normal])


def _by_tape(
    view: TwoView, normal: Array, middle: Array, tape: Sequence[TapePoint]
) -> tuple[float, Array, Array, float]:
    """Lay a plane's places over their measured positions."""
    axes = _upright_axes(normal, view.camera)
    ray = view.camera.rays([point.photo_px for point in tape])
    travel = (normal @ (middle - view.camera.position_m)) / (ray @ normal)
    flat = (view.camera.position_m + ray * travel[:, None]) @ axes.T
    wall = np.array([point.wall_m for point in tape], dtype=np.float64)
    # As complex numbers a similarity of the plane is w = turn * f + shift.
    f, w = flat[:, 0] + 1j * flat[:, 1], wall[:, 0] + 1j * wall[:, 1]
    spread = np.sum(np.abs(f - f.mean()) ** 2)
    if spread < 1e-12 or not np.all(travel > 0.0):
        raise InputError(
            "the measured places lie in one spot of the photo, or behind the phone; measure a longer length"
        )
    turn = np.sum((w - w.mean()) * np.conj(f - f.mean())) / spread
    if abs(turn) < 1e-9:
        raise InputError("the measured places all have the same position on the wall; give each its own")
    scale = float(abs(turn))
    cosine, sine = turn.real / scale, turn.imag / scale
    rotation = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]]) @ axes
    place = w.mean() - turn * f.mean()
    shift = np.array([place.real, place.imag, -scale * float(normal @ middle)])
    misfit = float(np.sqrt(np.mean(np.abs(turn * f + place - w) ** 2)))
    return scale, rotation, shift, misfit


def save_geometry(path: Path, geometry: SceneGeometry) -> None:
    """Write `geometry.npz` as docs/formats.md describes it."""
    devices = {
        f"{name}_{key}": np.asarray(getattr(device, key))
        for name, device in (("projector", geometry.projector), ("camera", geometry.camera))
        for key in ("size", "focal_px", "centre_px", "rotation", "position_m", "distortion")
    }
    buffer = io.BytesIO()
    arrays: dict[str, NDArray[np.generic]] = {
        "format": np.asarray(FORMAT),
        "depth_m": geometry.depth_m,
        "sigma_m": geometry.sigma_m.astype(np.float16),
        "normal": geometry.normal.astype(np.float16),
        "tilt_sigma_rad": geometry.tilt_sigma_rad.astype(np.float16),
        **{name: np.asarray(getattr(geometry, name)) for name in ("stretch", "tape_m", "throw_sigma", "metric")},
        **devices,
    }
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    write_bytes(path, buffer.getvalue())


def load_geometry(path: Path) -> SceneGeometry:
    """Read `geometry.npz`. Raises InputError if it is missing, damaged, or of a newer format."""
    if not path.is_file():
        raise InputError(f"{path} does not exist; make it with 'limewash scan measure --project ...'")
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as data:
            version = int(data["format"])
            if version > FORMAT:
                raise InputError(
                    f"{path} has format {version}; this Limewash reads up to {FORMAT}: install a newer one"
                )
            return SceneGeometry(
                projector=_device(data, "projector"),
                camera=_device(data, "camera"),
                depth_m=data["depth_m"].astype(np.float32),
                sigma_m=data["sigma_m"].astype(np.float32),
                normal=data["normal"].astype(np.float32),
                tilt_sigma_rad=data["tilt_sigma_rad"].astype(np.float32),
                stretch=float(data["stretch"]),
                tape_m=float(data["tape_m"]),
                throw_sigma=float(data["throw_sigma"]),
                metric=bool(data["metric"]),
            )
    except (OSError, KeyError, IndexError, EOFError, ValueError, zipfile.BadZipFile) as error:
        raise InputError(f"{path} is damaged or is no geometry file ({error}); measure again") from None


def _device(data: np.lib.npyio.NpzFile, name: str) -> Device:
    def pair(key: str) -> tuple[float, float]:
        first, second = data[f"{name}_{key}"].tolist()
        return first, second

    width, height = pair("size")
    k1, k2, p1, p2, k3 = data[f"{name}_distortion"].tolist()
    return Device(
        size=(int(width), int(height)),
        focal_px=pair("focal_px"),
        centre_px=pair("centre_px"),
        rotation=data[f"{name}_rotation"].astype(np.float64),
        position_m=data[f"{name}_position_m"].astype(np.float64),
        distortion=(k1, k2, p1, p2, k3),
    )
