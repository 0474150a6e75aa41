"""Following the pattern through a clip: which frames show which hold, and nothing else."""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.jit import kernel
from limewash.media.reading import ClipInfo
from limewash.scan.pattern import Hold, PatternPlan
from limewash.scan.takes import Takes
from limewash.scan.timeline import Clockwork, Mark

Picture = NDArray[np.uint8]
Photo = NDArray[np.uint8]  # R'G'B'

_TILES = (4, 6)  # rows and columns in which change is judged apart: passers-by do not fill all of them
_MOST_FRAMES = 24  # of one beat; a faster camera gives more than are of use
_DARKEST = 0.25  # of the usual brightness of a hold; no exposure wanders that far
_BAND = 32  # rows that are added up at a time
_SETTLED = 0.03  # share of the last change by which a clean frame may still differ from its hold


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
        places = np.flatnonzero(self.mask)
        tile = (tile_row[:, None] * _TILES[1] + tile_column).ravel()[places]
        order = np.argsort(tile, kind="stable")
        self._places = places[order]
        count = np.bincount(tile, minlength=_TILES[0] * _TILES[1])
        self._full = count >= 40
        if not self._full.any():
            count, self._full = np.array([len(tile)]), np.array([True])
        self._count = count[self._full]
        self._starts = (np.cumsum(count) - count)[count > 0]
        self._full = self._full[count > 0]

    def of(self, samples: Picture) -> NDArray[np.int16]:
        """A frame's lit samples, tile by tile."""
        return samples.ravel()[self._places].astype(np.int16)

    def differences(self, a: NDArray[np.int16], b: NDArray[np.int16]) -> NDArray[np.float64]:
        """Mean absolute difference of two frames' lit samples in every tile that is lit enough. [codes]"""
        if not len(self._starts):
            return np.zeros(1)
        total = np.add.reduceat(np.abs(a - b), self._starts, dtype=np.int64)
        return np.asarray(total[self._full] / self._count)

    def typical(self, a: NDArray[np.int16], b: NDArray[np.int16]) -> float:
        """The median tile's difference: a car or a person changes some, a change of hold changes all."""
        return float(statistics.median(self.differences(a, b).tolist()))  # NumPy's takes twenty times as long on so few

    def typical_worst(self, a: NDArray[np.int16], b: NDArray[np.int16]) -> float:
        """The difference that four tiles in five stay below."""
        rising = sorted(self.differences(a, b).tolist())
        return float(rising[int(0.8 * (len(rising) - 1))])


@dataclass
class _Frame:
    """A frame of the body: its time, lit samples, difference from the frame before, and, if wanted, the picture."""

    t_s: float
    lit: NDArray[np.int16]
    change: float
    luma: Picture | None = None
    whole: av.VideoFrame | None = None


