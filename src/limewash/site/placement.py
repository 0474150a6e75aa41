"""What a projector at a stand does to the house front: everything `site check` reports."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.project.models import Rig, Stand
from limewash.project.projector import Projector
from limewash.site.keystone import Keystone, keystone
from limewash.site.light_maps import Output, light_share
from limewash.site.optics import prop_height_m
from limewash.site.part_map import Blur, PartMap, blur_of, map_part
from limewash.site.people import InBeam, Spill, spills, who_is_in_the_beam
from limewash.site.scene import Scene, check_place
from limewash.site.surface import Surface
from limewash.site.visibility import Seen, seen, seen_by_eye

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shadow:
    """A shadow on one part, and how much of it the audience sees.

    `seen_share` is for the spot that sees most of it; a shadow that nobody sees does no harm.
    """

    by: str
    on: str
    area_m2: float
    seen_share: float
    plane: BaseGeometry


@dataclass(frozen=True)
class PartResult:
    """One part of the front under this projector.

    Attributes
    ----------
    surface, seen : Surface, Seen
        The part, and what the lens sees of it.
    area_m2, lit_m2 : float
        Of what gives light back (glass taken out), and the lit share of that. [m2]
    light_lm : float
        Light that falls on it. [lm]
    picture_share : float
        Share of the pixels that fall on it. [-]
    near_m, far_m : float
        Depth along the lens axis of its lit corners. [m]
    maps : PartMap
        Point by point.
    """

    surface: Surface
    seen: Seen
    area_m2: float
    lit_m2: float
    light_lm: float
    picture_share: float
    near_m: float
    far_m: float
    maps: PartMap

    @property
    def mean_lx(self) -> float:
        """Mean illuminance of the lit part, exactly: its lumens over its area. [lx]"""
        return self.light_lm / self.lit_m2 if self.lit_m2 > 0.0 else 0.0


@dataclass(frozen=True)
class Placement:
    """Everything about one rig at one stand.

    Attributes
    ----------
    device, output : Device, Output
        The pinhole model of the projector, and what it sends out.
    parts : tuple of PartResult
        In the order of the sketch.
    aim_m : ndarray of shape (3,) or None
        Where the middle of the picture lands; None if it misses the front. [m]
    distance_m : float
        From the lens to there; to the wall plane if it misses. [m]
    prop_m : float or None
        Lift under the rear feet (negative: under the front feet); None if their spacing is not known. [m]
    wasted : float
        Share of the picture that falls on nothing that is to be lit. [-]
    blur : Blur or None
        Focus; None if the data sheet does not tell enough.
    keystone : Keystone or None
        On the plane of the part that gets most of the picture.
    """

    rig: Rig
    projector: Projector
    stand: Stand
    device: Device
    output: Output
    parts: tuple[PartResult, ...]
    aim_m: Array | None
    distance_m: float
    prop_m: float | None
    wasted: float
    blur: Blur | None
    keystone: Keystone | None
    main: PartResult | None
    shadows: tuple[Shadow, ...]
    spills: tuple[Spill, ...]
    in_beam: tuple[InBeam, ...]

    @property
    def lit_m2(self) -> float:
        return sum(part.lit_m2 for part in self.parts)

    @property
    def coverage(self) -> float:
        """Share of the front that gets light. [-]"""
        return self.lit_m2 / sum(part.area_m2 for part in self.parts)

    def values(self, name: str) -> Array:
        """All lit values of one of the maps, of all parts together, each standing for one cell of wall."""
        return np.concatenate([getattr(part.maps, name)[part.maps.lit].ravel() for part in self.parts])


def check_rig(scene: Scene, rig: Rig, *, key: str = "rig[1]", step_m: float = 0.1) -> Placement:
    """Reckon a rig at the stand that `house.toml` gives it.

    Parameters
    ----------
    scene : Scene
        The site.
    rig : Rig
        With its stand.
    key : str
        How an error calls it.
    step_m : float
        Side of the maps' cells. [m]

    Raises
    ------
    InputError
        If the rig has no stand, or it is inside the house or an obstacle.
    """
    if rig.stand is None:
        raise InputError(
            f"house.toml: {key}.stand is missing; give x_m (-1000 to 1000), height_m (more than 0) and distance_m "
            "(more than 0), or let 'limewash site search' find one"
        )
    stand, projector = rig.stand, rig.projector
    check_place(scene, (stand.x_m, stand.height_m, stand.distance_m), key=f"{key}.stand")
    device = projector.device(
        (stand.x_m, stand.height_m, stand.distance_m),
        yaw_rad=math.radians(stand.yaw_deg),
        tilt_rad=math.radians(stand.tilt_deg),
        roll_rad=math.radians(stand.roll_deg),
    )
    output = output_of(projector)
    sights = [seen(device, part, scene.blockers) for part in scene.parts]
    depths = [_depths(device, part, sight) for part, sight in zip(scene.parts, sights, strict=True)]
    known = [span for span in depths if span is not None]
    blur = blur_of(projector, min(n for n, _ in known), max(f for _, f in known)) if known else None
    parts = tuple(
        _part(device, output, scene, part, sight, span, blur, step_m)
        for part, sight, span in zip(scene.parts, sights, depths, strict=True)
    )
    aim, distance = _aim(device, scene)
    main = max(parts, key=lambda part: part.picture_share)
    return Placement(
        rig=rig,
        projector=projector,
        stand=stand,
        device=device,
        output=output,
        parts=parts,
        aim_m=aim,
        distance_m=distance,
        prop_m=_prop(projector, stand),
        wasted=1.0 - sum(part.picture_share for part in parts),
        blur=blur,
        keystone=keystone(device, main.surface) if main.picture_share > 0.0 else None,
        main=main if main.picture_share > 0.0 else None,
        shadows=tuple(_shadows(scene, parts)),
        spills=tuple(spills(device, output, scene)),
        in_beam=tuple(who_is_in_the_beam(device, output, scene)),
    )


def output_of(projector: Projector) -> Output:
    """What a projector sends out in the mode in use."""
    return Output(projector.light_left_lm, projector.contrast, projector.corner_light or 1.0)


def _part(
    device: Device,
    output: Output,
    scene: Scene,
    surface: Surface,
    sight: Seen,
    span: tuple[float, float] | None,
    blur: Blur | None,
    step_m: float,
) -> PartResult:
    near, far = span if span is not None else (math.nan, math.nan)
    return PartResult(
        surface=surface,
        seen=sight,
        area_m2=float(surface.shape.area),
        lit_m2=float(sight.plane.area),
        light_lm=output.light_lm * light_share(sight.picture, device.size, output.corner_light),
        picture_share=float(sight.picture.area) / (device.size[0] * device.size[1]),
        near_m=near,
        far_m=far,
        maps=map_part(
            device, output, surface, sight, ambient_lx=scene.ambient_lx, people=scene.people, blur=blur, step_m=step_m
        ),
    )


def _depths(device: Device, surface: Surface, sight: Seen) -> tuple[float, float] | None:
    if sight.plane.is_empty:
        return None
    depth = device.depth_m(surface.world(shapely.get_coordinates(sight.plane)))
    return float(depth.min()), float(depth.max())


def _aim(device: Device, scene: Scene) -> tuple[Array | None, float]:
    """Where the ray of the picture's middle meets the front first."""
    middle = np.array([(device.size[0] - 1) / 2, (device.size[1] - 1) / 2])
    ray = device.rays(middle)
    nearest: float = math.inf
    for part in scene.parts:
        slope = float(ray @ part.normal)
        if slope >= -1e-9:
            continue
        travel = -float(part.height_above(device.position_m)) / slope
        at = part.plane(device.position_m + travel * ray)
        if 0.0 < travel < nearest and part.outline.covers(shapely.Point(at)):
            nearest = travel
    if math.isfinite(nearest):
        return device.position_m + nearest * ray, nearest
    return None, float(device.position_m[2] / -ray[2]) if ray[2] < 0.0 else math.inf


def _prop(projector: Projector, stand: Stand) -> float | None:
    if projector.feet is None:
        return None
    return prop_height_m(math.radians(stand.tilt_deg), foot_spacing_m=projector.feet.front_to_rear_m)


def _shadows(scene: Scene, parts: tuple[PartResult, ...]) -> list[Shadow]:
    """Shadows of at least a hundredth of a square metre, those that are seen most first."""
    found = []
    for part in parts:
        if not part.seen.shadows:
            continue
        eyes = [np.array([spot.x_m, spot.eye_m, spot.distance_m]) for spot in scene.people]
        views = [seen_by_eye(eye, part.surface, scene.blockers) for eye in eyes]
        for name, shape in part.seen.shadows.items():
            if shape.area < 0.01:
                continue
            share = max(float(shape.intersection(view).area / shape.area) for view in views)
            found.append(Shadow(name, part.surface.name, float(shape.area), share, shape))
    return sorted(found, key=lambda shadow: -shadow.area_m2 * shadow.seen_share)
