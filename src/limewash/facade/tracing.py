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


@dataclass(frozen=True)
class Traced:
    """One path of the tracing: an area when its path is closed, an outline when it is open."""

    id: str
    kind: Kind
    path: Path2
    title: str = ""

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
    plain = re.sub(r"[\s_]+", "-", word.strip().lower())
    try:
        return Kind(plain)
    except ValueError:
        names = [kind.value for kind in Kind]
        raise InputError(f"{where}: unknown kind {word!r}{did_you_mean(plain, names)}") from None
