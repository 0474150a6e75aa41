"""What an eye sees of a flat surface, exactly: polygons against polygons, no sampling.

The lens of a projector is an eye, too: what it does not see lies in shadow.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from limewash.geometry.device import Device
from limewash.geometry.homography import apply_homography
from limewash.site.shapes import areas_only, moved
from limewash.site.surface import NEAR_M, Surface, above_line

Array = NDArray[np.float64]

_APART_M = 0.002
"""Things nearer to a surface than this do not shade it: they are part of it."""


@dataclass(frozen=True)
class Seen:
    """What an eye sees of one surface, in the surface's plane and in the picture.

    Attributes
    ----------
    picture : shapely geometry
        The seen part [px].
    plane : shapely geometry
        The seen part in (u, v) [m].
    shadows : dict of str to shapely geometry
        In (u, v): what each thing takes away of the part that would otherwise be seen [m].
    """

    picture: BaseGeometry
    plane: BaseGeometry
    shadows: dict[str, BaseGeometry]


def frame_shape(device: Device) -> Polygon:
    """The edge of a device's picture, half a pixel outside the outer pixel centres. [px]"""
    width, height = device.size
    return shapely.box(-0.5, -0.5, width - 0.5, height - 0.5)


def seen(
    device: Device,
    surface: Surface,
    blockers: Iterable[tuple[str, Surface]],
    *,
    window: BaseGeometry | None = None,
) -> Seen:
    """What a device sees of a surface.

    Parameters
    ----------
    device : Device
        The eye; its distortion is not regarded.
    surface : Surface
        What it looks at; its back is never seen.
    blockers : iterable of (str, Surface)
        What may stand between, with the name of the thing; the surface itself is skipped.
    window : shapely geometry, optional
        The edge of the picture [px]; its frame when left out.
    """
    if float(surface.height_above(device.position_m)) <= _APART_M:
        return Seen(Polygon(), Polygon(), {})
    matrix = surface.to_picture(device)
    edge = frame_shape(device) if window is None else window
    picture = _mapped(surface.in_front(device), matrix).intersection(edge)
    if picture.is_empty:
        return Seen(Polygon(), Polygon(), {})
    back: Array = np.linalg.inv(matrix).astype(np.float64)
    shadows: dict[str, BaseGeometry] = {}
    covers: list[BaseGeometry] = []
    for name, blocker in blockers:
        if blocker is surface:
            continue
        shade = _cast(device, surface, blocker, picture)
        if shade is not None:
            covers.append(shade)
            on_plane = _mapped(shade, back)
            shadows[name] = shadows[name].union(on_plane) if name in shadows else on_plane
    if covers:
        picture = areas_only(picture.difference(shapely.union_all(covers)))
    return Seen(picture, _mapped(picture, back), shadows)


def eye_at(position_m: Array, target_m: Array) -> Device:
    """A device at an eye that looks at a point, for `seen`; its picture has no edge of importance."""
    towards = target_m - position_m
    size = float(np.linalg.norm(towards))
    yaw = float(np.arctan2(towards[0], -towards[2]))
    tilt = float(np.arcsin(np.clip(towards[1] / size, -1.0, 1.0)))
    return Device.from_throw((1000, 1000), throw_ratio=1.0, position_m=position_m, yaw_rad=yaw, tilt_rad=tilt)


def seen_by_eye(position_m: Array, surface: Surface, blockers: Iterable[tuple[str, Surface]]) -> BaseGeometry:
    """What somebody at `position_m` sees of a surface, in (u, v). [m]"""
    device = eye_at(position_m, surface.world(np.array(surface.outline.centroid.coords[0])))
    return seen(device, surface, blockers, window=shapely.box(-1e7, -1e7, 1e7, 1e7)).plane


def _cast(device: Device, surface: Surface, blocker: Surface, picture: BaseGeometry) -> BaseGeometry | None:
    """The piece of `picture` that a blocker covers, or None."""
    depth = blocker.to_picture(device)[2]
    shape = above_line(blocker.outline, depth[0], depth[1], depth[2] - NEAR_M)
    normal = surface.normal
    tilt = blocker.axes[:2] @ normal
    gap = float((blocker.origin_m - surface.origin_m) @ normal) - _APART_M
    shape = above_line(shape, float(tilt[0]), float(tilt[1]), gap)
    if shape.is_empty:
        return None
    shade = areas_only(_mapped(shape, blocker.to_picture(device)).intersection(picture))
    return None if shade.is_empty else shade


def _mapped(shape: BaseGeometry, matrix: Array) -> BaseGeometry:
    return moved(shape, lambda p: apply_homography(matrix, p))
