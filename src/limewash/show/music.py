"""The demo's music: a little piece of our own, in D, for bells, plucked strings, soft strings and brushes.

It is written for the demo's score and cut to its length: two bars alone with the strings, verses of four bars,
a close of two, and a last chord that rings out. The score knows its beats because they are written here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.sound import Sound
from limewash.show.beats import Beats
from limewash.show.synth import RATE_HZ, Voice, bell, brush, drum, low_string, pluck, room, shaker, strings

BPM = 96.0
BEATS_PER_BAR = 4
_BEAT_S = 60.0 / BPM
BAR_S = BEATS_PER_BAR * _BEAT_S

_RING_S = 1.8
"""What the last chord needs to ring out."""
_PEAK = 10 ** (-1.0 / 20.0)
_DRIVE = 0.25
"""How far the sum is pushed into its soft ceiling: brings the piece to about -16 LUFS."""


class Bar(NamedTuple):
    """One bar: bass note, chord from low to high, and a tune of (note, beats), None being a rest."""

    bass: int
    chord: tuple[int, ...]
    tune: tuple[tuple[int | None, float], ...] = ()


class Section(NamedTuple):
    """A part of the piece and the bar, from 1, at which it starts."""

    name: str
    bar: int


@dataclass(frozen=True)
class DemoMusic:
    """The piece and what the score needs to know of it.

    Attributes
    ----------
    sound : Sound
        Stereo, 48 kHz, peak at -1 dBFS.
    beats : Beats
        Every beat to the end of the sound; the first is at 0.
    bpm : float
        Tempo [1/min].
    bars : int
        Full bars before the last chord, which opens one more.
    sections : tuple of Section
        In order.
    """

    sound: Sound
    beats: Beats
    bpm: float
    bars: int
    sections: tuple[Section, ...]


# MIDI numbers: D3 = 50, D4 = 62, D5 = 74, D6 = 86.
_OPENING = (
    Bar(38, (62, 66, 69, 74, 76)),
    Bar(43, (62, 67, 71, 74, 78), ((None, 2.0), (81, 1.0), (78, 1.0))),
)
_VERSE = (
    Bar(38, (62, 66, 69, 74, 78), ((78, 1.0), (81, 0.5), (86, 1.5), (85, 0.5), (81, 0.5))),
    Bar(47, (62, 66, 69, 71, 78), ((83, 1.5), (78, 0.5), (86, 1.0), (81, 1.0))),
    Bar(43, (62, 67, 71, 74, 78), ((83, 1.0), (86, 0.5), (90, 1.5), (88, 0.5), (86, 0.5))),
    Bar(45, (61, 64, 69, 73, 76), ((88, 2.0), (85, 1.0), (81, 1.0))),
)
_ANSWER = (
    Bar(47, (62, 66, 71, 74, 78), ((90, 1.5), (88, 0.5), (86, 1.0), (83, 1.0))),
    Bar(42, (61, 66, 69, 73, 76), ((85, 1.0), (81, 1.0), (78, 1.0), (81, 1.0))),
    Bar(43, (62, 67, 71, 74, 79), ((83, 0.75), (86, 0.75), (91, 0.5), (90, 1.0), (86, 1.0))),
    Bar(45, (61, 64, 69, 73, 79), ((88, 1.0), (90, 0.5), (88, 0.5), (85, 1.0), (81, 1.0))),
)
_CLOSE = (
    Bar(43, (62, 67, 71, 74, 78), ((86, 1.0), (88, 1.0), (90, 1.0), (91, 1.0))),
    Bar(45, (61, 64, 69, 73, 79), ((93, 1.5), (91, 0.5), (88, 1.0), (85, 1.0))),
)
_LAST = Bar(38, (62, 66, 69, 74, 78, 81, 86))

_ARPEGGIO = (0, 2, 1, 3, 2, 4, 3, 1)
"""Which note of the chord each eighth of a bar takes."""


def demo_music(length_s: float = 32.0) -> DemoMusic:
    """Play the piece, cut to a length.

    Parameters
    ----------
    length_s : float
        Length of the sound, at least one bar and the last chord. [s]

    Raises
    ------
    InputError
        If the length is shorter than that.
    """
    bars = math.floor((length_s - _RING_S) / BAR_S + 1e-9)
    if bars < 1:
        raise InputError(f"length_s must be at least {BAR_S + _RING_S:.1f} s for the demo music, got {length_s:g}")
    score, sections = _form(bars)
    mix = _Mix(length_s)
    _play(mix, score, first_verse=next(section.bar for section in sections if section.name == "verse"))
    beats = tuple(index * _BEAT_S for index in range(max(2, math.ceil(length_s * BPM / 60.0))))
    return DemoMusic(Sound(mix.finish(), RATE_HZ), Beats(beats, BEATS_PER_BAR), BPM, bars, sections)


def music_of_bars(bars: int) -> DemoMusic:
    """The piece with a number of full bars before its last chord."""
    return demo_music(bars * BAR_S + BAR_S)


def _form(bars: int) -> tuple[list[Bar], tuple[Section, ...]]:
    """Opening, verses and answers in turn, close; a short piece leaves out the opening, then the close."""
    opening = list(_OPENING) if bars >= 6 else []
    close = list(_CLOSE) if bars >= 4 else []
    body: list[Bar] = []
    sections = [Section("opening", 1)] if opening else []
    for turn in range(bars):
        room_left = bars - len(opening) - len(close) - len(body)
        if room_left <= 0:
            break
        sections.append(Section("answer" if turn % 2 else "verse", len(opening) + len(body) + 1))
        body += (_ANSWER if turn % 2 else _VERSE)[:room_left]
    if close:
        sections.append(Section("close", bars - 1))
    sections.append(Section("last chord", bars + 1))
    return opening + body + close, tuple(sections)


class _Mix:
    """Adds voices at their times and places between left and right."""

    def __init__(self, length_s: float) -> None:
        count = round(length_s * RATE_HZ)
        self.dry = np.zeros((2, count), np.float32)
        self.to_room = np.zeros((2, count), np.float32)

    def add(self, voice: Voice, at_s: float, *, level: float, pan: float = 0.0, hall: float = 0.3) -> None:
        """Pan from -1, left, to 1, right, at equal power; `hall` is the share that the room gets."""
        start = round(at_s * RATE_HZ)
        stop = min(start + len(voice), self.dry.shape[1])
        piece = voice[: stop - start]
        angle = (pan + 1.0) * math.pi / 4.0
        for side, share in enumerate((math.cos(angle), math.sin(angle))):
            placed = piece * np.float32(level * share)
            self.dry[side, start:stop] += placed
            placed *= np.float32(hall)
            self.to_room[side, start:stop] += placed

    def finish(self) -> NDArray[np.float32]:
        """The whole, with the room, a soft ceiling, an eased end, and the peak at -1 dBFS: shape (n, 2)."""
        whole = self.dry + room(self.to_room)
        whole -= whole.mean(axis=1, keepdims=True)
        fall = min(int(1.2 * RATE_HZ), whole.shape[1] // 3)
        whole[:, -fall:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, fall + 1) / fall)
        whole[:, :96] *= np.linspace(0.0, 1.0, 96)
        whole = np.tanh(whole * np.float32(_DRIVE / np.abs(whole).max()))
        whole *= np.float32(_PEAK / np.abs(whole).max())
        return np.ascontiguousarray(whole.T)


def _play(mix: _Mix, score: list[Bar], *, first_verse: int) -> None:
    """All bars and the last chord; the players come in one after the other."""
    for number, bar in enumerate(score, start=1):
        start_s = (number - 1) * BAR_S
        _play_bar(mix, bar, start_s)
        if number >= first_verse:
            _play_bass(mix, bar, start_s)
        if number >= 5:
            _play_shaker(mix, start_s)
        if number >= 7:
            _play_drums(mix, start_s)
    _play_last(mix, len(score) * BAR_S)


def _play_bar(mix: _Mix, bar: Bar, start_s: float) -> None:
    for eighth, step in enumerate(_ARPEGGIO):
        accent = (1.0, 0.62, 0.8, 0.66)[eighth % 4]
        mix.add(
            pluck(bar.chord[step]),
            start_s + eighth * _BEAT_S / 2,
            level=0.30 * accent,
            pan=(-0.5, 0.5, 0.5, -0.5)[eighth % 4],
            hall=0.45,
        )
    for note in bar.chord[:4]:
        for side in (-1, 1):
            mix.add(strings(note, BAR_S, 4.0 * side), start_s, level=0.04, pan=0.8 * side, hall=0.5)
    at_s = start_s
    for tune_note, beats in bar.tune:
        if tune_note is not None:
            mix.add(bell(tune_note), at_s, level=0.14, pan=-0.1, hall=0.6)
        at_s += beats * _BEAT_S


def _play_bass(mix: _Mix, bar: Bar, start_s: float) -> None:
    mix.add(low_string(bar.bass, 2.4 * _BEAT_S), start_s, level=0.30, hall=0.05)
    mix.add(low_string(bar.bass + 7, 1.2 * _BEAT_S), start_s + 2.5 * _BEAT_S, level=0.20, hall=0.05)


def _play_shaker(mix: _Mix, start_s: float) -> None:
    for eighth in range(8):
        level = 0.5 if eighth % 2 else 0.3
        mix.add(shaker(), start_s + eighth * _BEAT_S / 2, level=level, pan=0.45, hall=0.15)


def _play_drums(mix: _Mix, start_s: float) -> None:
    for beat, level in ((0.0, 0.8), (2.0, 0.66), (2.5, 0.3)):
        mix.add(drum(), start_s + beat * _BEAT_S, level=level, hall=0.04)
    for beat in (1.0, 3.0):
        mix.add(brush(), start_s + beat * _BEAT_S, level=0.7, pan=-0.1, hall=0.25)


def _play_last(mix: _Mix, start_s: float) -> None:
    """The last chord, strummed upward."""
    for index, note in enumerate(_LAST.chord):
        mix.add(pluck(note), start_s + 0.045 * index, level=0.24, pan=0.5 * (-1) ** index, hall=0.5)
        mix.add(bell(note + 12 if note < 74 else note), start_s + 0.045 * index, level=0.11, pan=0.2, hall=0.6)
    mix.add(low_string(_LAST.bass, 2.5), start_s, level=0.32, hall=0.05)
    for note in _LAST.chord[:4]:
        for side in (-1, 1):
            mix.add(strings(note, 1.2, 4.0 * side), start_s, level=0.03, pan=0.8 * side, hall=0.5)
