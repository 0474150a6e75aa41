"""What effects may know about each projector pixel: the house's areas, edges, outlines and metres."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError, did_you_mean
from limewash.facade.map import HouseMap, MapPath, Mask
from limewash.facade.tracing import Kind
from limewash.show.lines import LineFields, line_fields, outline_of
from limewash.show.wall import Field, Wall

EVERYTHING = "everything"

K = TypeVar("K")
V = TypeVar("V")

_KEPT = 4


@dataclass(frozen=True)
class Selection:
    """Which paths of the map a cue is about.

    Attributes
    ----------
    ids : frozenset of str
        Paths that are in.
    whole : bool
        True if it began from everything: the bare wall between the areas is then in as well.
    """

    ids: frozenset[str]
    whole: bool = False


@dataclass(frozen=True, eq=False)
class Area:
    """One selected area: where it is on the wall.

    Attributes
    ----------
    centre_m, half_m : (float, float)
        Middle of its bounding box and half its width and height. [m]
    points_m : ndarray of shape (N, 2)
        Its edge. [m]
    """

    id: str
    kind: Kind
    centre_m: tuple[float, float]
    half_m: tuple[float, float]
    points_m: NDArray[np.float64]


class RegionFields:
    """Fields of shape (H, W) about the areas of one selection.

    Attributes
    ----------
    areas : tuple of Area
        From left to right.
    cover : ndarray of float32
        Share of the pixel that belongs to the region, 0 to 1; what lies on top is cut out.
    """

    def __init__(self, areas: tuple[Area, ...], cover: Field, owner: NDArray[np.int32]) -> None:
        self.areas = areas
        self.cover = cover
        self._owner = owner

    @cached_property
    def edge_px(self) -> Field:
        """Distance to the region's edge, positive inside, negative outside, float32 [px]."""
        return _signed_distance(self.cover > 0.5)

    @cached_property
    def which(self) -> NDArray[np.int32]:
        """The area that the pixel belongs to, else the nearest: index into `areas`, int32; -1 if there is none."""
        free = (self._owner < 0).astype(np.uint8)
        if not free.any() or free.all():
            return self._owner
        _, labels = cv2.distanceTransformWithLabels(free, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL)
        of_label = np.full(int(labels.max()) + 1, -1, dtype=np.int32)
        of_label[labels[free == 0]] = self._owner[free == 0]
        return np.asarray(of_label[labels], dtype=np.int32)


