"""What can go wrong, and how it is said."""

from __future__ import annotations

import difflib
import os
import re
import shlex
from collections.abc import Iterable


class LimewashError(Exception):
    """Root of all errors that Limewash raises on purpose."""


class InputError(LimewashError, ValueError):
    """Something that the person can put right: says what is wrong, where, and what to do."""


def as_typed(word: object) -> str:
    """A word of a command as it must be typed: in quotes where it holds a space or what a shell reads as its own."""
    text, windows = str(word), os.name == "nt"
    if re.fullmatch(r"[\w./\\:+-]+" if windows else r"[\w./:+-]+", text):
        return text
    return shlex.quote(text) if not windows and re.search(r'[$`"\\!]', text) else f'"{text}"'


def did_you_mean(word: str, allowed: Iterable[str]) -> str:
    """A short tail for an error message about an unknown name.

    Parameters
    ----------
    word : str
        What was given.
    allowed : iterable of str
        What would have been accepted.

    Returns
    -------
    tail : str
        ``"; did you mean 'window'?"`` when one is close, else ``"; allowed: a, b, c"``.
    """
    names = list(allowed)
    close = difflib.get_close_matches(word, names, n=1)
    if close:
        return f"; did you mean {close[0]!r}?"
    return f"; allowed: {', '.join(names)}"
