"""Lays the light of all cues of a moment over each other, in linear light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.jit import kernel
from limewash.show.colours import STEPS, colour_row
from limewash.show.effects import Moment, Patch
from limewash.show.effects.patch import Flat, check_drawable, soft_step
from limewash.show.fields import Fields, Selection
from limewash.show.score import Score, TimedCue

Frame = NDArray[np.float32]

_LAID = {
    # What is laid adds `a` of its colour, takes `b` of what is below away, and gives `c` of that back tinted.
    "add": (1.0, 0.0, 0.0),
    "cover": (1.0, 1.0, 0.0),
    "tint": (0.0, 1.0, 1.0),
}


@dataclass(frozen=True, eq=False)
class _Layer:
    """A cue bound to one house: its pixels, its colours."""

    cue: TimedCue
    patch: Patch
    row: Flat
    no_tone: Flat


class Compositor:
    """Draws any moment of a score on one house.

    Parameters
    ----------
    score : Score
    fields : Fields
        Of the size in which frames are wanted.
    where : str
        Named in errors: the score's file.

    Raises
    ------
    InputError
        If a cue asks for something that the house does not have.
    """

    def __init__(self, score: Score, fields: Fields, *, where: str = "score") -> None:
        self.score = score
        self.fields = fields
        self._where = where
        self._layers: dict[int, _Layer] = {}
        for cue in score.timed:  # before anything is drawn: a wrong word must not stop a film half-way
            self._select(cue)

    def draw(self, t_s: float, *, out: Frame | None = None) -> Frame:
        """The picture at a time, linear BT.709 light, float32 (H, W, 3), 0 to 1.

        Parameters
        ----------
        t_s : float
            Time from the show's start. [s]
        out : ndarray, optional
            Where to draw it.
        """
        width, height = self.fields.size
        frame = np.empty((height, width, 3), dtype=np.float32) if out is None else out
        frame[:] = 0.0
        flat = frame.reshape(-1)
        active = [cue for cue in self.score.timed if cue.start_s <= t_s < cue.end_s]
        for cue in active:
            self._lay(self._layer(cue), t_s, flat)
        if len(active) > 1:  # one cue alone never passes full light
            _keep_hue(flat)
        return frame

    def forget_before(self, t_s: float) -> None:
        """Let go of the cues that ended before a time, when frames are drawn in order."""
        for number, layer in list(self._layers.items()):
            if layer.cue.end_s < t_s:
                del self._layers[number]

    def _layer(self, cue: TimedCue) -> _Layer:
        if cue.number not in self._layers:
            self._layers[cue.number] = self._bind(cue)
        return self._layers[cue.number]

    def _bind(self, cue: TimedCue) -> _Layer:
        selection = self._select(cue)
        patch = Patch(self.fields, selection, cue.effect.draws, cue.effect.reach_m(cue.how))
        return _Layer(cue, patch, colour_row(cue.colours).reshape(-1), np.zeros(len(patch), dtype=np.float32))

    def _lay(self, layer: _Layer, t_s: float, flat: Flat) -> None:
        cue = layer.cue
        level = cue.level * envelope(cue, t_s)
        if level <= 0.0 or len(layer.patch) == 0:
            return
        beats = self.score.beats
        now = Moment(t_s - cue.start_s, cue.length_s, beats.beat(t_s) - beats.beat(cue.start_s), cue.seed)
        light = cue.effect.draw(layer.patch, now, **cue.how)
        tone = layer.no_tone if light.tone is None else light.tone
        a, b, c = (np.float32(k) for k in _LAID[cue.lay])
        _lay(flat, layer.patch.index, layer.patch.cover, light.amount, tone, layer.row, np.float32(level), a, b, c)

    def _select(self, cue: TimedCue) -> Selection:
        try:
            selection = self.fields.select(cue.where)
            check_drawable(self.fields, selection, cue.effect.draws)
            return selection
        except InputError as error:
            raise InputError(f"{self._where}: {cue.label}, where: {error}") from None


def envelope(cue: TimedCue, t_s: float) -> float:
    """How far a cue is faded in, 0 to 1."""
    rise = 1.0 if cue.fade_in_s <= 0.0 else float(soft_step(0.0, cue.fade_in_s, t_s - cue.start_s))
    fall = 1.0 if cue.fade_out_s <= 0.0 else float(soft_step(0.0, cue.fade_out_s, cue.end_s - t_s))
    return rise * fall


@kernel
def _lay(
    flat: Flat,
    index: NDArray[np.int32],
    cover: Flat,
    amount: Flat,
    tone: Flat,
    row: Flat,
    level: np.float32,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    # Unsigned places: a signed one would be checked for counting from the end, at every pixel.
    zero, one, last = np.float32(0.0), np.float32(1.0), np.float32(STEPS - 1)
    for k in range(len(index)):
        s = min(max(amount[k], zero), one) * cover[k] * level
        step = np.uintp(np.int32(min(max(tone[k], zero), one) * last + np.float32(0.5))) * np.uintp(3)
        p = np.uintp(index[k]) * np.uintp(3)
        if b == zero:  # light added, by far the most frequent: half the work
            for ch in range(np.uintp(3)):
                flat[p + ch] += row[step + ch] * s
        else:
            for ch in range(np.uintp(3)):
                colour = row[step + ch] * s
                flat[p + ch] = flat[p + ch] * (one - b * s + c * colour) + a * colour


@kernel
def _keep_hue(flat: Flat) -> None:
    """Bring pixels that pass full light back to it without changing their hue."""
    for p in range(0, len(flat), 3):
        most = max(flat[p], flat[p + 1], flat[p + 2])
        if most > 1:
            scale = np.float32(1.0) / most
            flat[p] *= scale
            flat[p + 1] *= scale
            flat[p + 2] *= scale
