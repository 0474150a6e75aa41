"""The site as plain arrays for the search's kernel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from limewash.project.projector import Projector
from limewash.project.site_models import Spot, Zone
from limewash.site.aim_kernel import PROJECTOR_COLUMNS
from limewash.site.optics import ARC_MINUTE_RAD
from limewash.site.scene import WHOLE, Scene, ground_shape
from limewash.site.surface import Surface

Array = NDArray[np.float64]

_SAMPLES, _SAMPLES_OF_A_SECTION = 90, 60
_LEAST_PER_PART = 5
_CLEAR_OF_HOUSE_M = 0.5
_EYES_M = 1.6
_FAR_M = 1e6


@dataclass(frozen=True)
class SectionTable:
    """A section of the front as the kernel wants it; see `judge_stands`."""

    name: str
    hull: Array
    samples: Array
    area_m2: float


@dataclass(frozen=True)
class ShadeTable:
    """What casts shadows, as the kernel wants it."""

    facets: Array
    corners: Array
    starts: NDArray[np.int64]
    boxes: Array

    def between(self, lenses_m: Array, points_m: Array) -> ShadeTable:
        """Only the facets that can stand between: those with lenses and points not all on one side."""
        ends = np.concatenate([lenses_m, points_m])
        above = np.einsum("fk,fpk->fp", self.facets[:, 9:12], ends[None] - self.facets[:, None, :3])
        kept = np.flatnonzero((above.min(axis=1) < -1e-6) & (above.max(axis=1) > 1e-6))
        rings = [self.corners[self.starts[f] : self.starts[f + 1]] for f in kept]
        starts = np.concatenate([[0], np.cumsum([len(ring) for ring in rings])]).astype(np.int64)
        corners = np.concatenate(rings) if rings else np.empty((0, 2))
        return ShadeTable(self.facets[kept], corners, starts, self.boxes)


def projector_row(projector: Projector) -> Array:
    """Ranges and light of a projector in the column order of `aim_kernel`."""
    low, high = projector.throw_range or (projector.throw_ratio, projector.throw_ratio)
    rise = projector.offset.shift if projector.offset is not None else 0.0
    x = projector.shift_range_x or (projector.lens_shift[0],) * 2
    y = projector.shift_range_y or (projector.lens_shift[1],) * 2
    sharp = projector.f_number and projector.panel_width_m
    row = np.array(
        [
            *(low, high, projector.throw_extra_m or 0.0),
            *(x[0], x[1], y[0] + rise, y[1] + rise),
            *(projector.size[1] / projector.size[0], projector.size[0]),
            *(projector.light_left_lm, projector.contrast, projector.corner_light or 1.0),
            *(projector.panel_width_m or 1.0, projector.f_number if sharp else 0.0),
            *(projector.focus_range_m or (0.0, _FAR_M)),
        ],
        dtype=np.float64,
    )
    assert len(row) == PROJECTOR_COLUMNS
    return row


def section_table(name: str, scene: Scene) -> SectionTable:
    """Sample points over what the audience sees of a section's parts, each with its share of that area."""
    parts = [replace(part, shape=scene.watched[part.name]) for part in scene.section(name)]
    total = sum(part.shape.area for part in parts)
    wanted = _SAMPLES if name == WHOLE else _SAMPLES_OF_A_SECTION
    counts = [max(_LEAST_PER_PART, round(wanted * part.shape.area / total)) for part in parts]
    samples = [_samples(part, count, scene.people) for part, count in zip(parts, counts, strict=True)]
    hull = [part.world(np.array(part.outline.exterior.coords)[:-1]) for part in parts]
    return SectionTable(name, outer_corners(np.concatenate(hull)), np.concatenate(samples), float(total))


def outer_corners(points_m: Array) -> Array:
    """Those of the points (N, 3) that bound all the others from every side: enough to aim by. [m]"""
    centred = points_m - points_m.mean(axis=0)
    _, sizes, axes = np.linalg.svd(centred, full_matrices=False)
    flat = sizes[2] < 1e-6 * sizes[0]
    kept: Array = points_m[ConvexHull(centred @ axes[:2].T if flat else points_m).vertices]
    return kept


def halves(section: SectionTable) -> tuple[SectionTable, SectionTable]:
    """The left and the right half of a section, for two projectors side by side."""
    middle = (section.hull[:, 0].min() + section.hull[:, 0].max()) / 2.0
    sides = []
    for name, sign in (("left half", -1.0), ("right half", 1.0)):
        mine = (section.samples[:, 0] - middle) * sign >= 0.0
        # The corners beyond the middle are moved onto it: a bound of the half, never too small.
        hull = section.hull.copy()
        hull[:, 0] = np.minimum(hull[:, 0], middle) if sign < 0.0 else np.maximum(hull[:, 0], middle)
        sides.append(SectionTable(name, hull, section.samples[mine], float(section.samples[mine, 9].sum())))
    return sides[0], sides[1]


