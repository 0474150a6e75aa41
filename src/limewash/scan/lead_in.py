"""How much of a clip passes before the pattern's start mark, told from a picture a second without decoding the rest.

People start the phone before the player, and the title card stands for a while: a third of a clip may be of no use.
Phones store about one picture a second whole (a keyframe) and of the others only what changed. From the start mark
on each of those whole pictures differs from the one before; until then next to nothing does.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from limewash.media.reading import ClipReader

Picture = NDArray[np.uint8]

_LEVEL = (1.0, 0.03)  # by which the mean must change: codes, and share of it
_APART = (2.0, 2.0)  # times what is usual that pixels must change, and codes on top [-, codes]
_RUN_S, _IN_RUN = 6.0, 4  # as many pictures must change within so long
_AHEAD_S = 1.0  # the mark begins black, which after a dark title card may not show
_CLOSEST_S = 0.2  # whole pictures that follow closer are no rarities: the codec stores all of them whole
_WORTH_S = 2.0


def pattern_begins(reader: ClipReader, sparse: Callable[[Picture], Picture]) -> float:
    """A time before the start mark from which to read on [s]; 0 where no earlier end of the lead-in can be told.

    Parameters
    ----------
    reader : ClipReader
        The clip.
    sparse : callable
        Gives a few pixels of a picture.
    """
    times: list[float] = []
    means: list[float] = []
    apart: list[float] = []
    changes: list[float] = []
    last: NDArray[np.int16] | None = None
    for t_s, luma in reader.keyframes():
        now = sparse(luma).astype(np.int16)
        times.append(t_s)
        means.append(float(now.mean()))
        if last is not None:
            if t_s - times[-2] < _CLOSEST_S:
                return 0.0
            apart.append(float(np.abs(now - last).mean()))
            if _changed(means, apart):
                changes.append(t_s)
        last = now
        recent = [change for change in changes if change > t_s - _RUN_S]
        if len(recent) >= _IN_RUN:
            return _before(times, recent[0])
    return 0.0


def _changed(means: list[float], apart: list[float]) -> bool:
    """Whether the newest picture differs from the one before by more than is usual."""
    level, share = _LEVEL
    factor, codes = _APART
    return abs(means[-1] - means[-2]) > max(level, share * means[-2]) or apart[-1] > factor * min(apart) + codes


def _before(times: list[float], change_s: float) -> float:
    """The whole picture a while before the last one that was as usual."""
    usual_s = max((t for t in times if t < change_s), default=0.0)
    begin_s = max((t for t in times if t <= usual_s - _AHEAD_S), default=0.0)
    return begin_s if begin_s > _WORTH_S else 0.0
