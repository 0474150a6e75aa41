"""Two changes of one thing from the same start, laid together: only what both changed differently must be asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import pairwise
from typing import Any, Literal

Side = Literal["mine", "theirs"]
NAMES = ("name", "what")
"""Fields that tell the things of a list apart."""


@dataclass(frozen=True)
class Clash:
    """A field that both changed: `where` in the merged value, what each has there; None is "not given"."""

    where: str
    mine: Any
    theirs: Any


def merged(base: Any, mine: Any, theirs: Any, decided: Mapping[str, Side] | None = None) -> tuple[Any, list[Clash]]:
    """Lay two changes of a value together, field by field; a pair of numbers, such as a size, is one field.

    Parameters
    ----------
    base, mine, theirs : plain values as of JSON
        The common start and what became of it here and there.
    decided : mapping, optional
        Whose value counts where both changed a field, by its place.

    Returns
    -------
    value : plain value
        With both changes; where they clash undecided, theirs.
    clashes : list of Clash
        Fields that both changed, each to something else, and that nobody has decided.
    """
    merge = _Merge(decided or {})
    return merge.value(base, mine, theirs, ""), merge.clashes


class _Merge:
    """One merge while it goes down into the values."""

    def __init__(self, decided: Mapping[str, Side]) -> None:
        self.decided = decided
        self.clashes: list[Clash] = []

    def value(self, base: Any, mine: Any, theirs: Any, where: str) -> Any:
        if mine in (base, theirs):
            return theirs
        if theirs == base:
            return mine
        if all(isinstance(one, dict) for one in (base, mine, theirs)):
            return self._fields(base, mine, theirs, where)
        if all(_is_things(one) for one in (base, mine, theirs)):
            found = self._things(base, mine, theirs, where)
            if found is not None:
                return found
        if where in self.decided:
            return mine if self.decided[where] == "mine" else theirs
        self.clashes.append(Clash(where, mine, theirs))
        return theirs

    def _fields(self, base: Any, mine: Any, theirs: Any, where: str) -> dict[str, Any]:
        before = f"{where}." if where else ""
        keys = [*theirs, *(key for key in mine if key not in theirs)]
        return {key: self.value(base.get(key), mine.get(key), theirs.get(key), before + key) for key in keys}

    def _things(self, base: Any, mine: Any, theirs: Any, where: str) -> list[Any] | None:
        """Things of a list by their places where none came or went, else by their names; None when they have none."""
        if len(base) == len(mine) == len(theirs):
            threes = zip(base, mine, theirs, strict=True)
            return [self.value(*three, f"{where}.{n}") for n, three in enumerate(threes)]
        was, here, there = (_by_name(some) for some in (base, mine, theirs))
        if was is None or here is None or there is None:
            return None
        # What they took out and was changed here is asked for as well, though it stands nowhere in theirs.
        names = [*there, *(name for name in here if name not in there)]
        found = [self.value(was.get(name), here.get(name), there.get(name), f"{where}.{name}") for name in names]
        return [one for one in found if one is not None]


def _is_things(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) for one in value)


def _by_name(things: Sequence[dict[str, Any]]) -> dict[str, dict[str, Any]] | None:
    found = {next((str(one[key]) for key in NAMES if key in one), ""): one for one in things}
    return found if len(found) == len(things) and "" not in found else None


def merged_text(base: str, mine: str, theirs: str) -> str | None:
    """Lay two changes of a text together, line by line; None where both changed the same lines, or lines that touch."""
    lines = [text.splitlines(keepends=True) for text in (base, mine, theirs)]
    found: list[str] = []
    for was, here, there in _pieces(*lines):
        if here not in (was, there) and there != was:
            return None
        found += there if here == was else here
    return "".join(found)


def _pieces(base: list[str], mine: list[str], theirs: list[str]) -> Iterator[tuple[list[str], list[str], list[str]]]:
    """The texts cut where a line is the same in all three: pieces that are changed, and the lines between them."""
    here, there = _places(base, mine), _places(base, theirs)
    same = [n for n in range(len(base)) if n in here and n in there]
    cuts = [(-1, -1, -1), *((n, here[n], there[n]) for n in same), (len(base), len(mine), len(theirs))]
    for (a, b, c), (d, e, f) in pairwise(cuts):
        yield base[a + 1 : d], mine[b + 1 : e], theirs[c + 1 : f]
        yield base[d : d + 1], mine[e : e + 1], theirs[f : f + 1]


def _places(base: list[str], other: list[str]) -> dict[int, int]:
    """Where each unchanged line of the start stands in what became of it."""
    blocks = SequenceMatcher(None, base, other, autojunk=False).get_matching_blocks()
    return {block.a + k: block.b + k for block in blocks for k in range(block.size)}
