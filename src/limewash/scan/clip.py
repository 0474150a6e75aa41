"""From a filmed clip to one averaged picture per hold of the pattern, in one pass and with bounded memory."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.jit import get_ready
from limewash.media.reading import ClipInfo, ClipReader
from limewash.progress import Progress, never_back, silent
from limewash.scan.follow import Follower
from limewash.scan.lead_in import pattern_begins
from limewash.scan.mark import check_mark
from limewash.scan.pattern import plan_pattern
from limewash.scan.takes import Takes
from limewash.scan.timeline import Mark, find_mark
from limewash.scan.watch import Watch

__all__ = ["Takes", "take_clip"]

Picture = NDArray[np.uint8]
Frame = tuple[float, Picture, av.VideoFrame]  # as `ClipReader.frames` gives it

_SAMPLES = 36_000  # pixels of each frame that time and noise are judged by
_MARK_S = 6.0  # more than the longest start mark
_TRY_EVERY_S = 0.045
_SOON_S = 15.0  # after a guessed beginning the mark comes within that, or the guess was wrong


def take_clip(path: Path, projector_size: tuple[int, int], progress: Progress = silent) -> Takes:
    """Read a clip from its beginning to the pattern's end.

    Parameters
    ----------
    path : Path
        The clip.
    projector_size : (int, int)
        Native size of the projector that played the pattern. [px]
    progress : Progress
        Told how far the reading is.

    Raises
    ------
    InputError
        If the file is missing, damaged or not a film; if no pattern is found in it, and then what was seen;
        if the pattern is one for another size; if the clip ends before the pattern does.
    """
    progress = never_back(progress)
    get_ready()  # else frames of two holds gather while the first is waiting to be added up
    with ClipReader(path) as reader:
        begin_s = pattern_begins(reader, _Seeker(reader.info).sparse)
        if begin_s > 0.0:
            try:
                return _read_from(reader, projector_size, begin_s, progress)
            except InputError:
                reader.close()  # a guess may be wrong: what is wrong with the clip only the whole of it tells
        return _read_from(reader, projector_size, 0.0, progress)


def _read_from(reader: ClipReader, projector_size: tuple[int, int], from_s: float, progress: Progress) -> Takes:
    """Read a clip from a time on; raises InputError as `take_clip` does."""
    seeker = _Seeker(reader.info)
    follower = _follow(reader, seeker, projector_size, from_s, progress)
    if follower is None:
        raise seeker.watch.no_pattern(reader.path, projector_size)
    return follower.takes()


def _follow(
    reader: ClipReader, seeker: _Seeker, projector_size: tuple[int, int], from_s: float, progress: Progress
) -> Follower | None:
    """Look for the start mark from a time on, and follow the pattern to its end; None if there is no mark.

    Where the time is a guess, the mark must come soon.
    """
    info = reader.info
    follower: Follower | None = None
    length_s = info.duration_s if np.isfinite(info.duration_s) else 60.0
    for count, (t_s, luma, frame) in enumerate(_forwards(reader.frames(from_s))):
        if count % 15 == 0:
            doing = "looking for the start mark" if follower is None else "following the pattern"
            progress(min((t_s - from_s) / max(length_s - from_s, 1e-3), 1.0), doing)
        if follower is not None:
            follower.see(t_s, luma, frame)
            if follower.done:
                break
            continue
        mark = seeker.see(t_s, luma)
        if mark is None and from_s > 0.0 and t_s > from_s + _SOON_S:
            break
        if mark is not None:
            plan = plan_pattern(projector_size, form=check_mark(mark.word, projector_size))
            follower = Follower(
                reader.path, info, plan, mark, seeker.sparse, seeker.times_s, seeker.samples, reader.mean_of
            )
    return follower


def _forwards(frames: Iterator[Frame]) -> Iterator[Frame]:
    """Frames in the order of their times; those that a damaged file dates back are left out."""
    last_s = -math.inf
    for frame in frames:
        if frame[0] > last_s:
            last_s = frame[0]
            yield frame


class _Seeker:
    """Looks for the start mark, and keeps sparse samples of the frames that may belong to it."""

    def __init__(self, info: ClipInfo) -> None:
        self.watch = Watch(info)
        self.step = max(1, int(np.sqrt(info.size[0] * info.size[1] / _SAMPLES)))
        self.times_s: deque[float] = deque()
        self.samples: deque[Picture] = deque()
        self._levels: deque[float] = deque()
        self._tried_s = 0.0

    def see(self, t_s: float, luma: Picture) -> Mark | None:
        samples = self.sparse(luma)
        self.watch.see(t_s, samples)
        self.times_s.append(t_s)
        self.samples.append(samples)
        self._levels.append(float(samples.mean()))
        while self.times_s[0] < t_s - _MARK_S:
            for kept in (self.times_s, self.samples, self._levels):
                kept.popleft()
        if t_s < self._tried_s + _TRY_EVERY_S:
            return None
        self._tried_s = t_s
        return find_mark(np.array(self.times_s), np.array(self._levels))

    def sparse(self, luma: Picture) -> Picture:
        """Every n-th pixel of every n-th row: what is fine in the pattern stays visible, unlike in a mean."""
        return np.ascontiguousarray(luma[self.step // 2 :: self.step, self.step // 2 :: self.step])
