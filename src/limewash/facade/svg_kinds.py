"""What kind of thing a drawn path is, from the words that a person put on it."""

from __future__ import annotations

import re
from collections.abc import Iterable

from limewash.facade.tracing import Kind

_WORDS: dict[str, Kind] = {
    "window": Kind.WINDOW,
    "pane": Kind.WINDOW,
    "skylight": Kind.WINDOW,
    "door": Kind.DOOR,
    "doorway": Kind.DOOR,
    "entrance": Kind.DOOR,
    "garage": Kind.GARAGE,
    "carport": Kind.GARAGE,
    "roof": Kind.ROOF_LINE,
    "roofline": Kind.ROOF_LINE,
    "eave": Kind.ROOF_LINE,
    "gable": Kind.ROOF_LINE,
    "ridge": Kind.ROOF_LINE,
    "gutter": Kind.ROOF_LINE,
    "wall": Kind.WALL,
    "facade": Kind.WALL,
    "siding": Kind.WALL,
    "post": Kind.POST,
    "column": Kind.POST,
    "pillar": Kind.POST,
    "trim": Kind.TRIM,
    "frame": Kind.TRIM,
    "moulding": Kind.TRIM,
    "molding": Kind.TRIM,
    "sill": Kind.TRIM,
    "step": Kind.STEP,
    "stair": Kind.STEP,
    "stairs": Kind.STEP,
    "dark": Kind.KEEP_DARK,
}


def kind_from_words(labels: Iterable[str]) -> Kind | None:
    """Guess a kind from ids, titles, labels and class names, most telling first; None if none says anything.

    In one label the last telling word counts ("window frame" is trim, "roof window" a window), but a
    "garage door" is a garage.
    """
    for label in labels:
        found = [_WORDS[word] for word in _plain_words(label) if word in _WORDS]
        if Kind.GARAGE in found:
            return Kind.GARAGE
        if found:
            return found[-1]
    return None


def readable(label: str) -> str:
    """Undo the way in which some editors spell other characters in an id: `front_x20_door` is `front door`."""
    return re.sub(r"_x([0-9A-Fa-f]{2,4})_", lambda m: chr(int(m.group(1), 16)), label)


def _plain_words(label: str) -> list[str]:
    apart = re.sub(r"([a-z])([A-Z])", r"\1 \2", readable(label))
    words = re.findall(r"[a-z]+", apart.lower())
    return [word if word in _WORDS else word.removesuffix("s") for word in words]
