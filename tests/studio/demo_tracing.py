"""How near a tracing of a virtual house comes to the truth, in projector pixels, where its edges show in the photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from limewash.facade.tracing import Kind, Tracing
from limewash.facade.transfer import transfer
from limewash.geometry.path import Path2
from limewash.geometry.path_flatten import flatten
from limewash.light.colour import decode_srgb
from limewash.scan.correspondence import Correspondence
from limewash.world.features import Feature, picture_path

CLEAR = 0.06
"""An edge shows where the picture changes across it by so much of its light ..."""
PLACE_PX = 0.8
"""... with the steepest change this near to the true place ..."""
LENGTH = 0.6
"""... along so much of its length."""


@dataclass
class Side:
    """One edge of a feature: its true line in both pictures, and whether it can be seen."""

    feature: Feature
    camera: Path2
    projector: Path2
    shows: bool


def sides_of(features: list[Feature], photo: np.ndarray, camera, projector) -> list[Side]:
    """All edges of all features."""
    light = decode_srgb(photo / 255.0)
    sides = []
    for feature in features:
        for edge in feature.edges:
            seen = picture_path((edge,), camera, closed=False)
            lit = picture_path((edge,), projector, closed=False)
            sides.append(Side(feature, seen, lit, _shows(seen, light)))
    return sides


def _shows(path: Path2, light: np.ndarray) -> bool:
    points = flatten(path, tolerance_px=0.05, step_px=1.0).points
    points = points[len(points) // 12 : len(points) - len(points) // 12]
    if len(points) < 10:
        return False
    along = np.gradient(points, axis=0)
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
    offset = np.arange(-4.0, 4.01, 0.25)
    x, y = np.moveaxis(points[:, None] + offset[:, None] * normal[:, None], -1, 0)
    values = np.stack([map_coordinates(light[..., c], [y, x], order=1, mode="nearest") for c in range(3)], -1)
    change = np.linalg.norm(values[:, 4:] - values[:, :-4], axis=-1)  # over one pixel
    middle = np.abs(offset[2:-2]) <= PLACE_PX
    near = change[:, middle].max(axis=1) >= 0.7 * change.max(axis=1)
    step = np.linalg.norm(values[:, 9] - values[:, -10], axis=-1) / (np.linalg.norm(values, axis=-1).max(axis=1) + 1e-3)
    return bool((near & (step > CLEAR)).mean() > LENGTH)


def distances_px(tracing: Tracing, scan: Correspondence, sides: list[Side], kinds: tuple[Kind, ...]) -> np.ndarray:
    """Of every second projector pixel along the transferred paths to the nearest true edge of their kind that shows."""
    found = []
    for path in transfer(tracing, scan):
        own = [side for side in sides if side.feature.kind is path.kind]
        if path.kind not in kinds or not own:
            continue
        points = _even(np.asarray(path.points), path.closed)
        trees = [cKDTree(flatten(s.projector, tolerance_px=0.01, step_px=0.25).points) for s in own]
        apart = np.stack([tree.query(points)[0] for tree in trees], axis=1)
        nearest, ranked = apart.argmin(axis=1), np.sort(apart, axis=1)
        shows = np.array([side.shows for side in own])[nearest]
        clear_of_corners = ranked[:, 1] > 4.0 if len(own) > 1 else np.ones(len(points), dtype=bool)
        found.append(ranked[shows & clear_of_corners, 0])
    return np.concatenate(found)


def _even(points: np.ndarray, closed: bool) -> np.ndarray:
    points = points[np.isfinite(points).all(axis=1)]
    if closed:
        points = np.vstack([points, points[:1]])
    reach = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.arange(0.0, reach[-1], 2.0)
    even = np.column_stack([np.interp(at, reach, points[:, 0]), np.interp(at, reach, points[:, 1])])
    return even[((even >= 0.0) & (even <= (1919.0, 1079.0))).all(axis=1)]
