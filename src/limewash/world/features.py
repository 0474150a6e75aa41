"""What one would trace on a house: exact in metres, in camera pixels and in projector pixels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.geometry.device import Device
from limewash.geometry.path import Cubic, Line, Path2, Point, Segment
from limewash.world.blocks import post_span, roof_lines, step_spans, traced_wall, visible_edge
from limewash.world.model import Block, Door, GarageDoor, House, Opening, Porch
from limewash.world.openings import is_half_round, lintel_span, traced_outline, traced_z_m

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Straight:
    """A straight edge between two world points. [m]"""

    start_m: tuple[float, float, float]
    end_m: tuple[float, float, float]

    def at(self, share: ArrayLike) -> Array:
        """Points (..., 3) at shares (...) of the way."""
        t = np.asarray(share, dtype=np.float64)[..., None]
        return np.asarray(self.start_m) * (1.0 - t) + np.asarray(self.end_m) * t


@dataclass(frozen=True)
class Round:
    """A circular edge in a plane parallel to the wall. Angles run from x towards y. [m, rad]"""

    middle_m: tuple[float, float, float]
    radius_m: float
    start_rad: float
    end_rad: float

    def at(self, share: ArrayLike) -> Array:
        """Points (..., 3) at shares (...) of the way."""
        angle = self.start_rad + (self.end_rad - self.start_rad) * np.asarray(share, dtype=np.float64)
        unit = np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], axis=-1)
        return np.asarray(self.middle_m) + self.radius_m * unit


Edge = Straight | Round


@dataclass(frozen=True)
class Feature:
    """One traceable thing of the house.

    Windows, doors and garage doors are given by the outer edge of the boards around them, on the boards'
    front; where there are none, by the edge of the hole in the wall's plane. So the path runs along the edge
    of a surface that returns light, never on glass. Roof lines run along what ends the roof for those who look: the
    top of its boards, or the front rim of the gutter that hangs before them.

    Attributes
    ----------
    edges : tuple of Straight or Round
        In world metres; each starts where the last ended.
    camera, projector : Path2
        The same as they appear in the two pictures [px]: straight edges as lines, in pieces where the lens
        bends them by more than 0.02 px; round ones as cubic curves.
    """

    id: str
    title: str
    kind: Kind
    closed: bool
    edges: tuple[Edge, ...]
    camera: Path2
    projector: Path2


def features_of(house: House, camera: Device, projector: Device) -> list[Feature]:
    """All features of a house, large ones first."""
    found: list[Feature] = []

    def add(id_: str, title: str, kind: Kind, edges: tuple[Edge, ...], closed: bool) -> None:
        views = [picture_path(edges, device, closed=closed) for device in (camera, projector)]
        found.append(Feature(id_, title, kind, closed, edges, views[0], views[1]))

    for block in house.blocks:
        _add_block(block, add)
    for porch in house.porches:
        _add_porch(porch, add)
    for block in house.blocks:
        for opening in block.openings:
            edges = _opening_edges(opening, traced_z_m(opening, block.front_z_m))
            add(opening.id, opening.title, _kind(opening), edges, True)
            if opening.lintel_traced:
                across, up, proud = lintel_span(opening)
                stone = _upright(across, up, block.front_z_m + proud)
                add(f"{opening.id}-lintel", f"{opening.title}: lintel", Kind.TRIM, stone, True)
    return found


def tracing_of(features: list[Feature], size: tuple[int, int]) -> Tracing:
    """The features as a tracing on the camera's picture."""
    items = tuple(Traced(feature.id, feature.kind, feature.camera, feature.title) for feature in features)
    return Tracing(size, items)


Adder = Callable[[str, str, Kind, tuple[Edge, ...], bool], None]


def _add_block(block: Block, add: Adder) -> None:
    wall = [(x, y, block.front_z_m) for x, y in traced_wall(block)]
    add(f"{block.id}-wall", f"{block.title}: wall", Kind.WALL, _chain(wall, closed=True), True)
    lines = roof_lines(block.x_m, block.front_z_m, block.depth_m, block.eaves_y_m, block.roof)
    edge = visible_edge(lines, block.roof)
    if block.roof.gable == "side" and block.traced_x_m is not None:
        for end, traced, whole in zip(edge, block.traced_x_m, block.x_m, strict=True):
            end[0] = end[0] if traced == whole else traced
    add(f"{block.id}-roof-line", f"{block.title}: roof line", Kind.ROOF_LINE, _chain(edge, closed=False), False)


