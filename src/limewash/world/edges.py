"""How far the edges of a map are from where the house's edges truly are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.map import HouseMap, MapPath
from limewash.geometry.path_flatten import flatten
from limewash.world.features import Feature

_STEP_PX = 0.5


@dataclass(frozen=True)
class EdgeAccuracy:
    """Distances between a map's edges and the true ones, in PROJECTOR pixels.

    Attributes
    ----------
    median_px, rmse_px, p95_px, worst_px : float
        Over points every half pixel along the true edges within the projector's picture, and along the map's.
    by_path : dict of str to (float, float)
        RMSE and worst of each path, by its title.
    """

    median_px: float
    rmse_px: float
    p95_px: float
    worst_px: float
    by_path: dict[str, tuple[float, float]]


def edge_accuracy(house_map: HouseMap, features: Sequence[Feature]) -> EdgeAccuracy:
    """Compare a map with the features of the house it was traced from; paths are matched by their id.

    The distance is taken both ways, from the truth to the map and from the map to the truth, so neither a
    missing corner nor a stray bulge goes unseen.

    Raises
    ------
    InputError
        If the map has no path of a feature's id.
    """
    lines = {line.id: line for line in house_map.lines}
    apart: dict[str, NDArray[np.float64]] = {}
    for feature in features:
        if feature.id not in lines:
            raise InputError(f"the map has no path {feature.id!r}; trace every feature of the house first")
        found = _distances(feature, lines[feature.id], house_map.size)
        if found.size:
            apart[feature.title] = found
    every = np.concatenate(list(apart.values())) if apart else np.full(1, np.nan)
    return EdgeAccuracy(
        median_px=float(np.median(every)),
        rmse_px=_rms(every),
        p95_px=float(np.percentile(every, 95)),
        worst_px=float(every.max()),
        by_path={title: (_rms(found), float(found.max())) for title, found in apart.items()},
    )


def _distances(feature: Feature, line: MapPath, size: tuple[int, int]) -> NDArray[np.float64]:
    true = _chain(flatten(feature.projector, tolerance_px=0.02).points, closed=feature.closed)
    mapped = _chain(line.points, closed=line.closed)
    there = shapely.distance(shapely.points(_inside(true, size)), mapped)
    back = shapely.distance(shapely.points(_inside(mapped, size)), true)
    return np.concatenate([there, back])


def _chain(points: NDArray[np.float64], *, closed: bool) -> shapely.LineString:
    if closed and not np.array_equal(points[0], points[-1]):
        points = np.vstack([points, points[:1]])
    return shapely.LineString(points)


def _inside(chain: shapely.LineString, size: tuple[int, int]) -> NDArray[np.float64]:
    """Points every `_STEP_PX` along the chain that lie within the picture."""
    along = np.arange(0.0, chain.length, _STEP_PX)
    dense: NDArray[np.float64] = shapely.get_coordinates(shapely.line_interpolate_point(chain, along))
    x, y = dense.T
    inside: NDArray[np.float64] = dense[(x >= 0) & (x <= size[0] - 1) & (y >= 0) & (y <= size[1] - 1)]
    return inside


def _rms(values: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.mean(values**2)))