class Fields:
    """All fields of one house at one picture size, computed when first asked for and kept.

    Parameters
    ----------
    house_map : HouseMap
        The traced house in projector pixels.
    wall : Wall
        Its metres; of the same size.
    """

    def __init__(self, house_map: HouseMap, wall: Wall) -> None:
        if wall.size != house_map.size:
            raise InputError(
                f"the map is {house_map.size[0]} x {house_map.size[1]} pixels and the scan "
                f"{wall.size[0]} x {wall.size[1]}; export the map again from this scan"
            )
        self.house_map = house_map
        self.size = house_map.size
        self.wall = wall
        self._paths = tuple(p for p in house_map.lines if p.kind is not Kind.KEEP_DARK)
        self._regions: dict[Selection, RegionFields] = {}
        self._lines: dict[frozenset[str], LineFields] = {}

    @cached_property
    def pixel_m(self) -> Field:
        """Side of each pixel's square on the wall, float32 (H, W) [m]."""
        return self.wall.pixel_m()

    @cached_property
    def dark(self) -> NDArray[np.bool_]:
        """Pixels that a keep-dark area touches, (H, W)."""
        return self.house_map.keep_dark > 0

    @cached_property
    def house(self) -> Field:
        """Cover of the whole house front, 0 to 1: all areas where a wall is traced, else the whole picture."""
        if not any(p.closed for p in self.house_map.of_kind(Kind.WALL)):
            return np.ones((self.size[1], self.size[0]), dtype=np.float32)
        cover = np.zeros((self.size[1], self.size[0]), dtype=np.float32)
        for path in self._paths:
            if path.closed:
                inner, share = self._at(cover, path.id)
                inner += (1 - inner) * share
        return cover

    def select(self, words: Iterable[str]) -> Selection:
        """Read a cue's `where`: kinds ("windows"), ids ("window-3"), "everything", each with "not" before it.

        A kind that this house lacks selects nothing, so that one score suits many houses.

        Raises
        ------
        InputError
            For a word that is neither a kind nor a path of this map, or if nothing is selected.
        """
        given = list(words)
        ids: set[str] = set()
        whole = False
        if not given or given[0].strip().lower().startswith("not "):
            given.insert(0, EVERYTHING)
        for entry in given:
            word, negative = _plain(entry)
            found = self._named(word, entry)
            whole = whole or (word == EVERYTHING and not negative)
            ids = ids - found if negative else ids | found
        if not ids and not whole:
            raise InputError(f"this house's map has nothing that is {', '.join(repr(word) for word in given)}")
        return Selection(frozenset(ids), whole)

    def has_areas(self, selection: Selection) -> bool:
        """Whether there is anything to fill: an area, or the bare wall."""
        return selection.whole or any(p.closed and p.id in selection.ids for p in self._paths)

    def region(self, selection: Selection) -> RegionFields:
        """Fields about the selected areas; empty ones if only outlines are selected."""
        if selection not in self._regions:
            _make_room(self._regions)
            self._regions[selection] = self._compute_region(selection)
        return self._regions[selection]

    def lines(self, selection: Selection) -> LineFields:
        """Fields about the selected outlines and edges of areas, of which there must be one."""
        if selection.ids not in self._lines:
            _make_room(self._lines)
            chosen = tuple(outline_of(p, self.wall) for p in self._paths if p.id in selection.ids)
            self._lines[selection.ids] = line_fields(chosen, self.size)
        return self._lines[selection.ids]

    def reduced(self, factor: int) -> Fields:
        """The same house for a picture of 1/`factor` the width and height, for previews."""
        return Fields(_reduced_map(self.house_map, factor), self.wall.reduced(factor))

    def _named(self, word: str, entry: str) -> set[str]:
        if word == EVERYTHING:
            return {p.id for p in self._paths}
        by_id = {p.id.lower(): p.id for p in self._paths}
        if word in by_id:
            return {by_id[word]}
        kinds = {k.value: k for k in Kind if k is not Kind.KEEP_DARK}
        kinds |= {f"{name}s": kind for name, kind in kinds.items()}
        if word in kinds:
            return {p.id for p in self._paths if p.kind is kinds[word]}
        if word.startswith("keep-dark") or word in {p.id.lower() for p in self.house_map.of_kind(Kind.KEEP_DARK)}:
            raise InputError(f"{entry!r} is kept dark: no effect may light it")
        allowed = [EVERYTHING, *kinds, *by_id]
        raise InputError(f"this house's map has nothing called {entry!r}{did_you_mean(word, allowed)}")

    def _compute_region(self, selection: Selection) -> RegionFields:
        chosen = [p for p in self._paths if p.closed and p.id in selection.ids]
        cover = self.house.copy() if selection.whole else np.zeros_like(self.house)
        for path in sorted((p for p in self._paths if p.closed), key=self._extent, reverse=True):
            inner, share = self._at(cover, path.id)
            if path.id not in selection.ids:
                inner *= 1 - share  # what lies on top hides what is below, edge pixels in part
            elif selection.whole:
                np.maximum(inner, share, out=inner)  # it is in from the start, unless what is below was taken out
            else:
                inner += (1 - inner) * share
        areas = tuple(sorted((self._area(p) for p in chosen), key=lambda a: a.centre_m[0]))
        lookup = np.full(int(self.house_map.areas.max(initial=0)) + 1, -1, dtype=np.int32)
        for index, area in enumerate(areas):
            lookup[self.house_map.line(area.id).label] = index
        return RegionFields(areas, cover, lookup[self.house_map.areas])

    def _area(self, path: MapPath) -> Area:
        points = self.wall.at(path.points)
        low, high = points.min(axis=0), points.max(axis=0)
        centre, half = (low + high) / 2, np.maximum((high - low) / 2, 1e-3)
        return Area(path.id, path.kind, (float(centre[0]), float(centre[1])), (float(half[0]), float(half[1])), points)

    def _extent(self, path: MapPath) -> float:
        return float(self.house_map.masks[path.id].cover.sum(dtype=np.float64))

    def _at(self, whole: Field, path_id: str) -> tuple[Field, Field]:
        """The part of a whole-picture array around one area, as a view, and the area's cover there, 0 to 1."""
        mask = self.house_map.masks[path_id]
        height, width = mask.cover.shape
        inner = whole[mask.top : mask.top + height, mask.left : mask.left + width]
        return inner, mask.cover * np.float32(1 / 255)


