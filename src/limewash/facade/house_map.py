"""The map: the tracing in the projector's native pixels, as lines, areas and masks."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError, did_you_mean
from limewash.facade.quality import TransferQuality
from limewash.facade.tracing import Kind


@dataclass(frozen=True, eq=False)
class MapPath:
    """One traced path in projector pixels.

    Attributes
    ----------
    id, kind, title
        As in the tracing.
    closed : bool
        True for an area, False for an outline.
    points : ndarray of float64 and shape (N, 2)
        Its line through projector pixels (x, y; pixel centres are integers), curves flattened to within
        0.05 px. The first point of a closed path is NOT repeated at the end. [px]
    label : int
        Its number in `HouseMap.areas`; 0 for an outline. [-]
    quality : TransferQuality, optional
        How well it rests on the scan.
    """

    id: str
    kind: Kind
    title: str
    closed: bool
    points: NDArray[np.float64]
    label: int = 0
    quality: TransferQuality | None = None


@dataclass(frozen=True, eq=False)
class Mask:
    """Anti-aliased cover of one area, cut to its bounding box.

    Attributes
    ----------
    left, top : int
        Projector pixel of the first entry of `cover`. [px]
    cover : ndarray of uint8 and shape (h, w)
        0 outside to 255 inside: the share of each pixel's square that the area covers. (0, 0) if the whole area
        lies outside the picture.
    """

    left: int
    top: int
    cover: NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class HouseMap:
    """The whole house in projector pixels.

    Attributes
    ----------
    size : (int, int)
        The projector's native width and height. [px]
    lines : tuple of MapPath
        Every traced path, outlines and areas, in drawing order.
    areas : ndarray of int32 and shape (H, W)
        Label of the area that owns each pixel, 0 where there is none. Larger areas are laid first, so that a
        window lies over its wall. Keep-dark areas have labels too and lie over everything.
    masks : dict of str to Mask
        The full cover of each area by its id (a window is not cut out of its wall here).
    """

    size: tuple[int, int]
    lines: tuple[MapPath, ...]
    areas: NDArray[np.int32]
    masks: dict[str, Mask] = field(default_factory=dict)

    def line(self, path_id: str) -> MapPath:
        """The path of that id. Raises InputError naming the nearest one if there is none."""
        for item in self.lines:
            if item.id == path_id:
                return item
        raise InputError(f"the map has no path {path_id!r}{did_you_mean(path_id, [p.id for p in self.lines])}")

    def of_kind(self, *kinds: Kind) -> tuple[MapPath, ...]:
        """All paths of these kinds, in drawing order."""
        return tuple(item for item in self.lines if item.kind in kinds)

    def cover(self, path_id: str) -> NDArray[np.uint8]:
        """Cover of one area over the whole picture, uint8 of shape (H, W), 0 to 255."""
        item = self.line(path_id)
        if not item.closed:
            raise InputError(f"{path_id!r} is an outline, not an area: it has no mask")
        return self._pasted([self.masks[path_id]])

    @property
    def keep_dark(self) -> NDArray[np.uint8]:
        """Where no light may go: greatest cover of all keep-dark areas, uint8 of shape (H, W), 0 to 255."""
        return self._pasted([self.masks[p.id] for p in self.of_kind(Kind.KEEP_DARK) if p.closed])

    def _pasted(self, masks: list[Mask]) -> NDArray[np.uint8]:
        whole = np.zeros((self.size[1], self.size[0]), dtype=np.uint8)
        for mask in masks:
            height, width = mask.cover.shape
            part = whole[mask.top : mask.top + height, mask.left : mask.left + width]
            np.maximum(part, mask.cover, out=part)
        return whole
