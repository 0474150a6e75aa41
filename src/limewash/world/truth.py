"""Exact truth of the correspondence, by one ray per projector pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.geometry.device import Device
from limewash.geometry.rays import pack_device
from limewash.scan.correspondence import Correspondence, Map
from limewash.world.cast import hit_pixels, plane_growth
from limewash.world.rows import in_rows
from limewash.world.scene import Scene
from limewash.world.textures import GLASS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Truth(Correspondence):
    """A correspondence that also knows how it changes from pixel to pixel on the surface that was hit.

    Attributes
    ----------
    growth : ndarray of float32, shape (H, W, 2, 2)
        Derivative of (camera x, camera y) along projector x (``[..., 0]``) and y (``[..., 1]``), on the
        plane of the surface itself: no neighbour is asked, so it is sound at depth edges too. [px/px]
    """

    growth: Map


@dataclass(frozen=True)
class Hits:
    """What rays through pixels meet first; arrays of shape (N, ...).

    Attributes
    ----------
    position_m, normal : ndarray of shape (N, 3)
        NaN where a ray meets nothing.
    triangle : ndarray of int32, shape (N,)
        -1 where a ray meets nothing.
    diffuse : ndarray of bool, shape (N,)
        False on glass and where nothing is met.
    free : ndarray of bool, shape (N,)
        Whether the way from there to the target is free.
    """

    position_m: Array
    normal: Array
    triangle: NDArray[np.int32]
    diffuse: NDArray[np.bool_]
    free: NDArray[np.bool_]


def cast(scene: Scene, device: Device, pixels: Array, target_m: Array) -> Hits:
    """First hits of the rays through pixels (N, 2) of a device, and whether they see a target (3,)."""
    pixels = np.ascontiguousarray(pixels, dtype=np.float64)
    target = np.ascontiguousarray(target_m, dtype=np.float64)
    count = len(pixels)
    triangle, free = np.empty(count, dtype=np.int32), np.empty(count, dtype=np.bool_)
    position, normal = np.empty((count, 3)), np.empty((count, 3))
    packed = pack_device(device)

    def work(a: int, b: int) -> None:
        hit_pixels(scene, packed, pixels[a:b], target, triangle[a:b], position[a:b], normal[a:b], free[a:b])

    in_rows(work, count, 4096)
    kind = scene.kind[scene.material[np.maximum(triangle, 0)]]
    return Hits(position, normal, triangle, (triangle >= 0) & (kind < GLASS), free)


def inside(device: Device, pixels: Array) -> NDArray[np.bool_]:
    """Which pixels (..., 2) lie on a device's picture, out to its outer pixels' edges."""
    width, height = device.size
    x, y = pixels[..., 0], pixels[..., 1]
    return np.asarray((x >= -0.5) & (x <= width - 0.5) & (y >= -0.5) & (y <= height - 0.5))


def true_correspondence(scene: Scene, projector: Device, camera: Device, to_panel: Array | None = None) -> Truth:
    """Where the camera sees the centre of each pixel that is projected.

    NaN where its ray meets no surface, or glass, or a spot that the camera does not see or that lies outside
    its picture.

    Parameters
    ----------
    scene : Scene
    projector, camera : Device
    to_panel : ndarray of shape (3, 3), optional
        Homography from the video's pixels to the projector's panel, where a player or a correction moves them: the
        truth is then that of the video's pixels, and NaN where they miss the panel.
    """
    width, height = projector.size
    grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).reshape(-1, 2).astype(np.float64)
    spot_on_panel, stretch = _through(np.eye(3) if to_panel is None else to_panel, grid)
    hits = cast(scene, projector, spot_on_panel, camera.position_m)
    spot = camera.project(hits.position_m)
    good = hits.diffuse & hits.free & inside(camera, spot) & inside(projector, spot_on_panel)
    spot[~good] = np.nan
    growth = np.full((len(grid), 2, 2), np.nan, dtype=np.float32)
    on_panel = _growth(projector, camera, spot_on_panel[good], hits.position_m[good], hits.normal[good])
    growth[good] = on_panel @ stretch[good]
    image = spot.astype(np.float32).reshape(height, width, 2)
    return Truth(
        camera_x=np.ascontiguousarray(image[..., 0]),
        camera_y=np.ascontiguousarray(image[..., 1]),
        confidence=good.reshape(height, width).astype(np.float32),
        camera_size=camera.size,
        projector_size=projector.size,
        growth=growth.reshape(height, width, 2, 2),
    )


def _through(matrix: Array, points: Array) -> tuple[Array, Array]:
    """Points (N, 2) mapped by a homography, and its derivative there, (N, 2, 2)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    out = mapped[:, :2] / mapped[:, 2:]
    stretch = (matrix[None, :2, :2] - out[:, :, None] * matrix[None, None, 2, :2]) / mapped[:, 2, None, None]
    return out, stretch


def _growth(projector: Device, camera: Device, pixels: Array, position: Array, normal: Array) -> Map:
    out = np.empty((len(pixels), 2, 2), dtype=np.float32)
    lens, eye = pack_device(projector), pack_device(camera)

    def work(a: int, b: int) -> None:
        plane_growth(lens, eye, pixels[a:b], position[a:b], normal[a:b], out[a:b])

    in_rows(work, len(pixels), 16_384)
    return out