def _add_porch(porch: Porch, add: Adder) -> None:
    front = porch.wall_z_m + porch.depth_m
    top = porch.beam_y_m + porch.beam_m
    if porch.roof.gable == "front":
        edge = visible_edge(roof_lines(porch.x_m, front, porch.depth_m, top, porch.roof), porch.roof)
    else:
        x = (porch.x_m[0] - porch.roof.rake_m, porch.x_m[1] + porch.roof.rake_m)
        edge = np.array([(end, top + 0.06, front + porch.roof.overhang_m + 0.03) for end in x])
    add(f"{porch.id}-roof-line", f"{porch.title}: roof line", Kind.ROOF_LINE, _chain(edge, closed=False), False)
    x = (porch.x_m[0] + 0.05, porch.x_m[1] - 0.05)
    beam = _upright(x, (porch.beam_y_m, top), front - 0.03)
    add(f"{porch.id}-beam", f"{porch.title}: beam", Kind.TRIM, beam, True)
    for number, middle in enumerate(porch.posts_x_m, start=1):
        span_x, span_y, z = post_span(porch, middle)
        add(f"{porch.id}-post-{number}", f"{porch.title}: post {number}", Kind.POST, _upright(span_x, span_y, z), True)
    for number, (_, high, _, z) in enumerate(step_spans(porch), start=1):
        ends = [(end, high, z) for end in porch.steps_x_m]
        add(f"{porch.id}-step-{number}", f"{porch.title}: step {number}", Kind.STEP, _chain(ends, closed=False), False)


def _kind(opening: Opening) -> Kind:
    if isinstance(opening, Door):
        return Kind.DOOR
    return Kind.GARAGE if isinstance(opening, GarageDoor) else Kind.WINDOW


def _opening_edges(opening: Opening, z: float) -> tuple[Edge, ...]:
    if not is_half_round(opening):
        return _chain([(x, y, z) for x, y in traced_outline(opening)], closed=True)
    radius = opening.width_m / 2 + opening.casing_m
    left, right = opening.middle_x_m - radius, opening.middle_x_m + radius
    foot, spring = opening.sill_y_m - opening.casing_m, opening.sill_y_m
    arch = Round((opening.middle_x_m, spring, z), radius, 0.0, np.pi)
    if opening.casing_m == 0.0:
        return Straight((left, spring, z), (right, spring, z)), arch
    return (
        Straight((left, foot, z), (right, foot, z)),
        Straight((right, foot, z), (right, spring, z)),
        arch,
        Straight((left, spring, z), (left, foot, z)),
    )


def _upright(x: tuple[float, float], y: tuple[float, float], z: float) -> tuple[Edge, ...]:
    return _chain([(x[0], y[0], z), (x[1], y[0], z), (x[1], y[1], z), (x[0], y[1], z)], closed=True)


def _chain(points: ArrayLike, *, closed: bool) -> tuple[Edge, ...]:
    corners = [(float(p[0]), float(p[1]), float(p[2])) for p in np.asarray(points, dtype=np.float64)]
    if closed:
        corners.append(corners[0])
    return tuple(Straight(a, b) for a, b in pairwise(corners))


def picture_path(edges: tuple[Edge, ...], device: Device, *, closed: bool) -> Path2:
    """Edges in metres as they appear in a device's picture [px]."""
    segments: list[Segment] = []
    for edge in edges:
        segments += _lines(edge, device) if isinstance(edge, Straight) else _cubics(edge, device)
    return Path2(tuple(segments), closed)


def _lines(edge: Straight, device: Device, tolerance_px: float = 0.02) -> list[Segment]:
    """As many equal pieces as keep the chords this close to what the lens makes of the edge."""
    pieces = 1
    bent = any(device.distortion)  # without it the middle moves along the edge, but the edge stays straight
    while True:
        ends = device.project(edge.at(np.linspace(0.0, 1.0, pieces + 1)))
        middles = device.project(edge.at((np.arange(pieces) + 0.5) / pieces))
        if np.abs(middles - 0.5 * (ends[:-1] + ends[1:])).max() <= tolerance_px or not bent:
            points = [_point(p) for p in ends]
            return [Line(a, b) for a, b in pairwise(points)]
        pieces *= 2


def _cubics(edge: Round, device: Device, pieces: int = 12) -> list[Segment]:
    """Cubic curves with the true ends and the true directions there."""
    share = np.linspace(0.0, 1.0, pieces + 1)
    ends = device.project(edge.at(share))
    h = 1e-4
    slope = (device.project(edge.at(share + h)) - device.project(edge.at(share - h))) / (2 * h)
    reach = slope / pieces / 3.0
    return [
        Cubic(_point(ends[i]), _point(ends[i] + reach[i]), _point(ends[i + 1] - reach[i + 1]), _point(ends[i + 1]))
        for i in range(pieces)
    ]


def _point(xy: Array) -> Point:
    return float(xy[0]), float(xy[1])
