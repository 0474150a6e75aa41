"""The virtual house as its owner would measure it for `house.toml`: flat parts, boxes, ground, light."""

from __future__ import annotations

import math

import numpy as np

from limewash.light.colour import LUMA_BT709
from limewash.project.models import Facade, Projector, Rig, Stand
from limewash.project.site_models import Ambient, GroundKind, Obstacle, Part, Site, Spot, Zone
from limewash.world.blocks import roof_lines
from limewash.world.model import Block, House, Material, Opening, Porch, Strip
from limewash.world.scene import paint_of
from limewash.world.textures import KINDS, surface

_GROUND: dict[str, GroundKind] = {
    "lawn": "lawn",
    "drive": "drive",
    "path": "path",
    "kerb": "pavement",
    "street": "road",
}
_NEAR_X_M = (-4.0, 16.0)
_PROBES = 20_000
_PROBED_M = (12.0, 6.0)
_ACROSS_M = (14.0, 17.0)
"""Distance at which the far side of the street has room for a stand and for people."""


def facade_of(house: House) -> Facade:
    """Fronts, roof edges and slopes of the blocks and porches as flat parts; glass only where there are windows."""
    blocks = [part for block in house.blocks for part in (_part(house, block), _roof(house, block))]
    parts = (*blocks, *(_porch_roof(house, porch) for porch in house.porches))
    right = max(block.x_m[1] for block in house.blocks)
    top = max(_peak_m(block) for block in house.blocks)
    return Facade(width_m=round(right, 3), height_m=round(top, 3), part=parts)


def site_of(house: House) -> Site:
    """Ground, obstacles, people and street light around a virtual house."""
    porches = [thing for porch in house.porches for thing in _porch(porch)]
    bushes = [
        _box("bush", "hedge", bush.middle_m, tuple(0.8 * radius for radius in bush.radii_m)) for bush in house.bushes
    ]
    middle = sum(block.x_m[0] + block.x_m[1] for block in house.blocks) / (2 * len(house.blocks))
    zones = [_zone(number, strip) for number, strip in enumerate(house.ground, start=1)]
    far = Zone(name="across the street", kind="other", ground_m=_corners(_NEAR_X_M, _ACROSS_M), public=True)
    return Site(
        ambient=Ambient(wall_lx=round(_wall_lx(house, middle), 2)),
        obstacle=tuple(porches + bushes),
        zone=(*zones, far),
        audience=(Spot(name="pavement", x_m=round(middle, 2), distance_m=9.8),),
    )


def rig_of(house: House, size: tuple[int, int] = (1920, 1080)) -> Rig:
    """The rig that stands in front of the virtual house."""
    p = house.projector
    x, y, z = p.place_m
    stand = Stand(x_m=x, height_m=y, distance_m=z, yaw_deg=p.yaw_deg, tilt_deg=p.tilt_deg, roll_deg=p.roll_deg)
    projector = Projector(
        size=size, throw_ratio=p.throw_ratio, lens_shift=p.lens_shift, light_lm=p.lumens, contrast=p.contrast
    )
    return Rig(projector=projector, stand=stand)


def _peak_m(block: Block) -> float:
    half = (block.x_m[1] - block.x_m[0]) / 2.0
    rise = half * math.tan(math.radians(block.roof.pitch_deg)) if block.roof.gable == "front" else 0.0
    return block.eaves_y_m + rise


def _part(house: House, block: Block) -> Part:
    left, right = block.x_m
    outline = [(left, block.base_y_m), (right, block.base_y_m), (right, block.eaves_y_m)]
    if block.roof.gable == "front":
        outline.append(((left + right) / 2.0, round(_peak_m(block), 4)))
    outline.append((left, block.eaves_y_m))
    return Part(
        name=block.title.lower(),
        section=block.id,
        polygon=tuple(outline),
        forward_m=block.front_z_m,
        reflectance=round(mean_reflectance(house.materials[block.wall]), 3),
        openings=tuple(_opening(window) for window in block.windows),
    )


def _roof(house: House, block: Block) -> Part:
    """The boards along a gable's edge, or the slope that a roof turns to the street."""
    roof = block.roof
    lines = roof_lines(block.x_m, block.front_z_m, block.depth_m, block.eaves_y_m, roof)
    if roof.gable == "front":
        drop = roof.fascia_m / math.cos(math.radians(roof.pitch_deg))
        upper = [(float(x), float(y)) for x, y, _ in lines.edge]
        return Part(
            name=f"{block.title.lower()}, roof edge",
            section="roof",
            polygon=tuple(_rounded(point) for point in (*upper, *((x, y - drop) for x, y in upper[::-1]))),
            forward_m=round(float(lines.edge[0, 2]) + 0.03, 4),
            reflectance=round(mean_reflectance(house.materials[roof.fascia]), 3),
            sides=False,
        )
    return Part(
        name=f"{block.title.lower()}, roof",
        section="roof",
        corners=tuple((float(x), float(y), float(z)) for x, y, z in np.round([*lines.edge, *lines.ridge[::-1]], 4)),
        reflectance=round(mean_reflectance(house.materials[roof.covering]), 3),
    )


