"""Projector and camera as two views of one scene: their lenses and where they stand to each other.

A correspondence alone fixes seven numbers of two pinhole devices: five of their relative pose and two of their
lenses. What else there is (lens shift, distortion) and what a nearly flat scene leaves open is held by what is
known beforehand of projectors and phones, each with its uncertainty. Even a tenth of a pixel of distortion counts: it
bends flat walls by decimetres. The misfit is the Sampson distance (Hartley
and Zisserman, Multiple View Geometry, 2nd edition, section 11.4.3), with a robust loss: leaves move.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from limewash.errors import InputError
from limewash.geometry.device import Device, undistort
from limewash.geometry.homography import apply_homography, fit_homography
from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]

_SAMPLES = 4000  # correspondences, spread evenly over the projector's picture
_FEWEST = 200
_SURE = 0.5  # confidence of a sample
_NOISE_PX = 0.3  # misfit beyond which a sample counts less and less, at first
_SPREAD = 3.0  # twice the standard deviation of normal noise, by the median of its size
_LEAST_NOISE_PX = 0.1  # a lens is not quite as the model has it
_RANSAC_PX = 1.5
_DISTORTION = (0.05, 0.05)  # usual size of k1 and k2 of a phone's lens, which corrects itself in films
_OFF_AXIS = 0.001  # of p1 and p2: lenses are never quite centred
_CENTRE = 0.004  # of the picture's width, by which its centre may be off the lens's axis: steadied lenses float
_STARTS = (1.0, 0.93, 1.08)  # focal lengths of the phone that are tried first, by the guess
_EXACT = 1e-12  # the valley of lenses and pose is long and flat: the usual tolerance stops wherever it comes from
_FLAT = 4.0  # times the epipolar misfit: what the best plane must miss for relief to be worth its name


@dataclass(frozen=True)
class LensGuess:
    """What is known of the lenses before, each with its standard deviation.

    Attributes
    ----------
    throw_ratio, throw_sigma : float
        Of the projector at the zoom in use; the deviation as a share. [-]
    lens_shift, shift_sigma : (float, float), float
        See `Device.from_throw`. [-]
    focal_per_width, focal_sigma : float
        Focal length of the phone by the width of its picture, 0.78 for the main lens of usual phones while
        filming (28 mm by the width of 36 mm, common practice, no source); the deviation as a share. [-]
    """

    throw_ratio: float = 1.5
    throw_sigma: float = 0.1
    lens_shift: tuple[float, float] = (0.0, 0.0)
    shift_sigma: float = 0.05
    focal_per_width: float = 0.78
    focal_sigma: float = 0.1


@dataclass(frozen=True)
class TwoView:
    """Two calibrated devices; the projector stands at the origin and looks along z, the camera is 1 away.

    Attributes
    ----------
    projector, camera : Device
    residual_px : float
        Median epipolar misfit of the samples. [camera px]
    relief_px : float
        Median misfit of the best plane through everything. [camera px]
    throw_sigma, focal_sigma : float
        Standard deviations of throw ratio and focal length that are left, as shares. [-]
    variants : tuple of (Device, Device)
        Projector and camera, one standard deviation off along each direction that the samples leave open.
    """

    projector: Device
    camera: Device
    residual_px: float
    relief_px: float
    throw_sigma: float
    focal_sigma: float
    variants: tuple[tuple[Device, Device], ...]

    @property
    def flat(self) -> bool:
        """Whether a plane explains the scene nearly as well, so that depth would be invented."""
        return self.relief_px < _FLAT * max(self.residual_px, _LEAST_NOISE_PX)


def flat_px(correspondence: Correspondence) -> float | None:
    """How far a plane misses a scene that it explains as well as any depth could [camera px]; None if it does not."""
    relief_px = _relief_px(*_samples(correspondence))
    return relief_px if relief_px < _FLAT * _LEAST_NOISE_PX else None


def calibrate(correspondence: Correspondence, guess: LensGuess | None = None) -> TwoView:
    """Find the lenses and the relative pose of projector and camera.

    Raises
    ------
    InputError
        If too few projector pixels were seen, or no pose explains them.
    """
    guess = guess or LensGuess()
    p, q = _samples(correspondence)
    problem = _Problem(p, q, correspondence.projector_size, correspondence.camera_size, guess)
    few = replace(problem, p=p[::4], q=q[::4])
    tried = [least_squares(few.misfits, start, x_scale=few.scales, max_nfev=40) for start in few.starts()]
    solution = min(tried, key=lambda one: float(one.cost))
    # Again with the noise that the samples turned out to have.
    noise = max(_SPREAD * float(np.median(np.abs(problem.epipolar_px(solution.x)))), _LEAST_NOISE_PX)
    problem = replace(problem, noise_px=noise)
    exact = {"ftol": _EXACT, "xtol": _EXACT, "gtol": _EXACT}
    solution = least_squares(problem.misfits, solution.x, x_scale=problem.scales, jac="3-point", max_nfev=100, **exact)
    found = problem.in_front(solution.x)
    projector, camera = problem.devices(found)
    # Curvature of the fit: what the samples and the guesses leave open.
    spread, axes = np.linalg.eigh(np.linalg.inv(solution.jac.T @ solution.jac))
    covariance = (axes * spread) @ axes.T
    return TwoView(
        projector=projector,
        camera=camera,
        residual_px=float(np.median(np.abs(problem.epipolar_px(found)))),
        relief_px=_relief_px(p, q),
        throw_sigma=float(np.sqrt(covariance[3, 3])),
        focal_sigma=float(np.sqrt(covariance[0, 0])),
        variants=tuple(problem.devices(found + np.sqrt(s) * axis) for s, axis in zip(spread, axes.T, strict=True)),
    )


def _samples(correspondence: Correspondence) -> tuple[Array, Array]:
    """Projector and camera pixels of an even sample of what was seen well, (N, 2) each; InputError if they are few."""
    rows, columns = np.nonzero(correspondence.confidence > _SURE)
    # In the order of the rows, every nth is spread evenly over the picture.
    pick = slice(None, None, max(1, len(rows) // _SAMPLES))
    rows, columns = rows[pick], columns[pick]
    if len(rows) < _FEWEST:
        raise InputError(f"only {len(rows)} places of the projector's picture were seen well; geometry needs {_FEWEST}")
    x, y = correspondence.camera_x[rows, columns], correspondence.camera_y[rows, columns]
    return np.column_stack([columns, rows]).astype(np.float64), np.column_stack([x, y]).astype(np.float64)


def _relief_px(p: Array, q: Array) -> float:
    """Median distance of the samples from the plane that the most of them lie on. [camera px]"""
    plane, _ = cv2.findHomography(p, q, cv2.USAC_MAGSAC, 2.0 * _RANSAC_PX)
    if plane is None:
        return float("inf")
    off = np.hypot(*(apply_homography(np.asarray(plane), p) - q).T)
    near = off < 2.0 * _RANSAC_PX
    if near.sum() > 8:
        off = np.hypot(*(apply_homography(fit_homography(p[near], q[near]), p) - q).T)
    # A house is mostly wall: what stands out of it counts, not what lies in it.
    return float(np.quantile(off, 0.8))


@dataclass(frozen=True)
class _Problem:
    """The unknowns: of the camera log focal, k1, k2; of the projector log throw, shift x, y; the pose, which are five
    angles; of the camera p1, p2 and where its centre lies.
    """

    p: Array
    q: Array
    projector_size: tuple[int, int]
    camera_size: tuple[int, int]
    guess: LensGuess
    noise_px: float = _NOISE_PX

    @property
    def scales(self) -> Array:
        g = self.guess
        known = [g.focal_sigma, *_DISTORTION, g.throw_sigma, g.shift_sigma, g.shift_sigma]
        return np.array([*known, 0.1, 0.1, 0.1, 0.1, 0.1, _OFF_AXIS, _OFF_AXIS, _CENTRE, _CENTRE])

    def devices(self, unknowns: Array) -> tuple[Device, Device]:
        """Projector at the origin, camera at distance 1."""
        g, u = self.guess, unknowns
        still = Device.from_throw(
            self.projector_size,
            throw_ratio=float(g.throw_ratio * np.exp(u[3])),
            position_m=np.zeros(3),
            lens_shift=(g.lens_shift[0] + float(u[4]), g.lens_shift[1] + float(u[5])),
        )
        camera = Device.from_throw(
            self.camera_size, throw_ratio=float(g.focal_per_width * np.exp(u[0])), position_m=np.zeros(3)
        )
        rotation = np.asarray(cv2.Rodrigues(u[6:9])[0], dtype=np.float64)
        away = rotation.T @ -_direction(u[9], u[10])
        (cx, cy), width = camera.centre_px, self.camera_size[0]
        camera = replace(
            camera,
            rotation=rotation,
            position_m=away,
            centre_px=(cx + width * float(u[13]), cy + width * float(u[14])),
            distortion=(float(u[1]), float(u[2]), float(u[11]), float(u[12]), 0.0),
        )
        return replace(still, rotation=np.eye(3)), camera

    def starts(self) -> list[Array]:
        """Poses that the guessed lenses give, and lenses somewhat longer and shorter.

        Raises
        ------
        InputError
            If none gives any.
        """
        found = [self._start(factor) for factor in _STARTS]
        known = [start for start in found if start is not None]
        if not known:
            raise InputError(
                "no position of projector and camera explains the scan; was the projector moved meanwhile?"
            )
        return known

    def _start(self, factor: float) -> Array | None:
        zero = np.zeros(15)
        zero[0] = np.log(factor)
        projector, camera = self.devices(zero)
        b = (self.p - projector.centre_px) / projector.focal_px
        a = (self.q - camera.centre_px) / camera.focal_px
        # The guess may be off by a tenth, which moves the epipolar lines by more than noise does.
        for threshold_px in (_RANSAC_PX, 4.0 * _RANSAC_PX, 16.0 * _RANSAC_PX):
            essential, inside = cv2.findEssentialMat(
                b, a, np.eye(3), cv2.USAC_MAGSAC, 0.9999, threshold_px / camera.focal_px[0]
            )
            if np.shape(essential) == (3, 3) and inside.mean() > 0.3:
                _, rotation, shift, _ = cv2.recoverPose(essential, b, a, np.eye(3), mask=inside.copy())
                x, y, z = (float(part) for part in shift.ravel())
                zero[6:9] = cv2.Rodrigues(rotation)[0].ravel()
                zero[9:11] = np.arccos(np.clip(z, -1.0, 1.0)), np.arctan2(y, x)
                return zero
        return None

    def epipolar_px(self, unknowns: Array) -> Array:
        """Sampson distances of the samples, (N,). [px]"""
        projector, camera = self.devices(unknowns)
        one = np.ones((len(self.p), 1))
        b = np.hstack([(self.p - projector.centre_px) / projector.focal_px, one])
        a = np.hstack([undistort((self.q - camera.centre_px) / camera.focal_px, camera.distortion), one])
        x, y, z = camera.rotation @ -camera.position_m
        essential = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]]) @ camera.rotation
        line_a, line_b = b @ essential.T, a @ essential
        growth = np.sum(line_a[:, :2] ** 2, axis=1) / camera.focal_px[0] ** 2
        growth += np.sum(line_b[:, :2] ** 2, axis=1) / projector.focal_px[0] ** 2
        return np.asarray(np.sum(a * line_a, axis=1) / np.sqrt(growth))

    def in_front(self, unknowns: Array) -> Array:
        """The same solution with the camera on the side from which the scene lies in front of both."""
        depth, _ = ray_depth(*self.devices(unknowns), self.p, self.q)
        if np.median(depth) > 0.0:
            return unknowns
        turned = unknowns.copy()
        turned[9:11] = np.pi - unknowns[9], unknowns[10] + np.pi
        return turned

    def misfits(self, unknowns: Array) -> Array:
        """What is to be small: the samples' distances, softened beyond their noise, and the distance from the guess."""
        off = self.epipolar_px(unknowns) / self.noise_px
        soft = np.sign(off) * np.sqrt(2.0 * (np.sqrt(1.0 + off * off) - 1.0))
        known = np.r_[0:6, 11:15]
        return np.concatenate([soft, unknowns[known] / self.scales[known]])


