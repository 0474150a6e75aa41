"""When each hold of the pattern was on the wall, on the clip's own clock.

The start mark is found in the brightness of the frames alone. From then on each change of hold is looked for
around the time at which the changes before it lead to expect it, so that a clock that runs at another speed, a
player that is late by a frame and a phone with an uneven frame rate all come out right.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limewash.scan.mark import DATA_BITS, SYNC

Array = NDArray[np.float64]

CHIPS = len(SYNC) + DATA_BITS

_BEATS_S = np.geomspace(0.18, 0.30, 86)  # lengths of a beat that are tried: 0.6 % apart
_ENOUGH = 0.95  # correlation of the chips' levels with black and white; an exposure that hunts lowers it
_UNCLEAR = 0.35  # share of the contrast by which a step from chip to chip may miss one of full height or none
_UNEVEN = 0.2  # by how much of a beat a change in the mark may be off
_REACH = 0.45  # how far from the expected time a change is looked for, in beats
_FAINTEST, _PLAIN = 2.0, 5.0  # strengths below which a change is none, and from which it counts wherever it is
_SURPRISE = 0.15  # by how much of a beat a change must be off to be doubted: cars and noise make changes, too
_MEMORY = 16  # changes that the expectation rests on


@dataclass(frozen=True)
class Mark:
    """A start mark that was found.

    Attributes
    ----------
    start_s, beat_s : float
        When its first chip began, and how long one lasts, on the clip's clock. [s]
    word : tuple of int
        The data chips.
    dark, bright : float
        Mean level of the black and of the white chips. [codes]
    """

    start_s: float
    beat_s: float
    word: tuple[int, ...]
    dark: float
    bright: float

    @property
    def chips(self) -> tuple[int, ...]:
        """All chips of the mark."""
        return (*SYNC, *self.word)

    @property
    def stop_s(self) -> float:
        """When its last chip ended [s]."""
        return self.start_s + CHIPS * self.beat_s


def find_mark(times_s: Sequence[float] | Array, levels: Sequence[float] | Array) -> Mark | None:
    """Look for a start mark that has just ended.

    Parameters
    ----------
    times_s : sequence of shape (N,)
        Times of the frames so far, rising. [s]
    levels : sequence of shape (N,)
        Mean brightness of each frame. [codes]

    Returns
    -------
    mark : Mark or None
        A mark whose last chip ends within the last half beat of the clip so far.
    """
    t, m = np.asarray(times_s, dtype=np.float64), np.asarray(levels, dtype=np.float64)
    if len(t) < 2 * CHIPS:
        return None
    end_s = t[-1]
    lag = np.arange(0.0, 0.5, 0.06)  # in beats
    beat, behind = (a.ravel() for a in np.meshgrid(_BEATS_S, lag, indexing="ij"))
    start = end_s - (CHIPS + behind) * beat
    inside = start >= t[0]
    if not inside.any():
        return None
    beat, start = beat[inside], start[inside]
    chips = _chip_levels(t, m, start, beat)
    likeness = _likeness(chips[:, : len(SYNC)])
    for candidate in np.argsort(-likeness):
        if likeness[candidate] < _ENOUGH:
            break
        mark = _read(t, m, start[candidate], beat[candidate], chips[candidate])
        if mark is not None:
            return mark
    return None


def _chip_levels(t: Array, m: Array, start: Array, beat: Array) -> Array:
    """Mean level in the middle half of every chip, shape (candidates, CHIPS)."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (m[1:] + m[:-1]) * np.diff(t))])
    edge = start[:, None] + (np.arange(CHIPS) + 0.25) * beat[:, None]
    first, last = np.interp(edge, t, total), np.interp(edge + 0.5 * beat[:, None], t, total)
    return np.asarray((last - first) / (0.5 * beat[:, None]))


def _likeness(levels: Array) -> Array:
    """Correlation of the first chips' levels with what the mark promises."""
    promised = np.asarray(SYNC, dtype=np.float64) - np.mean(SYNC)
    found = levels - levels.mean(axis=1, keepdims=True)
    length = np.sqrt((found**2).sum(axis=1) * (promised**2).sum())
    return np.asarray(found @ promised / np.maximum(length, 1e-9))


def _read(t: Array, m: Array, start_s: float, beat_s: float, chips: Array) -> Mark | None:
    known = np.asarray(SYNC, dtype=bool)
    dark, bright = chips[: len(SYNC)][~known].mean(), chips[: len(SYNC)][known].mean()
    step = np.diff(chips) / (bright - dark)
    # By steps, not by levels: the exposure may wander while the mark plays.
    shown = np.cumsum(np.rint(step[len(SYNC) - 1 :])) + SYNC[-1]
    within = (t >= start_s) & (t <= start_s + CHIPS * beat_s)
    # What the brightness does from frame to frame while nothing changes: the mark must stand far above it.
    flutter = float(np.median(np.abs(np.diff(m[within]))))
    unclear = np.any(np.abs(step - np.rint(step)) > _UNCLEAR) or not np.isin(shown, (0.0, 1.0)).all()
    if unclear or bright - dark < max(0.15, 8.0 * flutter):
        return None
    word = tuple(int(chip) for chip in shown)
    return _timed(t, m, Mark(start_s, beat_s, word, float(dark), float(bright)))


