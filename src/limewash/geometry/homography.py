"""Plane-to-plane maps as 3x3 matrices acting on (x, y, 1)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError

Points = NDArray[np.float64]


def apply_homography(matrix: NDArray[np.float64], points: ArrayLike) -> Points:
    """Map points of shape (..., 2); a point on the horizon becomes NaN."""
    p = np.asarray(points, dtype=np.float64)
    x = p[..., 0] * matrix[0, 0] + p[..., 1] * matrix[0, 1] + matrix[0, 2]
    y = p[..., 0] * matrix[1, 0] + p[..., 1] * matrix[1, 1] + matrix[1, 2]
    w = p[..., 0] * matrix[2, 0] + p[..., 1] * matrix[2, 1] + matrix[2, 2]
    w = np.where(np.abs(w) < 1e-300, np.nan, w)
    return np.stack([x / w, y / w], axis=-1)


def fit_homography(source: ArrayLike, target: ArrayLike, *, weights: ArrayLike | None = None) -> Points:
    """Homography through point pairs that is closest to them in the target, with normalised coordinates.

    Parameters
    ----------
    source, target : array_like of shape (N, 2), N >= 4
        Matching points, no three of the four needed on one line.
    weights : array_like of shape (N,), optional
        Weight of each pair's squared distance.

    Returns
    -------
    matrix : ndarray of shape (3, 3)
        Scaled so that the last entry is 1.

    Raises
    ------
    InputError
        If there are fewer than four pairs, or the points lie on one line.

    References
    ----------
    .. [1] R. Hartley, "In defense of the eight-point algorithm", IEEE TPAMI 19(6), 1997: the normalisation
       (cited from memory).
    """
    a = np.asarray(source, dtype=np.float64)
    b = np.asarray(target, dtype=np.float64)
    if a.ndim != 2 or a.shape[1] != 2 or a.shape != b.shape:
        raise InputError(f"source and target must both have shape (N, 2), got {a.shape} and {b.shape}")
    if len(a) < 4:
        raise InputError(f"a homography needs at least 4 point pairs, got {len(a)}")
    a_n, ta = _normalised(a)
    b_n, tb = _normalised(b)
    one = np.ones(len(a))
    zero = np.zeros((len(a), 3))
    p = np.column_stack([a_n, one])
    rows_x = np.hstack([p, zero, -b_n[:, :1] * p])
    rows_y = np.hstack([zero, p, -b_n[:, 1:] * p])
    system = np.vstack([rows_x, rows_y])
    if weights is not None:
        w = np.sqrt(np.asarray(weights, dtype=np.float64))
        system *= np.concatenate([w, w])[:, None]
    found = _null_vector(system)
    if len(a) > 4:
        # The algebraic error is the distance in the target times the depth: divided by it, the distance remains.
        depth = np.abs(p @ found[6:])
        found = _null_vector(system / np.tile(np.maximum(depth, 1e-6 * depth.max()), 2)[:, None])
    matrix = np.linalg.inv(tb) @ found.reshape(3, 3) @ ta
    return np.asarray(matrix / matrix[2, 2], dtype=np.float64)


def _null_vector(system: Points) -> Points:
    """The unit vector that the system takes closest to zero, shape (9,)."""
    # Four pairs give eight rows, one too few for the null vector without the full basis; for many it is huge.
    _, singular, vt = np.linalg.svd(system, full_matrices=len(system) < 9)
    if singular[7] < 1e-10 * singular[0]:
        raise InputError("the points do not fix a plane: three or more of them lie on one line")
    return np.asarray(vt[-1], dtype=np.float64)


def _normalised(points: Points) -> tuple[Points, Points]:
    centre = points.mean(axis=0)
    spread = float(np.mean(np.hypot(*(points - centre).T)))
    scale = np.sqrt(2.0) / max(spread, 1e-300)
    transform = np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1]])
    return (points - centre) * scale, transform
