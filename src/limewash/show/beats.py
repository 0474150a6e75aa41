"""Musical time: when each beat falls, and times as a person writes them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

_NUMBER = r"\d+(?:\.\d+)?|\.\d+"
_START = "seconds (12.5), 'bar 9', 'bar 9 beat 3' or 'beat 33.5'"
_LENGTH = "seconds (2.5), '4 bars' or '3 beats'"


@dataclass(frozen=True)
class Beats:
    """The beats of the music; beat 1 is the first, and opens bar 1.

    Attributes
    ----------
    times_s : tuple of float
        When beats 1, 2, ... fall; beyond both ends the nearest interval goes on. At least two, rising. [s]
    per_bar : int
        Beats in a bar.
    """

    times_s: tuple[float, ...]
    per_bar: int = 4

    @classmethod
    def steady(cls, bpm: float, first_beat_s: float = 0.0, per_bar: int = 4) -> Beats:
        """Beats of one tempo [1/min]."""
        return cls((first_beat_s, first_beat_s + 60.0 / bpm), per_bar)

    def time_s(self, beat: float) -> float:
        """When a beat falls (1 is the first; fractions lie between) [s]."""
        return _along(beat, np.arange(1.0, len(self.times_s) + 1.0), self.times_s)

    def beat(self, t_s: float) -> float:
        """The beat at a time; inverse of `time_s`."""
        return _along(t_s, self.times_s, np.arange(1.0, len(self.times_s) + 1.0))

    def start_s(self, text: float | str) -> float:
        """When a cue starts, as written in a score [s].

        Raises
        ------
        ValueError
            Saying what is allowed.
        """
        if not isinstance(text, str):
            return float(text)
        plain = text.strip().lower()
        if match := re.fullmatch(rf"({_NUMBER})\s*(?:s|seconds?)?", plain):
            return float(match[1])
        if match := re.fullmatch(rf"bar\s*({_NUMBER})(?:\s*,?\s*beat\s*({_NUMBER}))?", plain):
            bar, beat = float(match[1]), float(match[2] or 1.0)
            if bar < 1.0 or beat < 1.0:
                raise ValueError(f"bars and beats count from 1, got {text!r}")
            return self.time_s(1.0 + (bar - 1.0) * self.per_bar + (beat - 1.0))
        if match := re.fullmatch(rf"beat\s*({_NUMBER})", plain):
            if float(match[1]) < 1.0:
                raise ValueError(f"beats count from 1, got {text!r}")
            return self.time_s(float(match[1]))
        raise ValueError(f"must be {_START}, got {text!r}{_slip(plain, start=True)}")

    def length_s(self, text: float | str, start_s: float) -> float:
        """How long something lasts that starts at `start_s` [s]. Raises ValueError saying what is allowed."""
        if not isinstance(text, str):
            return float(text)
        plain = text.strip().lower()
        if match := re.fullmatch(rf"({_NUMBER})\s*(?:s|seconds?)?", plain):
            return float(match[1])
        if match := re.fullmatch(rf"({_NUMBER})\s*(bars?|beats?)", plain):
            beats = float(match[1]) * (self.per_bar if match[2].startswith("bar") else 1.0)
            return self.time_s(self.beat(start_s) + beats) - start_s
        raise ValueError(f"must be {_LENGTH}, got {text!r}{_slip(plain, start=False)}")


def _along(at: float, known: Sequence[float] | np.ndarray, wanted: Sequence[float] | np.ndarray) -> float:
    """Straight lines through (known, wanted), the first and last going on."""
    k = int(np.clip(np.searchsorted(known, at, side="right") - 1, 0, len(known) - 2))
    slope = (wanted[k + 1] - wanted[k]) / (known[k + 1] - known[k])
    return float(wanted[k] + (at - known[k]) * slope)


def _slip(plain: str, *, start: bool) -> str:
    if start and re.fullmatch(rf"({_NUMBER})\s*(bars?|beats?)", plain):
        number, word = re.split(r"\s*(?=b)", plain, maxsplit=1)
        return f"; did you mean '{word.rstrip('s')} {number}'?"
    if not start and (match := re.fullmatch(rf"(bar|beat)\s*({_NUMBER})", plain)):
        return f"; did you mean '{match[2]} {match[1]}s'?"
    return ""