class Follower:
    """Collects hold after hold once the mark is known; a frame is kept until the hold it may belong to is over."""

    def __init__(
        self,
        path: Path,
        info: ClipInfo,
        plan: PatternPlan,
        mark: Mark,
        sparse: Callable[[Picture], Picture],
        times_s: Sequence[float],
        samples: Sequence[Picture],
        mean_of: Callable[[Iterable[av.VideoFrame]], Photo | None],
    ) -> None:
        self.path, self.info, self.plan, self.mark = path, info, plan, mark
        self._sparse = sparse
        self.lit = _Lit(mark, np.array(times_s), np.array(samples))
        self._clock = Clockwork.from_mark(mark)
        self._frames: deque[_Frame] = deque()
        self._last: NDArray[np.int16] | None = None
        self._thinning = max(1, round(mark.beat_s * float(info.rate) / _MOST_FRAMES))
        self._seen = 0
        for t_s, seen in zip(times_s, samples, strict=True):
            if t_s > mark.stop_s - 2.0 * mark.beat_s:
                self._add(t_s, seen)
        self._holds: tuple[Hold, ...] = (*plan.body, *plan.end, *plan.checks)
        self._next = 0
        self._beat = float(len(mark.chips))
        self._from_s = (
            self._clock.observe(self._beat, *self._changes())
            if self._starts_with_change()
            else self._clock.expect(self._beat)
        )
        self._end_s = self._expected_end_s()
        (width, height) = info.size
        self._sums = np.zeros((len(plan.body), height, width), dtype=np.uint16)
        # Apart, so that they can be kept without the fringes and codes.
        self._checks = np.zeros((len(plan.checks), height, width), dtype=np.uint16)
        self._counts = np.zeros(len(self._holds), dtype=np.int64)
        self._adder = ThreadPoolExecutor(1)
        self._adding: Future[None] | None = None
        self._mean_of = mean_of
        self._photo_hold = max((n for n, hold in enumerate(plan.body) if hold.kind == "white"), key=self._beats)
        self._photo: Future[Photo | None] | None = None
        self._spans_s = np.full((len(self._holds), 2), np.nan)
        self._levels = np.full(len(self._holds), np.nan)

    @property
    def done(self) -> bool:
        return self._next == len(self._holds)

    def see(self, t_s: float, luma: Picture, whole: av.VideoFrame) -> None:
        self._seen += 1
        wanted = self._seen % self._thinning == 0
        # Frames are taken ahead of the hold that is being finished. Whole ones take twice the memory and more.
        for_photo = self._next in (self._photo_hold - 1, self._photo_hold)
        self._add(t_s, self._sparse(luma), luma if wanted else None, whole if wanted and for_photo else None)
        while not self.done and t_s > self._end_s + 0.5 * self._clock.beat_s:
            self._finish_hold()

    def takes(self) -> Takes:
        """What was collected. Raises InputError if the clip ended too early or frames are missing."""
        last_s = self._frames[-1].t_s if self._frames else self._from_s
        while not self.done and last_s > self._end_s - 0.3 * self._clock.beat_s:
            self._finish_hold()
        self._wait()
        self._adder.shutdown()
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
        self._check_lit()
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
            checks=self._checks,
            check_counts=self._counts[self.plan.checks_start :],
            photo=None if self._photo is None else self._photo.result(),
        )

    def _beats(self, n: int) -> float:
        return self._holds[n].beats

    def _add(
        self, t_s: float, samples: Picture, luma: Picture | None = None, whole: av.VideoFrame | None = None
    ) -> None:
        lit = self.lit.of(samples)
        change = 0.0 if self._last is None else self.lit.typical(lit, self._last)
        self._frames.append(_Frame(t_s, lit, change, luma, whole))
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
        # The change from lines to their inverse cannot be seen from afar: the checks go by the clock.
        in_checks = self._next >= self.plan.checks_start
        until_s = self._clock.expect(self._beat) if in_checks else self._clock.observe(self._beat, *self._changes())
        self._collect(until_s)
        for frame in self._frames:
            if frame.t_s < until_s - 0.6 / float(self.info.rate):
                frame.luma = frame.whole = None  # of no further use; its change is still looked at
        while self._frames and self._frames[0].t_s < until_s - 0.6 * self._clock.beat_s:
            self._frames.popleft()
        self._from_s = until_s
        self._next += 1
        if not self.done:
            self._end_s = self._expected_end_s()

    def _collect(self, until_s: float) -> None:
        frame_s = 1.0 / float(self.info.rate)
        inside = [f for f in self._frames if self._from_s - 0.3 * frame_s <= f.t_s <= until_s - 0.6 * frame_s]
        clean = self._clean(inside)
        n = self._next
        self._spans_s[n] = (clean[0].t_s, clean[-1].t_s) if clean else (self._from_s, until_s)
        if not clean:
            return
        self._levels[n] = np.mean([f.lit.mean() for f in clean]) - self.info.luma_black
        if len(self.plan.body) <= n < self.plan.checks_start:
            return
        pictures = [frame.luma for frame in clean if frame.luma is not None]
        self._counts[n] = len(pictures)
        self._wait()  # one hold at a time, so that no more frames than its own are kept
        # Beside the decoder, which would wait otherwise.
        total = self._sums[n] if n < len(self.plan.body) else self._checks[n - self.plan.checks_start]
        self._adding = self._adder.submit(_add_up, total, pictures)
        if n == self._photo_hold:
            self._photo = self._adder.submit(self._mean_of, [f.whole for f in clean if f.whole is not None])

    def _wait(self) -> None:
        """Until the last hold is added up."""
        if self._adding is not None:
            self._adding.result()

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

    def _check_lit(self) -> None:
        """Refuse a clip in which the light went out for a while."""
        equal = np.flatnonzero([_bright_as_others(hold) for hold in self.plan.body])
        levels = self._levels[equal]
        dark = equal[levels < _DARKEST * np.nanmedian(levels)]
        if len(dark):
            since_s = self._spans_s[dark[0], 0]
            raise InputError(
                f"{self.path} is dark at {since_s:.1f} s, in the middle of the pattern: something was "
                "in front of the lens, or the projector or the player switched its light off; film again"
            )

    def _gains(self) -> NDArray[np.float64]:
        """Fringes and codes are all equally bright in the mean, so their levels show the exposure."""
        body = self.plan.body
        levels, middle_s = self._levels[: len(body)], self._spans_s[: len(body)].mean(axis=1)
        equal = np.array([_bright_as_others(hold) for hold in body]) & np.isfinite(levels)
        share = levels[equal] / max(float(np.median(levels[equal])), 1e-3)
        return np.asarray(np.interp(middle_s, middle_s[equal], share))

    def _end_seen(self) -> bool:
        if self._next < self.plan.checks_start:
            return False
        dark, bright, dark_again = self._levels[len(self.plan.body) : self.plan.checks_start]
        contrast = self.mark.bright - self.mark.dark
        return bool(bright - dark > 0.3 * contrast and bright - dark_again > 0.3 * contrast)


def _add_up(total: NDArray[np.uint16], pictures: Sequence[Picture]) -> None:
    # A band of the sums stays in the processor's cache while all pictures are added to it, four at a time.
    fours = len(pictures) - len(pictures) % 4
    for row in range(0, len(total), _BAND):
        sums = total[row : row + _BAND]
        bands = [picture[row : row + _BAND] for picture in pictures]
        for n in range(0, fours, 4):
            add_four(sums, *bands[n : n + 4])
        for band in bands[fours:]:
            np.add(sums, band, out=sums)  # much quicker than OpenCV on two kinds


@kernel
def add_four(total: NDArray[np.uint16], a: Picture, b: Picture, c: Picture, d: Picture) -> None:
    """Add four pictures to a sum, all of shape (height, width)."""
    for row in range(len(total)):
        sums, w, x, y, z = total[row], a[row], b[row], c[row], d[row]
        for col in range(sums.size):
            more = np.uint16(w[col]) + np.uint16(x[col]) + np.uint16(y[col]) + np.uint16(z[col])
            sums[col] = np.uint16(sums[col] + more)


def _bright_as_others(hold: Hold) -> bool:
    # The lowest bit turns the sign every period: half of it adds up to more or less light than the rest.
    return hold.kind == "fringe" or (hold.kind == "code" and hold.bit > 0)
