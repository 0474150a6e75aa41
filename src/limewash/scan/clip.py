"""From a filmed clip to one averaged picture per hold of the pattern, in one pass and with bounded memory."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.reading import ClipInfo, ClipReader
from limewash.progress import Progress, silent
from limewash.scan.mark import check_mark
from limewash.scan.pattern import Hold, PatternPlan, plan_pattern
from limewash.scan.timeline import Clockwork, Mark, find_mark
from limewash.scan.watch import Watch

Picture = NDArray[np.uint8]

_SAMPLES = 36_000  # pixels of each frame that time and noise are judged by
_MARK_S = 6.0  # more than the longest start mark
_TRY_EVERY_S = 0.045
_TILES = (4, 6)  # rows and columns in which change is judged apart: passers-by do not fill all of them
_MOST_FRAMES = 24  # of one beat; a faster camera gives more than are of use
_SETTLED = 0.03  # share of the last change by which a clean frame may still differ from its hold


@dataclass(frozen=True)
class Takes:
    """What the camera saw of each hold of the body.

    Attributes
    ----------
    plan : PatternPlan
        The pattern, as read from the start mark.
    info : ClipInfo
        What the file says of itself.
    sums : ndarray of uint16, shape (holds, height, width)
        Sum of the clean frames of each hold. [codes]
    counts : ndarray of int64, shape (holds,)
        Number of those frames; 0 only for a reference that was missed.
    spans_s : ndarray of shape (holds, 2)
        First and last clean frame of each hold, on the clip's clock. [s]
    gains : ndarray of shape (holds,)
        Brightness of the lit part relative to the other holds: how far the exposure drifted. [-]
    lit_share : float
        Share of the frame that the projector lights. [-]
    beat_s, unsteady_s : float
        Length of a beat on the clip's clock; greatest deviation of a change from it. [s]
    end_seen : bool
        Whether the end mark came where it was expected.
    """

    plan: PatternPlan
    info: ClipInfo
    sums: NDArray[np.uint16]
    counts: NDArray[np.int64]
    spans_s: NDArray[np.float64]
    gains: NDArray[np.float64]
    lit_share: float
    beat_s: float
    unsteady_s: float
    end_seen: bool

    def mean(self, kind: str, which: int) -> NDArray[np.float32]:
        """Mean picture (height, width) of the `which`-th seen hold of a kind, black level taken off. [codes]"""
        found = [n for n, hold in enumerate(self.plan.body) if hold.kind == kind and self.counts[n]]
        n = found[which]
        return np.asarray(self.sums[n] / self.counts[n] - self.info.luma_black, dtype=np.float32)


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
    with ClipReader(path) as reader:
        info = reader.info
        seeker = _Seeker(info)
        follower: _Follower | None = None
        length_s = info.duration_s if np.isfinite(info.duration_s) else 60.0
        for count, (t_s, luma) in enumerate(reader.luma()):
            if count % 15 == 0:
                doing = "looking for the start mark" if follower is None else "following the pattern"
                progress(min(t_s / length_s, 1.0), doing)
            if follower is not None:
                follower.see(t_s, luma)
                if follower.done:
                    break
            else:
                mark = seeker.see(t_s, luma)
                if mark is not None:
                    short = check_mark(mark.word, projector_size)
                    plan = plan_pattern(projector_size, short=short)
                    follower = _Follower(path, info, plan, mark, seeker)
        if follower is None:
            raise seeker.watch.no_pattern(path, projector_size)
        return follower.takes()


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


class _Lit:
    """Which samples the projector lights, told from the mark; change is measured on those, tile by tile."""

    def __init__(self, mark: Mark, times_s: NDArray[np.float64], samples: NDArray[np.uint8]) -> None:
        beat = (times_s - mark.start_s) / mark.beat_s
        chip = np.clip(np.floor(beat), 0, len(mark.chips) - 1).astype(int)
        # The middle of a chip is clean whatever the shutter does.
        clean = (beat >= 0) & (beat < len(mark.chips)) & (np.abs(beat - chip - 0.5) < 0.3)
        white = clean & np.asarray(mark.chips, dtype=bool)[chip]
        black = clean & ~white
        bright, dark = samples[white].astype(np.float32), samples[black].astype(np.float32)
        error = np.sqrt(bright.var(axis=0) / len(bright) + dark.var(axis=0) / len(dark))
        self.mask = bright.mean(axis=0) - dark.mean(axis=0) > 5.0 * error + 0.5
        rows, columns = self.mask.shape
        tile_row = np.arange(rows) * _TILES[0] // rows
        tile_column = np.arange(columns) * _TILES[1] // columns
        tile = (tile_row[:, None] * _TILES[1] + tile_column)[self.mask]
        count = np.bincount(tile, minlength=_TILES[0] * _TILES[1])
        self._full = count >= 40
        if not self._full.any():
            tile, count, self._full = np.zeros_like(tile), np.array([max(len(tile), 1)]), np.array([True])
        self._tile, self._count = tile, count

    def differences(self, a: NDArray[np.int16], b: NDArray[np.int16]) -> NDArray[np.float64]:
        """Mean absolute difference of two frames' lit samples in every tile that is lit enough. [codes]"""
        total = np.bincount(self._tile, np.abs(a - b), minlength=len(self._count))
        return np.asarray(total[self._full] / self._count[self._full])

    def typical_worst(self, a: NDArray[np.int16], b: NDArray[np.int16]) -> float:
        """The difference that four tiles in five stay below."""
        return float(np.quantile(self.differences(a, b), 0.8, method="lower"))


