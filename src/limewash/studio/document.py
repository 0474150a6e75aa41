"""One thing that people edit, with revisions and steps that can be taken back."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Generic, TypeVar

from limewash.errors import InputError

T = TypeVar("T")

MOST_STEPS = 1000
MOST_PAST = 200
"""So many revisions back, a change that was made from one can be laid together with those since."""


class ConflictError(InputError):
    """The thing has moved on since the page last saw it: nothing was changed."""


@dataclass(frozen=True)
class Step(Generic[T]):
    """A change: what was done, in words, and the value before it; `hold` names the movement of a hand that it is of."""

    what: str
    before: T
    hold: str = ""


class Document(Generic[T]):
    """A value that cannot change unseen: each change has a new revision and can be undone.

    Revisions grow for ever, across restarts too (they begin at the clock's milliseconds), so that a page left
    open from yesterday can never take an old revision for the present one.
    """

    def __init__(self, value: T) -> None:
        self.value = value
        self.revision = time.time_ns() // 1_000_000
        self._done: list[Step[T]] = []
        self._undone: list[Step[T]] = []
        self._past = {self.revision: value}

    @property
    def can_undo(self) -> str | None:
        """What undo would take back; None when there is nothing."""
        return self._done[-1].what if self._done else None

    @property
    def can_redo(self) -> str | None:
        """What redo would do again."""
        return self._undone[-1].what if self._undone else None

    def change(self, value: T, what: str, hold: str = "") -> None:
        """Replace the value as one step, or as more of the last one when both are of one `hold`."""
        if not (hold and self._done and self._done[-1].hold == hold):
            self._done.append(Step(what, self.value, hold))
            del self._done[:-MOST_STEPS]
        self._undone.clear()
        self._set(value)

    def undo(self) -> None:
        """Take the last step back. Raises InputError when there is none."""
        self._move(self._done, self._undone, "nothing to undo")

    def redo(self) -> None:
        """Do again what was undone. Raises InputError when there is nothing."""
        self._move(self._undone, self._done, "nothing to do again")

    def check_seen(self, revision: int, since: int | None = None) -> None:
        """Refuse a change by a page that has not seen the newest state.

        Parameters
        ----------
        revision : int
            The newest that the page has seen.
        since : int, optional
            Last revision that touched what is to be changed; the document's when left out.

        Raises
        ------
        ConflictError
            If the page is behind, or ahead of a revision that exists.
        """
        if revision < (self.revision if since is None else since) or revision > self.revision:
            raise ConflictError("this was changed in another window meanwhile; look at it, then repeat your change")

    def at(self, revision: int) -> T | None:
        """The value at a revision that a page has seen; None when that is long ago."""
        return self._past.get(revision)

    def _move(self, source: list[Step[T]], target: list[Step[T]], empty: str) -> None:
        if not source:
            raise InputError(empty)
        step = source.pop()
        target.append(Step(step.what, self.value, step.hold))
        self._set(step.before)

    def _set(self, value: T) -> None:
        self.value = value
        self.revision += 1
        self._past[self.revision] = value
        if len(self._past) > MOST_PAST:
            del self._past[next(iter(self._past))]
