"""Posts that the scan does not show: they stand in a row with those that it does."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from limewash.facade.front import Front
from limewash.facade.plane_fit import PlaneFit
from limewash.facade.sides import LEAST_SUPPORT, Sides
from limewash.facade.surfaces import Surfaces
from limewash.facade.tracing import Kind

Array = NDArray[np.float64]

RUNS_ON = 0.6
"""A plane that is seen on both sides of so much of the line has no edge there. [-]"""


def is_post(sides: Sides) -> bool:
    """Whether a path is a post drawn as an area."""
    return sides.item.kind is Kind.POST and sides.strip.closed


def is_hidden(sides: Sides, surfaces: Surfaces) -> bool:
    """Whether the chosen plane runs on across the line: then it is something that stands before the post."""
    there = sides.support(surfaces.planes[int(surfaces.labels[0])]) >= LEAST_SUPPORT
    inside = there[:, sides.inside]
    return not inside.any() or float(there[inside].all(axis=1).mean()) > RUNS_ON


def row_of_posts(posts: Iterable[tuple[Sides, Surfaces]], front: Front) -> PlaneFit | None:
    """The plane, parallel to the front, of all posts that are seen; None if none is."""
    depths = [
        float(np.median(front.depths(sides.straight, surfaces.planes[int(surfaces.labels[0])].map(sides.straight))))
        for sides, surfaces in posts
        if not is_hidden(sides, surfaces)
    ]
    return front.plane(float(np.median(depths))) if depths else None


def laid_on(sides: Sides, plane: PlaneFit) -> Surfaces:
    """A path that lies on a plane of which nothing is seen beside it."""
    return Surfaces(
        planes=[plane],
        labels=np.zeros(sides.count, dtype=np.intp),
        station_px=sides.strip.length_px / sides.count,
        used=np.zeros(len(sides.source), dtype=np.bool_),
        residual_px=0.0,
    )
