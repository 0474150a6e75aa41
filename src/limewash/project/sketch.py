"""Flat shapes in the world, as a person measures them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator
from shapely.geometry import Polygon
from shapely.validation import explain_validity

from limewash.project.lengths import Length, PositiveLength
from limewash.project.toml_models import TomlModel

_SMALLEST_M2 = 1e-4
_FLAT_M = 0.02
"""How far a corner may lie off the plane of the others: more than a tape's error is another shape."""


class Sketch(TomlModel):
    """A flat shape, given in one of three ways.

    `rectangle` is left, bottom, width, height and `polygon` a list of corners [x, height], both upright and
    parallel to the wall, `forward_m` in front of it; `corners` is a list of [x, height, distance] for what
    leans or is turned.
    """

    rectangle: tuple[Length, Length, PositiveLength, PositiveLength] | None = None
    polygon: Annotated[tuple[tuple[Length, Length], ...], Field(min_length=3)] | None = None
    corners: Annotated[tuple[tuple[Length, Length, Length], ...], Field(min_length=3)] | None = None
    forward_m: Length = 0.0

    @model_validator(mode="after")
    def _is_one_flat_shape(self) -> Self:
        given = [k for k in ("rectangle", "polygon", "corners") if getattr(self, k) is not None]
        if len(given) != 1:
            raise ValueError(
                "give one of rectangle = [left, bottom, width, height], polygon = [[x, height], ...] or "
                f"corners = [[x, height, distance], ...] (got {', '.join(given) or 'none'})"
            )
        if self.polygon is not None:
            checked_polygon(self.polygon, key="polygon")
        if self.corners is not None:
            _check_flat(np.array(self.corners))
            if self.forward_m:
                raise ValueError("forward_m must be 0 beside corners, which carry their own distance")
        return self

    def corners_m(self) -> NDArray[np.float64]:
        """The corners in the world, shape (N, 3). [m]"""
        if self.corners is not None:
            return np.array(self.corners, dtype=np.float64)
        if self.rectangle is not None:
            left, bottom, width, height = self.rectangle
            right, top = left + width, bottom + height
            flat = [(left, bottom), (right, bottom), (right, top), (left, top)]
        else:
            assert self.polygon is not None
            flat = list(self.polygon)
        return np.array([(x, y, self.forward_m) for x, y in flat], dtype=np.float64)


def checked_polygon(corners: Sequence[tuple[float, float]], *, key: str) -> None:
    """Refuse corners that cross or enclose nothing (ValueError, for pydantic)."""
    shape = Polygon(corners)
    if not shape.is_valid:
        raise ValueError(
            f"{key} must be a simple polygon, its corners in order around it ({explain_validity(shape).lower()})"
        )
    if shape.area < _SMALLEST_M2:
        raise ValueError(f"{key} must enclose more than {_SMALLEST_M2:g} m2 (got {shape.area:g})")


def _check_flat(corners_m: NDArray[np.float64]) -> None:
    centred = corners_m - corners_m.mean(axis=0)
    _, sizes, axes = np.linalg.svd(centred, full_matrices=False)
    if len(corners_m) > 3 and np.abs(centred @ axes[2]).max() > _FLAT_M:
        off = np.abs(centred @ axes[2]).max()
        raise ValueError(f"corners must lie in one plane to within {_FLAT_M:g} m (one is {off:.3f} m off it)")
    if sizes[1] < 1e-3:
        raise ValueError("corners must enclose an area, not lie on one line")
    checked_polygon([(float(u), float(v)) for u, v in centred @ axes[:2].T], key="corners")
