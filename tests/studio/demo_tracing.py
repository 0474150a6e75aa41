"""How near a tracing of a virtual house comes to the truth, in projector pixels, where its edges show in the photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from limewash.facade.tracing import Kind, Tracing
from limewash.facade.transfer import transfer
from limewash.geometry.path import Path2
from limewash.geometry.path_flatten import flatten
from limewash.light.colour import decode_srgb
from limewash.scan.correspondence import Correspondence
from limewash.world.features import Feature, picture_path
from limewash.world.virtual import VirtualHouse
from shown_edges import shows


@dataclass
class Side:
    """One edge of a feature: its true line in the projector's picture, and whether the photo shows it."""

    feature: Feature
    projector: Path2
    shows: bool


def sides_of(world: VirtualHouse, photo: np.ndarray) -> list[Side]:
    """All edges of all that one would trace."""
    light = decode_srgb(photo / 255.0)
    return [
        Side(feature, picture_path((edge,), world.projector, closed=False), shows(edge, world, light))
        for feature in world.features()
        for edge in feature.edges
    ]


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
