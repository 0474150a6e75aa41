"""A virtual house traced as a hand would: each corner clicked a little beside its place, then settled on the photo."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from limewash.facade.snap import settle_tracing
from limewash.facade.tracing import Traced, Tracing
from limewash.facade.transfer import transfer
from limewash.geometry.path import Arc, Line, Path2, Segment
from limewash.geometry.path_flatten import flatten
from limewash.light.colour import decode_srgb
from limewash.scan.correspondence import Correspondence
from limewash.world.develop import develop
from limewash.world.features import Edge, Feature, Round, picture_path
from limewash.world.virtual import VirtualHouse
from shown_edges import shows

Array = NDArray[np.float64]

NEAR_CORNER_PX = 4.0


@dataclass(frozen=True, eq=False)
class Side:
    """One true edge of a feature: in the photo, in the projector's picture, and whether the photo shows it."""

    photo: Path2
    tree: cKDTree
    shows: bool


@dataclass(frozen=True, eq=False)
class Front:
    """A house front that can be traced: its photo by the projector's light, its exact scan, its edges."""

    photo: NDArray[np.uint8]
    scan: Correspondence
    features: list[Feature]
    sides: dict[str, list[Side]]


@dataclass(frozen=True, eq=False)
class Apart:
    """Distances to the true edges in projector pixels: along edges that show in the photo, and along all."""

    shown_px: Array
    all_px: Array

    @property
    def rmse_px(self) -> float:
        return float(np.sqrt(np.mean(self.shown_px**2)))


def front_of(world: VirtualHouse) -> Front:
    """Look at a virtual house."""
    photo = develop(world.view().picture(np.full((1080, 1920), 255, np.uint8)))
    light = decode_srgb(photo / 255.0)
    sides = {feature.id: [_side(edge, world, light) for edge in feature.edges] for feature in world.features()}
    return Front(photo, world.truth(), world.features(), sides)


def _side(edge: Edge, world: VirtualHouse, light: Array) -> Side:
    photo, lit = (picture_path((edge,), device, closed=False) for device in (world.camera, world.projector))
    return Side(photo, cKDTree(flatten(lit, tolerance_px=0.01, step_px=0.25).points), shows(edge, world, light))


def by_hand(front: Front, seed: int, *, hand_px: float = 2.0) -> Tracing:
    """Every feature clicked corner by corner, half-rounds also at the top, with normal noise along x and y."""
    rng = np.random.default_rng(seed)
    items = [
        Traced(f.id, f.kind, _clicked(f, [side.photo for side in front.sides[f.id]], rng, hand_px), f.title)
        for f in front.features
    ]
    return Tracing(front.scan.camera_size, tuple(items))


def _clicked(feature: Feature, sides: list[Path2], rng: np.random.Generator, hand_px: float) -> Path2:
    def click(p: tuple[float, float]) -> tuple[float, float]:
        x, y = np.asarray(p) + rng.normal(0.0, hand_px, 2)
        return float(x), float(y)

    corners = [click(side.start) for side in sides]
    corners.append(corners[0] if feature.closed else click(sides[-1].end))
    segments: list[Segment] = []
    for edge, side, a, b in zip(feature.edges, sides, corners[:-1], corners[1:], strict=True):
        if isinstance(edge, Round):
            segments.append(_half_round(a, b, click(side.segments[len(side.segments) // 2].start)))
        else:
            segments.append(Line(a, b))
    return Path2(tuple(segments), feature.closed)


def _half_round(a: tuple[float, float], b: tuple[float, float], top: tuple[float, float]) -> Arc:
    """As the board's tool makes it from the two ends and the top."""
    across, rise = np.subtract(b, a), np.subtract(top, np.add(a, b) / 2.0)
    radii = (float(np.hypot(*across)) / 2.0, float(np.hypot(*rise)))
    turn_deg = float(np.degrees(np.arctan2(across[1], across[0])))
    return Arc(a, b, radii, turn_deg, large=False, sweep=bool(across[0] * rise[1] - across[1] * rise[0] < 0.0))


def settled(front: Front, drawn: Tracing, *, reach_px: float = 6.0) -> Tracing:
    """All paths moved onto the photo's edges together."""
    done = settle_tracing(front.photo, drawn, reach_px=reach_px)
    return Tracing(drawn.size, tuple(replace(i, path=d.path) for i, d in zip(drawn.items, done, strict=True)))


def apart(front: Front, tracing: Tracing) -> Apart:
    """From every second projector pixel along the transferred paths to the nearest true edge of their own feature.

    Within four pixels of a corner, where two edges are near, it is not known which one was meant; those are left out.
    """
    shown, every = [], []
    for path in transfer(tracing, front.scan):
        sides = front.sides[path.id]
        points = _even(np.asarray(path.points), path.closed, front.scan.projector_size)
        distances = np.stack([side.tree.query(points)[0] for side in sides], axis=1)
        ranked = np.sort(distances, axis=1)
        clear = ranked[:, 1] > NEAR_CORNER_PX if len(sides) > 1 else np.ones(len(points), dtype=bool)
        shows = np.array([side.shows for side in sides])[distances.argmin(axis=1)]
        every.append(ranked[clear, 0])
        shown.append(ranked[clear & shows, 0])
    return Apart(np.concatenate(shown), np.concatenate(every))


def _even(points: Array, closed: bool, size: tuple[int, int]) -> Array:
    points = points[np.isfinite(points).all(axis=1)]
    if closed:
        points = np.vstack([points, points[:1]])
    reach = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.arange(0.0, reach[-1], 2.0)
    even = np.column_stack([np.interp(at, reach, points[:, 0]), np.interp(at, reach, points[:, 1])])
    return np.asarray(even[((even >= 0.0) & (even <= np.array(size) - 1.0)).all(axis=1)])
