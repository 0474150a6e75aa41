"""The site as geometry: what is lit, what casts shadows, where people are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from limewash.errors import InputError, did_you_mean
from limewash.light.materials import REFLECTANCES
from limewash.project.lengths import Units
from limewash.project.models import House
from limewash.project.site_models import Obstacle, Part, Site, Spot, Zone
from limewash.site.ambient import ambient_on_wall_lx
from limewash.site.surface import Surface, flat_surface
from limewash.site.visibility import seen_by_eye

Array = NDArray[np.float64]

_TAPE_ERROR_M = 0.05
"""How far a measured opening may reach over the edge of its part before it is taken for a mistake. [m]"""

WHOLE = "whole"
"""The section that is every part of the front."""


@dataclass(frozen=True)
class Scene:
    """A site ready to be reckoned with.

    Attributes
    ----------
    parts : tuple of Surface
        What is to be lit.
    sides : tuple of Surface
        Walls that join upright parts with the one standing furthest back; they only cast shadows.
    obstacles : tuple of Obstacle
        Boxes that cast shadows.
    ground, neighbours : tuple of Surface
        What the light should not fall on; `ground` in the order of `zones`.
    zones : tuple of Zone
        The pieces of ground as the person described them.
    people : tuple of Spot
        Where people watch from; one spot in front of the middle if the person named none.
    ambient_lx : float
        Light on the wall that is not the projector's. [lx]
    """

    name: str
    parts: tuple[Surface, ...]
    sides: tuple[Surface, ...]
    obstacles: tuple[Obstacle, ...]
    ground: tuple[Surface, ...]
    zones: tuple[Zone, ...]
    neighbours: tuple[Surface, ...]
    people: tuple[Spot, ...]
    ambient_lx: float
    width_m: float
    height_m: float
    units: Units
    site: Site

    @property
    def sections(self) -> tuple[str, ...]:
        """`whole`, then each section of which the front has more than one."""
        names = list(dict.fromkeys(part.section for part in self.parts))
        return (WHOLE, *names) if len(names) > 1 else (WHOLE,)

    def section(self, name: str) -> tuple[Surface, ...]:
        """The parts of a section.

        Raises
        ------
        InputError
            If there is no such section.
        """
        if name == WHOLE:
            return self.parts
        found = tuple(part for part in self.parts if part.section == name)
        if not found:
            raise InputError(
                f"site.search.sections: no part has the section {name!r}{did_you_mean(name, self.sections)}"
            )
        return found

    @cached_property
    def blockers(self) -> tuple[tuple[str, Surface], ...]:
        """All that casts shadows, each with the name of the thing that it belongs to."""
        walls = [(part.name, part) for part in self.parts]
        walls += [(side.name, side) for side in self.sides]
        return (*walls, *((box.name, face) for box in self.obstacles for face in box_faces(box)))

    @cached_property
    def watched(self) -> dict[str, BaseGeometry]:
        """What the audience sees of each part, by its name, in (u, v); the whole part where nobody sees it. [m]

        A wall that another part hides from everybody needs no light.
        """
        eyes = [np.array([spot.x_m, spot.eye_m, spot.distance_m]) for spot in self.people]
        views = {
            part.name: shapely.union_all([seen_by_eye(e, part, self.blockers) for e in eyes]) for part in self.parts
        }
        return {part.name: part.shape if views[part.name].is_empty else views[part.name] for part in self.parts}

    @property
    def boxes_m(self) -> Array:
        """Obstacles as low x, y, z, high x, y, z: shape (B, 6). [m]"""
        spans = [(box.across_m, box.height_m, box.distance_m) for box in self.obstacles]
        rows = [[s[0] for s in span] + [s[1] for s in span] for span in spans]
        return np.array(rows, dtype=np.float64).reshape(-1, 6)


def build_scene(house: House) -> Scene:
    """Turn what `house.toml` says into geometry.

    Raises
    ------
    InputError
        If the facade or the site is not described there, with what to add.
    """
    if house.facade is None:
        raise InputError("house.toml: 'facade' is missing; add [facade] with width_m and height_m (0 to 1000 m)")
    if house.site is None:
        raise InputError(
            "house.toml: 'site' is missing; add [site.ambient] with wall_lx (0 to 1000) or street (P1 to P6, C0 to C5)"
        )
    facade, site = house.facade, house.site
    assert site.ambient is not None  # the model refuses a site without it
    parts = facade.part
    if not parts:
        if facade.material is None and facade.reflectance is None:
            raise InputError(
                "house.toml: facade.material is missing (or facade.reflectance, more than 0 and at most 1); "
                f"materials: {', '.join(REFLECTANCES)}"
            )
        parts = (
            Part(
                name="front",
                rectangle=(0.0, 0.0, facade.width_m, facade.height_m),
                material=facade.material,
                reflectance=facade.reflectance,
            ),
        )
    back = min((part.forward_m for part in parts if part.corners is None), default=0.0)
    people = site.audience or (Spot(name="street", x_m=facade.width_m / 2, distance_m=1.5 * facade.height_m + 4.0),)
    return Scene(
        name=house.name,
        parts=tuple(_lit(part, key=f"facade.part[{number}]") for number, part in enumerate(parts, start=1)),
        sides=tuple(side for part in parts if part.sides for side in _sides(part, back)),
        obstacles=site.obstacle,
        ground=tuple(_ground(zone) for zone in site.zone),
        zones=site.zone,
        neighbours=tuple(flat_surface(n.corners_m(), name=n.name) for n in site.neighbour),
        people=people,
        ambient_lx=ambient_on_wall_lx(site.ambient),
        width_m=facade.width_m,
        height_m=facade.height_m,
        units=site.units,
        site=site,
    )


def box_faces(box: Obstacle) -> tuple[Surface, ...]:
    """The six faces of a box."""
    (x0, x1), (y0, y1), (z0, z1) = box.across_m, box.height_m, box.distance_m
    faces = (
        [(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)],
        [(x0, y0, z0), (x1, y0, z0), (x1, y1, z0), (x0, y1, z0)],
        [(x0, y0, z0), (x0, y0, z1), (x0, y1, z1), (x0, y1, z0)],
        [(x1, y0, z0), (x1, y0, z1), (x1, y1, z1), (x1, y1, z0)],
        [(x0, y1, z0), (x1, y1, z0), (x1, y1, z1), (x0, y1, z1)],
        [(x0, y0, z0), (x1, y0, z0), (x1, y0, z1), (x0, y0, z1)],
    )
    return tuple(flat_surface(np.array(face), name=box.name) for face in faces)


def check_place(scene: Scene, lens_m: tuple[float, float, float], *, key: str) -> None:
    """Refuse a stand in the house, in an obstacle or under the ground.

    Raises
    ------
    InputError
        Naming the key and what is allowed.
    """
    _, y, z = lens_m
    if y <= 0.0:
        raise InputError(f"{key}.height_m must be more than 0 m: the lens is above the ground (got {y:g})")
    point = np.array(lens_m)
    for part in scene.parts:
        upright = part.normal[2] > 0.99
        inside = float(part.height_above(point)) <= 0.0 and part.outline.covers(shapely.Point(part.plane(point)))
        if upright and inside:
            raise InputError(
                f"{key}.distance_m must be more than {part.origin_m[2]:g} m and at most 1000 m, to stand in front "
                f"of {part.name!r} and not inside the house (got {z:g})"
            )
    for box in scene.obstacles:
        spans = (box.across_m, box.height_m, box.distance_m)
        if all(low < value < high for (low, high), value in zip(spans, lens_m, strict=True)):
            raise InputError(
                f"{key} stands inside the obstacle {box.name!r}: x {spans[0][0]:g} to {spans[0][1]:g} m, "
                f"distance {spans[2][0]:g} to {spans[2][1]:g} m; move it out"
            )


def _lit(part: Part, *, key: str) -> Surface:
    reflectance = part.reflectance if part.reflectance is not None else REFLECTANCES[str(part.material)]
    surface = flat_surface(
        part.corners_m(),
        name=part.name,
        section=part.section,
        reflectance=reflectance,
        openings=part.openings,
    )
    room = surface.outline.buffer(_TAPE_ERROR_M)
    for number, (left, bottom, width, height) in enumerate(part.openings, start=1):
        if not room.covers(shapely.box(left, bottom, left + width, bottom + height)):
            low_x, low_y, high_x, high_y = surface.outline.bounds
            raise InputError(
                f"house.toml: {key}.openings[{number}] must lie on {part.name!r} (x from {low_x:g} to {high_x:g} m, "
                f"height from {low_y:g} to {high_y:g} m, within its outline); "
                f"got x {left:g} to {left + width:g}, height {bottom:g} to {bottom + height:g}"
            )
    if surface.shape.is_empty:
        raise InputError(f"house.toml: {key}.openings must leave some of {part.name!r} to be lit")
    return surface


def _sides(part: Part, back_m: float) -> list[Surface]:
    """Quads from the edge of an upright part back to the part that stands furthest back."""
    if part.corners is not None or part.forward_m < back_m + 0.01:
        return []
    front = part.corners_m()
    back = front * np.array([1.0, 1.0, 0.0]) + np.array([0.0, 0.0, back_m])
    quads = zip(front, np.roll(front, -1, axis=0), np.roll(back, -1, axis=0), back, strict=True)
    return [flat_surface(np.array(quad), name=part.name) for quad in quads]


def _ground(zone: Zone) -> Surface:
    corners = np.array([(x, 0.0, z) for x, z in zone.ground_m])
    return flat_surface(corners, name=zone.name, section=zone.kind)


def ground_shape(zone: Zone) -> Polygon:
    """A zone in plan: x along the wall, distance from it. [m]"""
    return Polygon(zone.ground_m)