def _timed(t: Array, m: Array, rough: Mark) -> Mark | None:
    """Time and beat from the moments at which the brightness passes the middle; all of them must fit."""
    above = m > 0.5 * (rough.dark + rough.bright)
    n = np.flatnonzero(above[1:] != above[:-1])
    moment_s = t[n] + (0.5 * (rough.dark + rough.bright) - m[n]) / (m[n + 1] - m[n]) * (t[n + 1] - t[n])
    beats = (moment_s - rough.start_s) / rough.beat_s
    inside = (beats > 0.5) & (beats < CHIPS - 0.5)
    moment_s, number = moment_s[inside], np.rint(beats[inside])
    expected = [k for k, (a, b) in enumerate(pairwise(rough.chips), start=1) if a != b]
    if number.tolist() != expected:
        return None
    beat_s, start_s = np.polyfit(number, moment_s, 1)
    if np.max(np.abs(moment_s - start_s - number * beat_s)) > _UNEVEN * beat_s:
        return None
    # With the beat known exactly, the last chip may turn out to be still under way, or to be another.
    levels = _chip_levels(t, m, np.array([start_s]), np.array([beat_s]))[0]
    word = tuple((levels[len(SYNC) :] > 0.5 * (rough.dark + rough.bright)).astype(int).tolist())
    if word != rough.word or start_s + CHIPS * beat_s > t[-1] + 0.05 * beat_s:
        return None
    # Once more by the measure that the changes of hold will be timed with.
    change = np.abs(np.diff(m, prepend=m[0]))
    exact = [_change_near(t, change, start_s + k * beat_s, _REACH * beat_s)[0] for k in expected]
    beat_s, start_s = np.polyfit(expected, exact, 1)
    return Mark(float(start_s), float(beat_s), word, rough.dark, rough.bright)


def _change_near(t: Array, change: Array, expected_s: float, reach_s: float) -> tuple[float, float]:
    """When the picture changed, from the strength of change of each frame against the one before.

    A frame whose exposure straddles the change shares it with the next in proportion, so the centroid of both
    is the moment itself. Gives that moment [s], and the strength at the peak over that elsewhere in reach.
    """
    first, last = np.searchsorted(t, [expected_s - reach_s, expected_s + reach_s])
    if last - first < 3:
        return expected_s, 0.0
    near, when = change[first:last], t[first:last]
    rest = float(np.median(near))
    peak = int(np.argmax(near))
    span = slice(max(peak - 1, 0), peak + 2)
    weight = np.maximum(near[span] - rest, 0.0)
    if weight.sum() <= 0.0:
        return expected_s, 0.0
    return float((weight * when[span]).sum() / weight.sum()), float(near[peak] / max(rest, 1e-6))


@dataclass
class Clockwork:
    """Foretells the next change of hold from those seen, and takes note of each.

    Attributes
    ----------
    beat_s : float
        Present estimate of a beat on the clip's clock. [s]
    jumps_s : list of float
        How far each change was from where it was expected: a measure of the player's steadiness. [s]
    doubted_s : float
        How far off the last change was that was doubted for it; NaN where the last one was not. [s]
    """

    beats: list[float] = field(default_factory=list)
    seen_s: list[float] = field(default_factory=list)
    beat_s: float = 0.0
    jumps_s: list[float] = field(default_factory=list)
    doubted_s: float = math.nan

    @classmethod
    def from_mark(cls, mark: Mark) -> Clockwork:
        changes = [k for k, (a, b) in enumerate(pairwise(mark.chips), start=1) if a != b]
        return cls([float(k) for k in changes], [mark.start_s + k * mark.beat_s for k in changes], mark.beat_s)

    def expect(self, beat: float) -> float:
        """When the change at a beat, counted from the mark's start, should come [s]."""
        b, s = np.asarray(self.beats[-_MEMORY:]), np.asarray(self.seen_s[-_MEMORY:])
        slope, offset = np.polyfit(b - beat, s, 1)
        self.beat_s = float(slope)
        return float(offset)

    def mean_beat_s(self) -> float:
        """Length of a beat over all changes seen [s]."""
        return float(np.polyfit(self.beats, self.seen_s, 1)[0])

    def observe(self, beat: float, times_s: Array, change: Array) -> float:
        """Find the change at a beat in the strengths of change of the frames around it; give its time [s]."""
        expected_s = self.expect(beat)
        found_s, strength = _change_near(times_s, change, expected_s, _REACH * self.beat_s)
        if strength < _PLAIN and not self._believed(found_s - expected_s, strength):
            return expected_s
        self.doubted_s = math.nan
        self.beats.append(beat)
        self.seen_s.append(found_s)
        self.jumps_s.append(found_s - expected_s)
        return found_s

    def _believed(self, off_s: float, strength: float) -> bool:
        """Whether a change that hardly stands out is one: on time it is, off time only if the last was as much off."""
        again = abs(off_s - self.doubted_s) < _SURPRISE * self.beat_s
        surprising = abs(off_s) > _SURPRISE * self.beat_s
        self.doubted_s = off_s if surprising else math.nan
        return strength >= _FAINTEST and (again or not surprising)