def shade_table(scene: Scene) -> ShadeTable:
    """All flat things and boxes that cast shadows."""
    flats = [*scene.parts, *scene.sides]
    rings = [np.array(flat.outline.exterior.coords)[:-1] for flat in flats]
    facets = np.array([np.concatenate([flat.origin_m, flat.axes.ravel()]) for flat in flats]).reshape(-1, 12)
    starts = np.concatenate([[0], np.cumsum([len(ring) for ring in rings])]).astype(np.int64)
    return ShadeTable(facets, np.concatenate(rings), starts, scene.boxes_m)


def eye_table(scene: Scene) -> Array:
    """Eyes of the audience and of people on public ground, shape (P, 3). [m]"""
    eyes = [(spot.x_m, spot.eye_m, spot.distance_m) for spot in scene.people]
    for zone in scene.zones:
        if zone.is_public:
            shape = ground_shape(zone)
            inner = shape.representative_point()
            walkers = [(inner.x, inner.y), *shape.exterior.segmentize(4.0).coords]
            eyes += [(x, _EYES_M, z) for x, z in walkers]
    return np.array(eyes, dtype=np.float64)


def ground_grid(scene: Scene, step_m: float) -> Array:
    """Places in plan where a projector may stand, shape (N, 2): allowed zones without the forbidden ones. [m]"""
    allowed, forbidden = _split(scene.zones)
    if not allowed:
        depth = max(3.0 * scene.height_m, 2.0 * scene.width_m)
        room = shapely.box(-0.25 * scene.width_m, 1.0, 1.25 * scene.width_m, depth)
    else:
        room = shapely.union_all([ground_shape(zone) for zone in allowed])
    room = room.difference(shapely.union_all([ground_shape(zone) for zone in forbidden]))
    room = room.difference(_taken(scene))
    # A stand's distance counts from the wall plane: nothing beside or behind the house is looked at.
    room = room.intersection(shapely.box(-1e4, _CLEAR_OF_HOUSE_M, 1e4, 1e4))
    if room.is_empty:
        return np.empty((0, 2))
    left, near, right, far = room.bounds
    x = np.arange(left + step_m / 2, right, step_m)
    z = np.arange(near + step_m / 2, far, step_m)
    grid = np.stack(np.meshgrid(x, z), axis=-1).reshape(-1, 2)
    found: Array = grid[shapely.contains_xy(room, grid[:, 0], grid[:, 1])]
    return found


def _split(zones: tuple[Zone, ...]) -> tuple[list[Zone], list[Zone]]:
    allowed = [zone for zone in zones if zone.stand_allowed]
    return allowed, [zone for zone in zones if not zone.stand_allowed]


def _taken(scene: Scene) -> shapely.Geometry:
    """In plan: the house with some room before it, and the obstacles that reach the ground."""
    taken = []
    for part in scene.parts:
        corners = part.world(np.array(part.outline.exterior.coords))
        left, right, front = corners[:, 0].min(), corners[:, 0].max(), corners[:, 2].max()
        taken.append(shapely.box(left, -100.0, right, front + _CLEAR_OF_HOUSE_M))
    for box in scene.obstacles:
        if box.height_m[0] < 2.0:
            (x0, x1), (z0, z1) = box.across_m, box.distance_m
            taken.append(shapely.box(x0 - 0.2, z0 - 0.2, x1 + 0.2, z1 + 0.2))
    return shapely.union_all(taken)


def _samples(part: Surface, wanted: int, people: tuple[Spot, ...]) -> Array:
    """One sample for each cell of a grid: in the middle of what the part has of it, standing for that much area."""
    left, bottom, right, top = part.shape.bounds
    step = np.sqrt(part.shape.area / wanted)
    columns, rows = max(1, round((right - left) / step)), max(1, round((top - bottom) / step))
    u, v = np.linspace(left, right, columns + 1), np.linspace(bottom, top, rows + 1)
    low_u, low_v = (grid.ravel() for grid in np.meshgrid(u[:-1], v[:-1]))
    high_u, high_v = (grid.ravel() for grid in np.meshgrid(u[1:], v[1:]))
    pieces = shapely.intersection(shapely.box(low_u, low_v, high_u, high_v), part.shape)
    area = shapely.area(pieces)
    pieces, area = pieces[area > 1e-6], area[area > 1e-6]
    points = part.world(shapely.get_coordinates(shapely.centroid(pieces)))
    eyes = np.array([(spot.x_m, spot.eye_m, spot.distance_m) for spot in people])
    detail = np.linalg.norm(points[:, None] - eyes, axis=-1).min(axis=1) * ARC_MINUTE_RAD
    table = np.empty((len(points), 12))
    table[:, 0:3], table[:, 3:6], table[:, 6:9] = points, part.normal, part.axes[0]
    table[:, 9], table[:, 10], table[:, 11] = area, detail, step
    return table
