"""Building the map from transferred paths."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.fill import cover_of
from limewash.facade.house_map import HouseMap, MapPath, Mask
from limewash.facade.tracing import Kind
from limewash.facade.transfer import TransferredPath

MOST_AREAS = 65_535
"""Labels must fit a 16-bit picture."""


def build_map(transferred: Sequence[TransferredPath], projector_size: tuple[int, int]) -> HouseMap:
    """Lay out transferred paths as lines, labelled areas and masks.

    Parameters
    ----------
    transferred : sequence of TransferredPath
    projector_size : (int, int)
        Native width and height. [px]

    Returns
    -------
    house_map : HouseMap
        Areas are labelled 1, 2, ... in drawing order. A pixel belongs to the smallest area that covers at least
        half of it, keep-dark areas before all others.

    Raises
    ------
    InputError
        If there are no paths, or too many.
    """
    if not transferred:
        raise InputError("the tracing has no paths; trace at least one window, door or roof line")
    lines: list[MapPath] = []
    masks: dict[str, Mask] = {}
    for item in transferred:
        points = _without_repeats(item.points, closed=item.closed)
        label = len(masks) + 1 if item.closed else 0
        lines.append(MapPath(item.id, item.kind, item.title, item.closed, points, label, item.quality))
        if item.closed:
            masks[item.id] = Mask(*cover_of([points], projector_size))
    if len(masks) > MOST_AREAS:
        raise InputError(f"the tracing has {len(masks)} areas, allowed are {MOST_AREAS}")
    return HouseMap(projector_size, tuple(lines), _label_image(lines, masks, projector_size), masks)


def _label_image(lines: list[MapPath], masks: dict[str, Mask], size: tuple[int, int]) -> NDArray[np.int32]:
    labels = np.zeros((size[1], size[0]), dtype=np.int32)
    areas = [item for item in lines if item.closed]
    for item in sorted(areas, key=lambda a: (a.kind is Kind.KEEP_DARK, -int(masks[a.id].cover.sum(dtype=np.int64)))):
        mask = masks[item.id]
        height, width = mask.cover.shape
        labels[mask.top : mask.top + height, mask.left : mask.left + width][mask.cover >= 128] = item.label
    return labels


def _without_repeats(points: NDArray[np.float64], *, closed: bool) -> NDArray[np.float64]:
    """Without points that equal the one before (a closed chain's first follows its last)."""
    before = np.roll(points, 1, axis=0)
    moved = np.any(points != before, axis=1)
    moved[0] = moved[0] if closed and len(points) > 1 else True
    return points[moved] if moved.any() else points[:1]