def _make_room(kept: dict[K, V]) -> None:
    """Forget the oldest when many are kept: each holds several arrays of the picture's size."""
    while len(kept) >= _KEPT:
        del kept[next(iter(kept))]


def _plain(entry: str) -> tuple[str, bool]:
    """`"not Roof Line"` as `("roof-line", True)`."""
    words = entry.strip().lower().replace("_", " ").split()
    negative = bool(words) and words[0] == "not"
    return "-".join(words[1:] if negative else words), negative


def distance_px(mask: NDArray[np.uint8]) -> Field:
    """Distance of each pixel's centre to that of the nearest pixel that is 0, float32 [px].

    OpenCV's last bit depends on where in memory the picture lies. The square is a whole number, so rounding it
    gives the same bytes always (up to 1400 px; beyond, the last bit may still differ).
    """
    rough = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.sqrt(np.rint(np.square(rough, dtype=np.float64))).astype(np.float32)


def _signed_distance(inside: NDArray[np.bool_]) -> Field:
    """Distance to the border between inside and outside pixels, positive inside [px].

    The border runs half-way between the centres of the last pixel inside and the first outside.
    """
    height, width = inside.shape
    if inside.all() or not inside.any():
        far = np.float32(height + width)
        return np.full(inside.shape, far if inside.all() else -far, dtype=np.float32)
    mask = inside.astype(np.uint8)
    half = np.float32(0.5)
    return np.where(inside, distance_px(mask) - half, half - distance_px(1 - mask)).astype(np.float32)


def _reduced_map(house_map: HouseMap, factor: int) -> HouseMap:
    width, height = house_map.size[0] // factor, house_map.size[1] // factor
    lines = tuple(
        MapPath(p.id, p.kind, p.title, p.closed, (p.points + 0.5) / factor - 0.5, p.label) for p in house_map.lines
    )
    half = factor // 2
    areas = np.ascontiguousarray(house_map.areas[half::factor, half::factor][:height, :width])
    masks = {name: _reduced_mask(mask, factor, (width, height)) for name, mask in house_map.masks.items()}
    return HouseMap((width, height), lines, areas, masks)


def _reduced_mask(mask: Mask, factor: int, size: tuple[int, int]) -> Mask:
    left, top = mask.left // factor, mask.top // factor
    height, width = mask.cover.shape
    wide = -(-(mask.left + width) // factor) - left
    tall = -(-(mask.top + height) // factor) - top
    padded = np.zeros((tall * factor, wide * factor), dtype=np.uint8)
    y, x = mask.top - top * factor, mask.left - left * factor
    padded[y : y + height, x : x + width] = mask.cover
    small = cv2.resize(padded, (wide, tall), interpolation=cv2.INTER_AREA)
    return Mask(left, top, np.ascontiguousarray(small[: size[1] - top, : size[0] - left]))
