"""How much of a clip passes before the pattern's start mark, told from a picture a second without decoding the rest.

People start the phone before the player, and the title card stands for a while: a third of a clip may be of no use.
Phones store about one picture a second whole (a keyframe) and of the others only what changed. While the title stands
those whole pictures are alike; once the pattern plays, few are like the one before.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from limewash.media.reading import ClipReader

Picture = NDArray[np.uint8]

_LEVEL = (1.0, 0.03)  # by which the mean must change: codes, and share of it
_APART = (2.0, 2.0)  # times what is usual that pixels must change, and codes on top [-, codes]
_RUN_S, _IN_RUN = 6.0, 4  # as many pictures must change within so long: that is a pattern, and no car
_ALIKE_S = 5.5  # within a mark, which lasts no longer, pictures may be alike by chance
_JUST_AHEAD_S = 0.3  # of the last picture of the title
_AHEAD_S = 4.3  # of what may be a black chip as well, where those do not stand out from a dark title: the whole mark
_CLOSEST_S = 0.2  # whole pictures that follow closer are no rarities: the codec stores all of them whole
_WORTH_S = 2.0  # of film at least, or it is not worth the trouble


def pattern_begins(reader: ClipReader, sparse: Callable[[Picture], Picture]) -> float:
    """A time that should lie before the start mark, from which to read on [s]; 0 where none can be told.

    It is a guess: who finds no pattern from there on must read from 0.

    Parameters
    ----------
    reader : ClipReader
        The clip.
    sparse : callable
        Gives a few pixels of a picture.
    """
    times: list[float] = []
    levels: list[float] = []
    apart: list[float] = []
    changes: list[float] = []
    last: NDArray[np.int16] | None = None
    for t_s, luma in reader.keyframes():
        now = sparse(luma).astype(np.int16)
        if times and t_s - times[-1] < _CLOSEST_S:
            return 0.0
        times.append(t_s)
        levels.append(float(now.mean()))
        if last is not None:
            apart.append(float(np.abs(now - last).mean()))
            if _differ(*levels[-2:]) or _moved(apart):
                changes.append(t_s)
        last = now
        if sum(change > t_s - _RUN_S for change in changes) >= _IN_RUN:
            return _before(times, levels, changes)
    return 0.0


def _differ(before: float, now: float) -> bool:
    """Whether the mean of a picture differs from another's by more than is usual."""
    level, share = _LEVEL
    return abs(now - before) > max(level, share * before)


def _moved(apart: list[float]) -> bool:
    """Whether the last two pictures differ, pixel by pixel, by more than is usual."""
    factor, codes = _APART
    return apart[-1] > factor * min(apart) + codes


def _before(times: list[float], levels: list[float], changes: list[float]) -> float:
    """The whole picture a while before the changes that end the list began."""
    first_s = changes[-1]
    for change_s in reversed(changes):
        if first_s - change_s <= _ALIKE_S:
            first_s = change_s
    usual_s = max(t for t in times if t < first_s)
    title = levels[times.index(usual_s)]
    darkest = min(level for t, level in zip(times, levels, strict=True) if t >= usual_s)
    # Where black is darker than the title, no picture of the mark passed for one of the title.
    ahead_s = _JUST_AHEAD_S if _differ(title, darkest) else _AHEAD_S
    begin_s = max((t for t in times if t <= usual_s - ahead_s), default=0.0)
    return begin_s if begin_s > _WORTH_S else 0.0
