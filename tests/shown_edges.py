"""Which true edges of a virtual house its photo shows: what a hand that traces the photo can be measured against."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from limewash.geometry.path_flatten import flatten
from limewash.world.features import Edge, picture_path
from limewash.world.truth import cast
from limewash.world.virtual import VirtualHouse

Array = NDArray[np.float64]

CLEAR = 0.06
"""An edge shows where the picture changes across it by so much of its light ..."""
PLACE_PX = 0.8
"""... with the steepest change this near to the true place ..."""
LENGTH = 0.6
"""... along so much of its length ..."""
BESIDE_PX = (-1.6, -0.8, 0.8, 1.6)
"""... and nothing that stands before the house begins beside it, whose rim would be seen in its place ..."""
BEFORE_M = 0.15
"""... so much nearer to the camera ..."""
FREE = 0.5
"""... along so much of its length."""


def shows(edge: Edge, world: VirtualHouse, light: Array) -> bool:
    """Whether a photo, given as linear light (H, W, 3), shows an edge where it truly is."""
    return _is_steep(edge, world, light) and _stands_free(edge, world)


def _is_steep(edge: Edge, world: VirtualHouse, light: Array) -> bool:
    points = flatten(picture_path((edge,), world.camera, closed=False), tolerance_px=0.05, step_px=1.0).points
    points = points[len(points) // 12 : len(points) - len(points) // 12]
    if len(points) < 10:
        return False
    offset = np.arange(-4.0, 4.01, 0.25)
    x, y = np.moveaxis(points[:, None] + offset[:, None] * _normals(points)[:, None], -1, 0)
    values = np.stack([map_coordinates(light[..., c], [y, x], order=1, mode="nearest") for c in range(3)], -1)
    change = np.linalg.norm(values[:, 4:] - values[:, :-4], axis=-1)  # over one pixel
    near = change[:, np.abs(offset[2:-2]) <= PLACE_PX].max(axis=1) >= 0.7 * change.max(axis=1)
    step = np.linalg.norm(values[:, 9] - values[:, -10], axis=-1) / (np.linalg.norm(values, axis=-1).max(axis=1) + 1e-3)
    return bool((near & (step > CLEAR)).mean() > LENGTH)


def _stands_free(edge: Edge, world: VirtualHouse) -> bool:
    places = edge.at(np.linspace(0.06, 0.94, 61))
    eye = world.camera.position_m
    pixels, depth = world.camera.project(places), np.linalg.norm(places - eye, axis=1)
    hidden = np.zeros(len(places), dtype=bool)
    for beside in BESIDE_PX:
        hits = cast(world.scene, world.camera, pixels + beside * _normals(pixels), eye)
        hidden |= np.linalg.norm(hits.position_m - eye, axis=1) < depth - BEFORE_M
    return bool((~hidden).mean() > FREE)


def _normals(points: Array) -> Array:
    along = np.gradient(points, axis=0)
    return np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