def _rounded(point: tuple[float, float]) -> tuple[float, float]:
    return (round(point[0], 4), round(point[1], 4))


def _opening(opening: Opening) -> tuple[float, float, float, float]:
    left = opening.middle_x_m - opening.width_m / 2.0
    return (round(left, 4), opening.sill_y_m, opening.width_m, opening.height_m)


def mean_reflectance(material: Material) -> float:
    """What a patch of a material gives back on the average, joints, shaded edges and relief included. [-]

    As an owner would find it with a light meter and a sheet of white paper.
    """
    paint, kind = np.array(paint_of(material)), KINDS.index(material.kind)
    out = np.empty(5)
    places = np.random.default_rng(0).uniform((0.0, 0.0), _PROBED_M, (_PROBES, 2))
    total = 0.0
    for u, v in places:
        surface(kind, paint, u, v, out)
        square_on = 1.0 / math.sqrt(1.0 + out[3] ** 2 + out[4] ** 2)
        total += float(out[:3] @ LUMA_BT709) * square_on
    return total / _PROBES


def _porch_roof(house: House, porch: Porch) -> Part:
    """The gable over a porch, or its slope where the roof leans against the wall."""
    (left, right), top = porch.x_m, porch.beam_y_m + porch.beam_m
    front, rise = porch.wall_z_m + porch.depth_m, math.tan(math.radians(porch.roof.pitch_deg))
    if porch.roof.gable == "front":
        peak = ((left + right) / 2.0, round(top + (right - left) / 2.0 * rise, 4))
        return Part(
            name=porch.title.lower(),
            section=porch.id,
            polygon=((left, porch.beam_y_m), (right, porch.beam_y_m), (right, top), peak, (left, top)),
            forward_m=front,
            reflectance=round(mean_reflectance(house.materials[porch.post]), 3),
            sides=False,
        )
    low = (top, front + porch.roof.overhang_m)
    high = (round(top + (porch.depth_m + porch.roof.overhang_m) * rise, 4), porch.wall_z_m)
    return Part(
        name=porch.title.lower(),
        section=porch.id,
        corners=((left, *low), (right, *low), (right, *high), (left, *high)),
        reflectance=round(mean_reflectance(house.materials[porch.roof.covering]), 3),
    )


def _porch(porch: Porch) -> list[Obstacle]:
    front, half = porch.wall_z_m + porch.depth_m, porch.post_m / 2.0
    standing = (porch.floor_y_m, porch.beam_y_m)
    posts = [
        _span("porch post", "post", (x - half, x + half), standing, (front - 0.05 - porch.post_m, front - 0.05))
        for x in porch.posts_x_m
    ]
    beam = (porch.beam_y_m, porch.beam_y_m + porch.beam_m)
    return [
        *posts,
        _span("porch beam", "eaves", porch.x_m, beam, (front - 0.22, front - 0.03)),
        _span("porch floor", "other", porch.x_m, (0.0, porch.floor_y_m), (porch.wall_z_m + 0.02, front)),
    ]


def _box(name: str, kind: str, middle: tuple[float, float, float], radii: tuple[float, ...]) -> Obstacle:
    (x, y, z), (a, b, c) = middle, radii
    return _span(name, kind, (x - a, x + a), (max(y - b, 0.0), y + b), (z - c, z + c))


def _span(name: str, kind: str, x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Obstacle:
    across, height, distance = ((round(low, 3), round(high, 3)) for low, high in (x, y, z))
    return Obstacle.model_validate(
        {"name": name, "kind": kind, "across_m": across, "height_m": height, "distance_m": distance}
    )


def _zone(number: int, strip: Strip) -> Zone:
    low = max(strip.x_m[0], _NEAR_X_M[0]), max(strip.z_m[0], -1.0)
    high = min(strip.x_m[1], _NEAR_X_M[1]), min(strip.z_m[1], _ACROSS_M[0])
    kind = _GROUND.get(strip.surface, "other")
    return Zone(
        name=f"{kind} {number}" if kind == "other" else kind,
        kind=kind,
        ground_m=_corners((low[0], high[0]), (low[1], high[1])),
    )


def _corners(x: tuple[float, float], z: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    return ((x[0], z[0]), (x[1], z[0]), (x[1], z[1]), (x[0], z[1]))


def _wall_lx(house: House, middle_x_m: float) -> float:
    """Street lamps and night sky on the middle of the front, nothing in the way: an estimate to start from. [lx]"""
    point = np.array([middle_x_m, 2.0, 0.0])
    total = house.sky.night_lx / 2.0
    for lamp in house.lamps:
        if lamp.dusk_only:
            continue
        away = np.asarray(lamp.place_m) - point
        distance = float(np.linalg.norm(away))
        solid_angle = 2.0 * math.pi if lamp.down_only else 4.0 * math.pi
        total += lamp.lumens / solid_angle * max(float(away[2]) / distance, 0.0) / distance**2
    return total
