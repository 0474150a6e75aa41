"""The virtual house as its owner would measure it for `house.toml`: flat parts, boxes, ground, light."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.light.colour import LUMA_BT709
from limewash.project.models import Facade, Projector, Rig, Stand
from limewash.project.projector import Feet
from limewash.project.site_models import Ambient, Box, GroundKind, Night, Obstacle, Part, Power, Site, Spot, Zone
from limewash.world.blocks import RoofLines, roof_lines
from limewash.world.model import Block, GarageDoor, House, Material, Opening, Porch, Roof, Strip
from limewash.world.scene import paint_of
from limewash.world.textures import KINDS, surface

Array = NDArray[np.float64]

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
_GUTTER_M = 0.15
"""How far a gutter stands before the edge of the covering."""

_AIR_C = (8.0, 7.0, 6.0, 5.0, 4.0, 3.5, 3.0, 2.5, 2.0, 2.0)
_HUMIDITY = (80.0, 84.0, 87.0, 90.0, 92.0, 94.0, 96.0, 97.0, 98.0, 98.0)
"""An invented clear night in late autumn, an hour a value."""

_ACROSS_M = (14.0, 17.0)
"""Distance at which the far side of the street has room for a stand and for people."""


def facade_of(house: House) -> Facade:
    """Fronts, roof edges and slopes of the blocks and porches as flat parts, with the glass in them."""
    blocks = [part for block in house.blocks for part in (_part(house, block), _roof(house, block))]
    porches = [part for porch in house.porches for part in _porch_roof(house, porch)]
    right = max(block.x_m[1] for block in house.blocks)
    top = max(_peak_m(block) for block in house.blocks)
    parts = [_measured(house, part, material) for part, material in (*blocks, *porches)]
    return Facade(width_m=round(right, 3), height_m=round(top, 3), part=tuple(parts))


def site_of(house: House) -> Site:
    """Ground, obstacles, people, street light, an outlet and the weather of a night around a virtual house."""
    porches = [thing for porch in house.porches for thing in _porch(porch)]
    eaves = [_eaves(block) for block in house.blocks if block.roof.gable == "side"]
    bushes = [
        _box("bush", "hedge", bush.middle_m, tuple(0.8 * radius for radius in bush.radii_m)) for bush in house.bushes
    ]
    middle = sum(block.x_m[0] + block.x_m[1] for block in house.blocks) / (2 * len(house.blocks))
    zones = [_zone(number, strip) for number, strip in enumerate(house.ground, start=1)]
    far = Zone(name="across the street", kind="other", ground_m=_corners(_NEAR_X_M, _ACROSS_M), public=True)
    return Site(
        ambient=Ambient(wall_lx=round(_wall_lx(house, middle), 2)),
        obstacle=tuple(porches + eaves + bushes),
        zone=(*zones, far),
        audience=(Spot(name="audience", x_m=round(middle, 2), distance_m=9.8),),
        power=Power(outlet_x_m=round(middle, 2), price_per_kwh=0.3, currency="EUR"),
        box=Box(air_flow_m3_h=60.0),
        night=Night(air_c=_AIR_C, humidity_percent=_HUMIDITY),
    )


def rig_of(house: House, size: tuple[int, int] = (1920, 1080)) -> Rig:
    """The rig that stands in front of the virtual house."""
    p = house.projector
    x, y, z = p.place_m
    stand = Stand(x_m=x, height_m=y, distance_m=z, yaw_deg=p.yaw_deg, tilt_deg=p.tilt_deg, roll_deg=p.roll_deg)
    projector = Projector(
        name=f"{p.lumens:.0f} lm projector",
        size=size,
        throw_ratio=p.throw_ratio,
        lens_shift=p.lens_shift,
        light_lm=p.lumens,
        light_measured="ISO 21118",
        contrast=p.contrast,
        weight_kg=3.2,
        feet=Feet(front_to_rear_m=0.22, apart_m=0.26),
        f_number=2.4,
        panel_width_m=0.0144,
        fan_clearance_m=0.3,
        power_w=300.0,
    )
    return Rig(projector=projector, stand=stand, player="small computer", video_cable_m=2.0)


def _peak_m(block: Block) -> float:
    half = (block.x_m[1] - block.x_m[0]) / 2.0
    rise = half * math.tan(math.radians(block.roof.pitch_deg)) if block.roof.gable == "front" else 0.0
    return block.eaves_y_m + rise


_Measured = tuple[Part, Material]
"""A part whose reflectance is still to be measured, and what it is made of."""


def _measured(house: House, part: Part, material: Material) -> Part:
    """With its reflectance, found in the light that comes from the projector's stand."""
    corners = part.corners_m()
    u, v, normal = _axes(corners)
    away = np.asarray(house.projector.place_m) - corners.mean(axis=0)
    light = np.array([away @ u, away @ v, away @ normal])
    return part.model_copy(update={"reflectance": round(mean_reflectance(material, light), 3)})


def _axes(corners: Array) -> tuple[Array, Array, Array]:
    """Level, up and out of a flat part, as the world's textures lie on it."""
    normal = np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0)
    normal = normal / np.linalg.norm(normal) * (1.0 if normal[2] > 0.0 else -1.0)
    u = np.cross([0.0, 1.0, 0.0], normal)
    u = u / np.linalg.norm(u)
    return u, np.cross(normal, u), normal


