"""The pattern video: what the projector shows while a phone films the house.

Title card and count-down, start mark (see `mark`), then holds of half a second each (a fifth in the short form),
then an end mark, a few holds that check the chain of player and projector, and a closing card. All of it follows
from the projector's size and the frame rate.

Every hold of the body is of high spatial frequency, except the black and white references. Position is told by a
fringe in eight phase steps. Which of its periods it is, a Gray code of half-period cells tells: each bit is shown
as the same fringe with its sign turned where the bit is set, in two phases a quarter turn apart. So light that
bounces off the ground and glare in the lens, which only pass low frequencies, weigh the same in all holds and
drop out of every decision; all holds are equally bright, which both keeps the phone's exposure still and shows
how far it has moved; and every hold of the code, once it is read, is one more phase step of the fringe.

The checks are lines one pixel wide, in light and dark, then in dark and light, and a flat grey of half their code.
Where the lines arrive pixel for pixel they are half as bright as white. Where something scales the picture, they blur
into the grey, which on a display is far darker: that can be seen from across the street, where the lines cannot.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.writing import VideoWriter
from limewash.progress import Progress, silent
from limewash.scan.card import closing_card, title_card
from limewash.scan.mark import Form, mark_chips

Picture = NDArray[np.uint8]
Kind = Literal["black", "white", "grey", "fringe", "code", "lines"]

TITLE_S = 8.0
SHORT_TITLE_S = 0.5
CLOSING_S = 1.5
SHORT_CLOSING_S = 0.4

_SHORTEST_PERIOD_PX = 10.0  # a player that scales the picture a little would spoil a finer fringe
_FLAT = {"black": 0, "white": 255, "grey": 128}  # codes
_DISPLAY_GAMMA = 2.2  # fringes are sinusoidal in light on a usual display; any other response is tolerated


@dataclass(frozen=True)
class Axis:
    """How positions along one side of the picture are coded.

    Attributes
    ----------
    length_px : int
        Width or height of the picture. [px]
    period_px : float
        Period of the fringe; a cell of the Gray code is half of it. [px]
    bits : int
        Bits of the Gray code.
    steps : int
        Phase steps of the fringe.
    carriers : int
        2 where each bit is shown in two phases, 1 where it is shown in one.
    """

    length_px: int
    period_px: float
    bits: int
    steps: int
    carriers: int

    def fringe(self, phase_rad: float) -> NDArray[np.float64]:
        """Light of a fringe along the axis, shape (length,), 0 to 1: crests where the phase is `phase_rad`."""
        x = np.arange(self.length_px)
        light: NDArray[np.float64] = 0.5 + 0.5 * np.cos(2.0 * np.pi * x / self.period_px - phase_rad)
        return light

    def gray_bit(self, bit: int) -> NDArray[np.bool_]:
        """Bit of the Gray code (0 is the lowest) along the axis, shape (length,)."""
        cell = np.floor(np.arange(self.length_px) / (0.5 * self.period_px)).astype(np.int64)
        return (((cell ^ cell >> 1) >> bit) & 1).astype(bool)


@dataclass(frozen=True)
class Hold:
    """One still picture of the sequence; equal to another that shows the same, however long.

    Attributes
    ----------
    kind : str
        "black", "white", "grey", "fringe", "code" or "lines".
    beats : int
        How long it stays, in holds.
    axis : int
        0 for columns (position along x), 1 for rows.
    phase_rad : float
        Phase of the fringe, of the code's carrier or of the lines. [rad]
    bit : int
        Which bit of the code.
    """

    kind: Kind
    beats: int = field(default=1, compare=False)
    axis: int = 0
    phase_rad: float = 0.0
    bit: int = 0


@dataclass(frozen=True)
class PatternPlan:
    """The whole sequence for one projector size and frame rate; see `plan_pattern`.

    Attributes
    ----------
    size : (int, int)
        Projector's native width and height. [px]
    rate : Fraction
        Frames per second. [1/s]
    form : str
        "usual", or "short", for re-alignment.
    beat_frames : int
        Frames per beat; a hold lasts one beat or more.
    title_frames, closing_frames : int
        Length of the two cards.
    axes : (Axis, Axis)
        Codes along x and y.
    chips : tuple of int
        Start mark, one beat each, 1 for white.
    body : tuple of Hold
        What is measured.
    end : tuple of Hold
        End mark.
    checks : tuple of Hold
        Grey, lines of columns and their inverse, lines of rows and their inverse; none in the short form.
    """

    size: tuple[int, int]
    rate: Fraction
    form: Form
    beat_frames: int
    title_frames: int
    closing_frames: int
    axes: tuple[Axis, Axis]
    chips: tuple[int, ...]
    body: tuple[Hold, ...]
    end: tuple[Hold, ...]
    checks: tuple[Hold, ...]
    _drawn: dict[str, Picture] = field(default_factory=dict, repr=False, compare=False)

    @property
    def short(self) -> bool:
        """Whether it is the short form."""
        return self.form == "short"

    @property
    def beat_s(self) -> float:
        """Length of a beat [s]."""
        return float(self.beat_frames / self.rate)

    @property
    def frame_count(self) -> int:
        """Frames of the whole video."""
        return self.title_frames + len(self._beats) * self.beat_frames + self.closing_frames

    @property
    def duration_s(self) -> float:
        """Length of the whole video [s]."""
        return float(self.frame_count / self.rate)

    @property
    def body_beats(self) -> int:
        """Beats from the first hold of the body to the last."""
        return sum(hold.beats for hold in self.body)

    @property
    def checks_start(self) -> int:
        """Number of the first check, where holds of body, end and checks are counted through."""
        return len(self.body) + len(self.end)

    def frame(self, index: int) -> Picture:
        """Picture of a frame, uint8 (height, width), full-range grey; callers must not write to it.

        Raises
        ------
        InputError
            If there is no such frame.
        """
        if not 0 <= index < self.frame_count:
            raise InputError(f"frame must be 0 to {self.frame_count - 1}, got {index}")
        beat, _ = divmod(index - self.title_frames, self.beat_frames)
        if index < self.title_frames:
            left_s = math.ceil((self.title_frames - index) / self.rate)
            lasts_s = len(self._beats) * self.beat_s
            return self._draw(f"title {left_s}", lambda: title_card(self.size, left_s, lasts_s, short=self.short))
        if beat >= len(self._beats):
            return self._draw("closing", lambda: closing_card(self.size))
        hold = self._beats[beat]
        return self._draw(repr(hold), lambda: self.picture(hold))

    def picture(self, hold: Hold) -> Picture:
        """Picture of a hold, uint8 (height, width)."""
        width, height = self.size
        if hold.kind in _FLAT:
            return np.full((height, width), _FLAT[hold.kind], dtype=np.uint8)
        axis = self.axes[hold.axis]
        if hold.kind == "lines":
            line = (np.arange(axis.length_px) % 2 == (hold.phase_rad > 0.0)).astype(np.float64)
        else:
            line = axis.fringe(hold.phase_rad)
        if hold.kind == "code":
            line = np.where(axis.gray_bit(hold.bit), 1.0 - line, line)
        codes = np.rint(255.0 * line ** (1.0 / _DISPLAY_GAMMA)).astype(np.uint8)
        shaped = codes[None, :] if hold.axis == 0 else codes[:, None]
        return np.ascontiguousarray(np.broadcast_to(shaped, (height, width)))

    @cached_property
    def _beats(self) -> tuple[Hold, ...]:
        mark = [Hold("white" if chip else "black") for chip in self.chips]
        return tuple(hold for hold in (*mark, *self.body, *self.end, *self.checks) for _ in range(hold.beats))

    def _draw(self, key: str, draw: Callable[[], Picture]) -> Picture:
        # Frames are asked for in order: only the last picture is worth keeping.
        if key not in self._drawn:
            self._drawn.clear()
            self._drawn[key] = draw()
        return self._drawn[key]


def plan_pattern(size: tuple[int, int], rate: int | float | Fraction = 30, form: Form = "usual") -> PatternPlan:
    """Plan the pattern video.

    Parameters
    ----------
    size : (int, int)
        Projector's native width and height, even, at least 320 x 180. [px]
    rate : number
        Frames per second, 24 to 60. [1/s]
    form : str
        "usual" (under 45 s), or "short" (under 12 s), which repairs the line-up of a house that has been scanned.

    Raises
    ------
    InputError
        If the size or the rate is not allowed.
    """
    width, height = int(size[0]), int(size[1])
    if width < 320 or height < 180 or width > 8192 or height > 8192 or width % 2 or height % 2:
        raise InputError(
            f"size must be even and 320 x 180 to 8192 x 8192 pixels, got {size[0]} x {size[1]}; "
            "give the projector's native size, such as 1920x1080"
        )
    if not 23.9 <= float(rate) <= 60.1:
        raise InputError(f"rate must be 24 to 60 frames/s, got {float(rate):g}; 30 suits most players")
    exact = Fraction(rate).limit_denominator(1001)
    short = form == "short"
    axes = (_axis(width, 8, short=short), _axis(height, 7, short=short))
    body = _body(axes, short=short)
    beat = math.ceil(exact / 5) if short else max(math.ceil(exact / 5), round(exact * Fraction(234, 1000)))
    return PatternPlan(
        size=(width, height),
        rate=exact,
        form=form,
        beat_frames=beat,
        title_frames=round((SHORT_TITLE_S if short else TITLE_S) * exact),
        closing_frames=round((SHORT_CLOSING_S if short else CLOSING_S) * exact),
        axes=axes,
        chips=mark_chips((width, height), form),
        body=body,
        end=(Hold("black"), Hold("white"), Hold("black")),
        checks=() if short else _checks(),
    )


def write_pattern(path: Path, plan: PatternPlan, progress: Progress = silent) -> None:
    """Write the pattern video. Raises InputError if the file cannot be written."""
    # Low crf: fringes must come through the encoder unharmed; still holds cost few bytes all the same.
    with VideoWriter(path, plan.size, plan.rate, crf=10) as writer:
        for index in range(plan.frame_count):
            writer.write_grey(plan.frame(index))
            if index % 30 == 0:
                progress(index / plan.frame_count, "drawing the pattern")
    progress(1.0, "drawing the pattern")


def _axis(length_px: int, bits: int, *, short: bool) -> Axis:
    # As many half-period cells over the picture as the bits can number, unless the fringe would become too fine.
    period = max(_SHORTEST_PERIOD_PX, 2.0 * length_px / 2**bits)
    bits = math.ceil(math.log2(2.0 * length_px / period))
    return Axis(length_px, period, bits, steps=6 if short else 8, carriers=1 if short else 2)


def _body(axes: tuple[Axis, Axis], *, short: bool) -> tuple[Hold, ...]:
    references = (Hold("black"), Hold("white"))
    columns, rows = (_axis_holds(axes[k], k) for k in (0, 1))
    if short:
        return (*references, *columns, *rows, Hold("black"), Hold("white"))
    # All stay for two beats: the phone adds up twice the light, and its compression loses less of faint fringes. The
    # last white is longer still: the photo is taken from it.
    body = (*references, *columns, *references, *rows, Hold("black"))
    return (*(replace(hold, beats=2) for hold in body), Hold("white", beats=3))


def _checks() -> tuple[Hold, ...]:
    lines = [Hold("lines", axis=axis, phase_rad=phase) for axis in (0, 1) for phase in (0.0, math.pi)]
    return (Hold("grey"), *lines)


def _axis_holds(axis: Axis, which: int) -> tuple[Hold, ...]:
    # Neighbours in time differ by nearly half a turn: the change of hold is plain to see in the clip, and a
    # drift of the exposure cancels.
    half = axis.steps // 2
    steps = [k // 2 + half * (k % 2) for k in range(axis.steps)]
    fringes = [Hold("fringe", axis=which, phase_rad=2.0 * math.pi * step / axis.steps) for step in steps]
    # The phases of the bits share out a quarter turn, so that as further steps they fill the circle.
    codes = [
        Hold("code", axis=which, bit=bit, phase_rad=0.5 * math.pi * (bit / axis.bits + quarter))
        for bit in reversed(range(axis.bits))
        for quarter in ((0, 1) if axis.carriers == 2 else (bit % 2,))
    ]
    return (*fringes, *codes)
