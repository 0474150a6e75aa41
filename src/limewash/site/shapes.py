"""Shapes that stay sound when they are cut and moved."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

Array = NDArray[np.float64]


def moved(shape: BaseGeometry, to: Callable[[Array], Array]) -> BaseGeometry:
    """The shape with its points (N, 2) put elsewhere. Rounding may let edges that touch cross: that is mended."""
    if shape.is_empty:
        return shape
    there: BaseGeometry = shapely.transform(shape, to)
    return there if there.is_valid else areas_only(shapely.make_valid(there))


def areas_only(shape: BaseGeometry) -> BaseGeometry:
    """Without the stray lines and points that cutting leaves."""
    if shape.geom_type == "GeometryCollection":
        return shapely.union_all([g for g in shape.geoms if g.geom_type in ("Polygon", "MultiPolygon")])
    return shape if shape.geom_type in ("Polygon", "MultiPolygon") else Polygon()