def mean_reflectance(material: Material, light: ArrayLike = (0.0, 0.0, 1.0)) -> float:
    """What a patch of a material gives back on the average, joints, shaded edges and relief included. [-]

    As an owner finds it who holds a sheet of white paper flat on the wall, both in the light of a lamp where the
    projector will stand: boards and shingles give back more or less of it as they lean to the light or away.

    Parameters
    ----------
    material : Material
        Of the wall.
    light : array_like of shape (3,)
        Towards the lamp: along the wall to the right, up the wall, out of it.
    """
    paint, kind = np.array(paint_of(material)), KINDS.index(material.kind)
    across, up, ahead = np.asarray(light, dtype=np.float64)
    out = np.empty(5)
    places = np.random.default_rng(0).uniform((0.0, 0.0), _PROBED_M, (_PROBES, 2))
    total = 0.0
    for u, v in places:
        surface(kind, paint, u, v, out)
        leaning = (ahead - out[3] * across - out[4] * up) / math.sqrt(1.0 + out[3] ** 2 + out[4] ** 2)
        total += float(out[:3] @ LUMA_BT709) * max(leaning / ahead, 0.0)
    return total / _PROBES


def _part(house: House, block: Block) -> _Measured:
    left, right = block.x_m
    outline = [(left, block.base_y_m), (right, block.base_y_m), (right, block.eaves_y_m)]
    if block.roof.gable == "front":
        outline.append(((left + right) / 2.0, round(_peak_m(block), 4)))
    outline.append((left, block.eaves_y_m))
    glass = [_opening(window) for window in block.windows]
    glass += [_top_row(door) for door in block.garages if door.glazed]
    part = Part(
        name=block.title.lower(),
        section=block.id,
        polygon=tuple(outline),
        forward_m=block.front_z_m,
        reflectance=1.0,
        openings=tuple(glass),
    )
    return part, house.materials[block.wall]


def _roof(house: House, block: Block) -> _Measured:
    """The boards along a gable's edge, or the slope that a roof turns to the street."""
    roof, name = block.roof, block.title.lower()
    lines = roof_lines(block.x_m, block.front_z_m, block.depth_m, block.eaves_y_m, roof)
    if roof.gable == "front":
        return _roof_edge(house, name, lines, roof)
    slope = Part(
        name=f"{name}, roof",
        section="roof",
        corners=tuple((float(x), float(y), float(z)) for x, y, z in np.round([*lines.edge, *lines.ridge[::-1]], 4)),
        reflectance=1.0,
    )
    return slope, house.materials[roof.covering]


def _roof_edge(house: House, name: str, lines: RoofLines, roof: Roof) -> _Measured:
    drop = roof.fascia_m / math.cos(math.radians(roof.pitch_deg))
    upper = [(float(x), float(y)) for x, y, _ in lines.edge]
    part = Part(
        name=f"{name}, roof edge",
        section="roof",
        polygon=tuple(_rounded(point) for point in (*upper, *((x, y - drop) for x, y in upper[::-1]))),
        forward_m=round(float(lines.edge[0, 2]) + 0.03, 4),
        reflectance=1.0,
        sides=False,
    )
    return part, house.materials[roof.fascia]


def _rounded(point: tuple[float, float]) -> tuple[float, float]:
    return (round(point[0], 4), round(point[1], 4))


def _opening(opening: Opening) -> tuple[float, float, float, float]:
    left = opening.middle_x_m - opening.width_m / 2.0
    return (round(left, 4), opening.sill_y_m, opening.width_m, opening.height_m)


def _top_row(door: GarageDoor) -> tuple[float, float, float, float]:
    """The row of small windows in a garage door, without the boards around it."""
    left, bottom, width, height = _opening(door)
    row, rim = height / door.panels[1], 0.09
    return (
        round(left + rim, 4),
        round(bottom + height - row + rim, 4),
        round(width - 2.0 * rim, 4),
        round(row - 2.0 * rim, 4),
    )


def _porch_roof(house: House, porch: Porch) -> list[_Measured]:
    """The gable over a porch with the boards along its edge, or its slope where the roof leans against the wall."""
    (left, right), top = porch.x_m, porch.beam_y_m + porch.beam_m
    front, rise = porch.wall_z_m + porch.depth_m, math.tan(math.radians(porch.roof.pitch_deg))
    if porch.roof.gable == "front":
        peak = ((left + right) / 2.0, round(top + (right - left) / 2.0 * rise, 4))
        part = Part(
            name=porch.title.lower(),
            section=porch.id,
            polygon=((left, porch.beam_y_m), (right, porch.beam_y_m), (right, top), peak, (left, top)),
            forward_m=front,
            reflectance=1.0,
            sides=False,
        )
        lines = roof_lines(porch.x_m, front, porch.depth_m, top, porch.roof)
        edge = _roof_edge(house, porch.title.lower(), lines, porch.roof)
        return [(part, house.materials[porch.post]), edge]
    low = (top, front + porch.roof.overhang_m)
    high = (round(top + (porch.depth_m + porch.roof.overhang_m) * rise, 4), porch.wall_z_m)
    part = Part(
        name=porch.title.lower(),
        section=porch.id,
        corners=((left, *low), (right, *low), (right, *high), (left, *high)),
        reflectance=1.0,
    )
    return [(part, house.materials[porch.roof.covering])]


def _eaves(block: Block) -> Obstacle:
    """The board and the gutter along the foot of a slope: they hang before the top of the wall."""
    lines = roof_lines(block.x_m, block.front_z_m, block.depth_m, block.eaves_y_m, block.roof)
    (left, y, z), (right, *_) = lines.edge
    height = (float(y) - block.roof.fascia_m, float(y))
    return _span("eaves", "eaves", (float(left), float(right)), height, (float(z), float(z) + _GUTTER_M))


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