def ray_depth(projector: Device, camera: Device, p: Array, q: Array) -> tuple[Array, Array]:
    """How far along the rays of projector pixels the camera pixels that see them lie.

    Parameters
    ----------
    projector, camera : Device
    p, q : ndarray of shape (N, 2)
        Projector pixels and the camera pixels that see them. [px]

    Returns
    -------
    depth : ndarray of shape (N,)
        Along the projector's optical axis, where the camera's view of the ray comes closest to what it saw.
        [units of the positions]
    growth : ndarray of shape (N,)
        Change of the camera pixel with depth: noise in the camera divided by it is noise in depth. [px/unit]
    """
    ray = np.hstack([(p - projector.centre_px) / projector.focal_px, np.ones((len(p), 1))]) @ projector.rotation
    along = ray @ camera.rotation.T
    start = camera.rotation @ (projector.position_m - camera.position_m)
    a = undistort((q - camera.centre_px) / camera.focal_px, camera.distortion)
    # (start + depth * along) must lie on the camera's ray a: two equations for one depth.
    slope = along[:, :2] - a * along[:, 2:]
    offset = a * start[2] - start[:2]
    square = np.maximum(np.sum(slope * slope, axis=1), 1e-300)
    depth = np.sum(slope * offset, axis=1) / square
    far = np.abs(start[2] + depth * along[:, 2])
    growth = camera.focal_px[0] * np.sqrt(square) / np.maximum(far, 1e-12)
    return depth, growth


def _direction(polar: float, around: float) -> Array:
    return np.array([np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)])