@dataclass
class _Frame:
    """A frame of the body: its time, lit samples, difference from the frame before, and the picture."""

    t_s: float
    lit: NDArray[np.int16]
    change: float
    luma: Picture | None


class _Follower:
    """Collects hold after hold once the mark is known; a frame is kept until the hold it may belong to is over."""

    def __init__(self, path: Path, info: ClipInfo, plan: PatternPlan, mark: Mark, seeker: _Seeker) -> None:
        self.path, self.info, self.plan, self.mark = path, info, plan, mark
        self._sparse = seeker.sparse
        times = np.array(seeker.times_s)
        self.lit = _Lit(mark, times, np.array(seeker.samples))
        self._clock = Clockwork.from_mark(mark)
        self._frames: deque[_Frame] = deque()
        self._last: NDArray[np.int16] | None = None
        self._thinning = max(1, round(mark.beat_s * float(info.rate) / _MOST_FRAMES))
        self._seen = 0
        for t_s, samples in zip(seeker.times_s, seeker.samples, strict=True):
            if t_s > mark.stop_s - 2.0 * mark.beat_s:
                self._add(t_s, samples, None)
        self._holds: tuple[Hold, ...] = (*plan.body, *plan.end)
        self._next = 0
        self._beat = float(len(mark.chips))
        self._from_s = (
            self._clock.observe(self._beat, *self._changes())
            if self._starts_with_change()
            else self._clock.expect(self._beat)
        )
        body, (width, height) = len(plan.body), info.size
        self._sums = np.zeros((body, height, width), dtype=np.uint16)
        self._counts = np.zeros(len(self._holds), dtype=np.int64)
        self._spans_s = np.full((len(self._holds), 2), np.nan)
        self._levels = np.full(len(self._holds), np.nan)

    @property
    def done(self) -> bool:
        return self._next == len(self._holds)

    def see(self, t_s: float, luma: Picture) -> None:
        self._seen += 1
        wanted = self._seen % self._thinning == 0
        self._add(t_s, self._sparse(luma), luma if wanted else None)
        while not self.done and t_s > self._expected_end_s() + 0.5 * self._clock.beat_s:
            self._finish_hold()

    def takes(self) -> Takes:
        """What was collected. Raises InputError if the clip ended too early or frames are missing."""
        last_s = self._frames[-1].t_s if self._frames else self._from_s
        while not self.done and last_s > self._expected_end_s() - 0.3 * self._clock.beat_s:
            self._finish_hold()
        body = len(self.plan.body)
        if self._next < body:
            left_s = self._clock.expect(len(self.mark.chips) + self.plan.body_beats) - last_s
            raise InputError(
                f"{self.path} is too short: it ends {left_s:.1f} s before the pattern does; film until the "
                "closing card shows"
            )
        counts = self._counts[:body]
        for hold, count, span in zip(self.plan.body, counts, self._spans_s, strict=False):
            if count == 0 and hold.kind not in ("black", "white"):
                raise InputError(
                    f"{self.path} has no steady frame of one of the pattern's pictures (near {span[0]:.1f} s): the "
                    "player stuttered or the phone dropped frames; play the file from the device itself, "
                    "close other programs, and film again"
                )
        return Takes(
            plan=self.plan,
            info=self.info,
            sums=self._sums,
            counts=counts,
            spans_s=self._spans_s[:body],
            gains=self._gains(),
            lit_share=float(self.lit.mask.mean()),
            beat_s=self._clock.mean_beat_s(),
            unsteady_s=float(np.max(np.abs(self._clock.jumps_s), initial=0.0)),
            end_seen=self._end_seen(),
        )

    def _add(self, t_s: float, samples: Picture, luma: Picture | None) -> None:
        lit = samples[self.lit.mask].astype(np.int16)
        # The median tile: a car or a person changes some, a change of hold changes all.
        change = 0.0 if self._last is None else float(np.median(self.lit.differences(lit, self._last)))
        self._frames.append(_Frame(t_s, lit, change, luma))
        self._last = lit

    def _changes(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        return np.array([f.t_s for f in self._frames]), np.array([f.change for f in self._frames])

    def _starts_with_change(self) -> bool:
        return self.mark.chips[-1] == 1  # the body starts with black

    def _expected_end_s(self) -> float:
        return self._clock.expect(self._beat + self._holds[self._next].beats)

    def _finish_hold(self) -> None:
        hold = self._holds[self._next]
        self._beat += hold.beats
        until_s = self._clock.observe(self._beat, *self._changes())
        self._collect(until_s)
        while self._frames and self._frames[0].t_s < until_s - 0.6 * self._clock.beat_s:
            self._frames.popleft()
        self._from_s = until_s
        self._next += 1

    def _collect(self, until_s: float) -> None:
        frame_s = 1.0 / float(self.info.rate)
        inside = [f for f in self._frames if self._from_s - 0.3 * frame_s <= f.t_s <= until_s - 0.6 * frame_s]
        clean = self._clean(inside)
        n = self._next
        self._spans_s[n] = (clean[0].t_s, clean[-1].t_s) if clean else (self._from_s, until_s)
        if not clean:
            return
        self._levels[n] = np.mean([f.lit.mean() for f in clean]) - self.info.luma_black
        if n >= len(self.plan.body):
            return
        for frame in clean:
            if frame.luma is not None:
                cv2.add(self._sums[n], frame.luma, dst=self._sums[n], dtype=cv2.CV_16U)
                self._counts[n] += 1

    def _clean(self, inside: list[_Frame]) -> list[_Frame]:
        """Frames that show this hold alone: those that hardly differ from the one in the middle."""
        if len(inside) < 3:
            return inside[len(inside) // 2 : len(inside) // 2 + 1]
        middle = inside[len(inside) // 2]
        # The tile that differs fifth most: a rolling shutter spoils a whole row of tiles, a passer-by fewer.
        off = np.array([self.lit.typical_worst(f.lit, middle.lit) for f in inside])
        limit = 1.6 * float(np.median(off[off > 0.0] if off.any() else off)) + _SETTLED * max(
            f.change for f in self._frames
        )
        return [f for f, away in zip(inside, off, strict=True) if away <= limit]

    def _gains(self) -> NDArray[np.float64]:
        """Fringes and codes are all equally bright in the mean, so their levels show the exposure."""
        body = self.plan.body
        levels, middle_s = self._levels[: len(body)], self._spans_s[: len(body)].mean(axis=1)
        equal = np.array([_bright_as_others(hold) for hold in body]) & np.isfinite(levels)
        share = levels[equal] / max(float(np.median(levels[equal])), 1e-3)
        return np.asarray(np.interp(middle_s, middle_s[equal], share))

    def _end_seen(self) -> bool:
        if not self.done:
            return False
        dark, bright, dark_again = self._levels[len(self.plan.body) :]
        contrast = self.mark.bright - self.mark.dark
        return bool(bright - dark > 0.3 * contrast and bright - dark_again > 0.3 * contrast)


def _bright_as_others(hold: Hold) -> bool:
    # The lowest bit turns the sign every period: half of it adds up to more or less light than the rest.
    return hold.kind == "fringe" or (hold.kind == "code" and hold.bit > 0)
