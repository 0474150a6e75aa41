"""The vector drawing over the photo: what is traced, and of what kind."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum

from limewash.errors import InputError, did_you_mean
from limewash.geometry.path import Path2


class Kind(StrEnum):
    """What a traced path stands for on the house."""

    WINDOW = "window"
    DOOR = "door"
    GARAGE = "garage"
    ROOF_LINE = "roof-line"
    WALL = "wall"
    POST = "post"
    TRIM = "trim"
    STEP = "step"
    KEEP_DARK = "keep-dark"
    OTHER = "other"


class Surface(StrEnum):
    """Which side of a traced line belongs to the surface that the line lies on.

    Left and right are as seen when walking along the path from its start. Without a word from the person the
    transfer decides by itself; see `limewash.facade.transfer`.
    """

    INSIDE = "inside"
    OUTSIDE = "outside"
    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True)
class Traced:
    """One path of the tracing: an area when its path is closed, an outline when it is open.

    Attributes
    ----------
    id : str
        Unique in its tracing.
    kind : Kind
    path : Path2
        In photo pixels (pixel centres are integers). [px]
    title : str
        The person's name for it, may be empty.
    surface : Surface, optional
        The person's word on which side of the line the scan is to be trusted.
    group : str
        Name of the group that it belongs to, such as "Porch"; may be empty.
    locked : bool
        Whether the person wants it left as it is.
    """

    id: str
    kind: Kind
    path: Path2
    title: str = ""
    surface: Surface | None = None
    group: str = ""
    locked: bool = False

    @property
    def is_area(self) -> bool:
        return self.path.closed


@dataclass(frozen=True)
class Tracing:
    """All that is traced on one photo, in drawing order; `size` is the photo's (width, height) [px]."""

    size: tuple[int, int]
    items: tuple[Traced, ...] = field(default_factory=tuple)

    def __post_init__(self) -> None:
        seen: set[str] = set()
        for item in self.items:
            if item.id in seen:
                raise InputError(f"two paths of the tracing have the id {item.id!r}; give each its own")
            seen.add(item.id)

    def of_kind(self, kind: Kind) -> tuple[Traced, ...]:
        return tuple(item for item in self.items if item.kind is kind)


def parse_kind(word: str, *, where: str) -> Kind:
    """Read a kind as a person may have written it (case and spaces do not matter).

    Raises InputError naming `where` and the nearest allowed kind.
    """
    plain = _plain(word)
    try:
        return Kind(plain)
    except ValueError:
        names = [kind.value for kind in Kind]
        raise InputError(f"{where}: unknown kind {word!r}{did_you_mean(plain, names)}") from None


def parse_surface(word: str, *, where: str, closed: bool) -> Surface:
    """Read a `data-surface` word.

    Raises InputError naming `where` if there is no such word, or an outline is given a side of an area.
    """
    plain = _plain(word)
    names = [surface.value for surface in Surface]
    if plain not in names:
        raise InputError(f"{where}: unknown surface {word!r}{did_you_mean(plain, names)}")
    surface = Surface(plain)
    if not closed and surface in (Surface.INSIDE, Surface.OUTSIDE):
        raise InputError(f"{where}: surface {plain!r} is for closed paths; an open one takes 'left' or 'right'")
    return surface


def _plain(word: str) -> str:
    return re.sub(r"[\s_]+", "-", word.strip().lower())
