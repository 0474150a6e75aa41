"""Who could look into the lens, and where light goes that should not."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.geometry.device import Device
from limewash.project.site_models import Zone
from limewash.site.light_maps import Output, in_picture, light_share, panel_weight
from limewash.site.scene import Scene, ground_shape
from limewash.site.surface import Surface
from limewash.site.visibility import Seen, seen

Array = NDArray[np.float64]

HEADROOM_M = 2.0
"""Height over the ground that IEC 62471-5 wants free below the beam of the strongest class of lamp projectors, as
quoted in a projector's safety sheet; used as a figure to compare with, not as a finding of safety. [m]"""

_AT_THE_LENS_M = 1.0
"""Whoever is nearer handles the projector; what to mind there is said on every card."""

_EYE_HEIGHTS_M = np.arange(0.9, 2.01, 0.1)


@dataclass(frozen=True)
class InBeam:
    """A place where eyes can be in the beam.

    Attributes
    ----------
    where : str
        The zone or the spot.
    eye_lx : float
        Largest illuminance at an eye that looks into the lens, white picture. [lx]
    lens_m : float
        Distance of that eye from the lens. [m]
    beam_low_m : float
        Lowest height of the beam over that place. [m]
    """

    where: str
    eye_lx: float
    lens_m: float
    beam_low_m: float


@dataclass(frozen=True)
class Spill:
    """Light on something that is not to be lit: a neighbour's window, the road."""

    name: str
    kind: str
    light_lm: float
    share: float
    seen: Seen


def eye_illuminance_lx(device: Device, output: Output, points_m: Array) -> Array:
    """Illuminance at points (..., 3) facing the lens; 0 outside the beam. [lx]"""
    ray = points_m - device.position_m
    distance = np.linalg.norm(ray, axis=-1)
    depth = ray @ device.rotation[2]
    pixels = device.project(points_m)
    fx, fy = device.focal_px
    light = output.light_lm / (device.size[0] * device.size[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        falling = light * panel_weight(pixels, device.size, output.corner_light) * fx * fy * distance / depth**3
    return np.where(in_picture(pixels, device.size), falling, 0.0)


def who_is_in_the_beam(device: Device, output: Output, scene: Scene) -> list[InBeam]:
    """Audience spots and public ground where somebody's eyes can be in the beam, strongest first."""
    found = []
    for spot in scene.people:
        eyes = np.array([[spot.x_m, height, spot.distance_m] for height in _EYE_HEIGHTS_M])
        found.append(_in_beam(spot.name, device, output, scene, eyes))
    for zone in scene.zones:
        if zone.is_public:
            found.append(_in_beam(zone.name, device, output, scene, _standing(zone_points(zone))))
    return sorted((hit for hit in found if hit is not None), key=lambda hit: -hit.eye_lx)


def zone_points(zone: Zone) -> Array:
    """Points in plan over a zone, a fortieth and a twentieth of its size apart, shape (N, 2). [m]"""
    shape = ground_shape(zone)
    left, near, right, far = shape.bounds
    x = np.linspace(left, right, 41)
    z = np.linspace(near, far, 21)
    grid = np.stack(np.meshgrid(x, z), axis=-1).reshape(-1, 2)
    inside = shapely.intersects_xy(shape, grid[:, 0], grid[:, 1])
    found: Array = grid[inside]
    return found


def spills(device: Device, output: Output, scene: Scene) -> list[Spill]:
    """Light on the ground and on neighbours, largest first; shadows regarded."""
    found = []
    receivers: list[tuple[Surface, str]] = [
        (ground, zone.kind) for ground, zone in zip(scene.ground, scene.zones, strict=True)
    ]
    receivers += [(_facing(window, device.position_m), "neighbour") for window in scene.neighbours]
    for surface, kind in receivers:
        hit = seen(device, surface, scene.blockers)
        share = light_share(hit.picture, device.size, output.corner_light)
        if share > 1e-5:
            found.append(Spill(surface.name, kind, share * output.light_lm, share, hit))
    return sorted(found, key=lambda spill: -spill.light_lm)


def _facing(window: Surface, eye_m: Array) -> Surface:
    """A neighbour's window may have been measured from either side."""
    if window.height_above(eye_m) >= 0.0:
        return window
    return replace(window, axes=window.axes * np.array([[1.0], [1.0], [-1.0]]))


def _standing(plan: Array) -> Array:
    heights = np.broadcast_to(_EYE_HEIGHTS_M[:, None], (len(_EYE_HEIGHTS_M), len(plan)))
    x = np.broadcast_to(plan[:, 0], heights.shape)
    z = np.broadcast_to(plan[:, 1], heights.shape)
    return np.stack([x, heights, z], axis=-1).reshape(-1, 3)


def _in_beam(where: str, device: Device, output: Output, scene: Scene, eyes: Array) -> InBeam | None:
    light = eye_illuminance_lx(device, output, eyes)
    light[np.linalg.norm(eyes - device.position_m, axis=-1) < _AT_THE_LENS_M] = 0.0
    light[light > 0.0] *= _reached(device, scene, eyes[light > 0.0])
    if not (light > 0.0).any():
        return None
    strongest = int(light.argmax())
    return InBeam(
        where=where,
        eye_lx=float(light[strongest]),
        lens_m=float(np.linalg.norm(eyes[strongest] - device.position_m)),
        beam_low_m=float(eyes[light > 0.0, 1].min()),
    )


def _reached(device: Device, scene: Scene, eyes: Array) -> NDArray[np.bool_]:
    """Whether nothing stands between the lens and each eye."""
    free = np.ones(len(eyes), dtype=bool)
    lens = device.position_m
    for _, wall in scene.blockers:
        start, end = float(wall.height_above(lens)), wall.height_above(eyes)
        with np.errstate(divide="ignore", invalid="ignore"):
            along = start / (start - end)
        crosses = (along > 1e-6) & (along < 1.0 - 1e-6)
        at = wall.plane(lens + np.where(crosses, along, 0.0)[:, None] * (eyes - lens))
        free &= ~(crosses & shapely.contains_xy(wall.outline, at[:, 0], at[:, 1]))
    return free
