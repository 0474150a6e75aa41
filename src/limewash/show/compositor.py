"""Lays the light of all cues of a moment over each other, in linear light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError
from limewash.jit import kernel
from limewash.show.colours import STEPS, colour_row
from limewash.show.effects import AnyLight, Light, Moment, Patch, SheetLight
from limewash.show.effects.patch import Flat, check_drawable, soft_step
from limewash.show.fields import Fields, Selection
from limewash.show.score import Score, TimedCue

Frame = NDArray[np.float32]
Four = tuple[np.float32, np.float32, np.float32, np.float32]

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
        drawn = cue.effect.draw(layer.patch, now, **cue.how)
        for light in drawn if isinstance(drawn, list) else [drawn]:
            _put(flat, layer, light, np.float32(level))

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


def _put(flat: Flat, layer: _Layer, light: AnyLight, level: np.float32) -> None:
    """Lay one light of a cue onto the flattened frame."""
    a, b, c = (np.float32(k) for k in _LAID[layer.cue.lay])
    pixels = layer.patch if isinstance(light, SheetLight) or light.part is None else light.part
    if isinstance(light, Light):
        tone = layer.no_tone[: len(light.amount)] if light.tone is None else light.tone
        _lay(flat, pixels.index, pixels.cover, light.amount, tone, layer.row, level, a, b, c)
        return
    cover = pixels.cover if light.cover is None else light.cover
    lit = _coloured(light.amount, light.tone, layer.row)
    if isinstance(light, SheetLight):
        runs, wide = light.sheet.runs, len(light.sheet.x_m)
        first, length, corner, right, up = runs.first, runs.length, runs.corner, runs.right, runs.up
        _lay_sheet(flat, pixels.index, cover, first, length, corner, right, up, lit, wide, level, a, b, c)
    else:
        _lay_curve(flat, pixels.index, cover, light.at, lit, level, a, b, c)


def _coloured(amount: ArrayLike, tone: ArrayLike, row: Flat) -> Flat:
    """Light and its cover, (red, green, blue, amount) one after the other, of amounts and tones of one shape."""
    strength, place = np.broadcast_arrays(amount, tone)
    step = np.rint(np.clip(place, 0.0, 1.0) * (STEPS - 1)).astype(np.intp).reshape(-1)
    strong = np.clip(strength, 0.0, 1.0).astype(np.float32).reshape(-1, 1)
    return np.concatenate([row.reshape(-1, 3)[step] * strong, strong], axis=1).reshape(-1)


# In these kernels places are unsigned: a signed one would be checked for counting from the end, at every pixel.


@kernel
def _blend(
    flat: Flat,
    p: np.uintp,
    red: np.float32,
    green: np.float32,
    blue: np.float32,
    s: np.float32,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    """Lay light of strength `s` onto one pixel; see `_LAID` for `a`, `b`, `c`."""
    one = np.float32(1.0)
    p1, p2 = p + np.uintp(1), p + np.uintp(2)
    if b == np.float32(0.0):  # light added, by far the most frequent
        red, green, blue = flat[p] + red, flat[p1] + green, flat[p2] + blue
        most = max(red, green, blue)
        if most > one:  # beyond the projector's white: back to it, keeping the hue
            scale = one / most
            red, green, blue = red * scale, green * scale, blue * scale
    else:
        keep = one - b * s
        red = flat[p] * (keep + c * red) + a * red
        green = flat[p1] * (keep + c * green) + a * green
        blue = flat[p2] * (keep + c * blue) + a * blue
    flat[p], flat[p1], flat[p2] = red, green, blue


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
    zero, one, last = np.float32(0.0), np.float32(1.0), np.float32(STEPS - 1)
    for k in range(len(index)):
        s = min(max(amount[k], zero), one) * cover[k] * level
        if s > zero:
            step = np.uintp(np.int32(min(max(tone[k], zero), one) * last + np.float32(0.5))) * np.uintp(3)
            red, green, blue = row[step] * s, row[step + np.uintp(1)] * s, row[step + np.uintp(2)] * s
            _blend(flat, np.uintp(index[k]) * np.uintp(3), red, green, blue, s, a, b, c)


@kernel
def _on_sheet(lit: Flat, low: np.uintp, wide: np.uintp, u: np.float32, v: np.float32) -> Four:
    """Bilinear red, green, blue and strength from the four points at and above `low`."""
    four, one = np.uintp(4), np.float32(1.0)
    w00, w01, w10, w11 = (one - u) * (one - v), u * (one - v), (one - u) * v, u * v
    high = low + wide
    red = w00 * lit[low] + w01 * lit[low + four] + w10 * lit[high] + w11 * lit[high + four]
    low, high = low + np.uintp(1), high + np.uintp(1)
    green = w00 * lit[low] + w01 * lit[low + four] + w10 * lit[high] + w11 * lit[high + four]
    low, high = low + np.uintp(1), high + np.uintp(1)
    blue = w00 * lit[low] + w01 * lit[low + four] + w10 * lit[high] + w11 * lit[high + four]
    low, high = low + np.uintp(1), high + np.uintp(1)
    s = w00 * lit[low] + w01 * lit[low + four] + w10 * lit[high] + w11 * lit[high + four]
    return red, green, blue, s


@kernel
def _lay_sheet(
    flat: Flat,
    index: NDArray[np.int32],
    cover: Flat,
    first: NDArray[np.int32],
    length: NDArray[np.int32],
    corner: NDArray[np.int32],
    right: Flat,
    up: Flat,
    lit: Flat,
    columns: int,
    level: np.float32,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    wide, zero = np.uintp(4 * columns), np.float32(0.0)
    for run in range(len(first)):
        red, green, blue, s = _on_sheet(lit, np.uintp(corner[run, 0]) * np.uintp(4), wide, right[run, 0], up[run, 0])
        r1, g1, b1, s1 = _on_sheet(lit, np.uintp(corner[run, 1]) * np.uintp(4), wide, right[run, 1], up[run, 1])
        if s <= zero and s1 <= zero:
            continue
        step = np.float32(1.0) / np.float32(max(length[run] - 1, 1))
        r1, g1, b1, s1 = (r1 - red) * step, (g1 - green) * step, (b1 - blue) * step, (s1 - s) * step
        k = np.uintp(first[run])
        p = np.uintp(index[k]) * np.uintp(3)
        for j in range(length[run]):
            t = np.float32(j)
            share = cover[k + np.uintp(j)] * level
            _blend(
                flat,
                p + np.uintp(j) * np.uintp(3),
                (red + t * r1) * share,
                (green + t * g1) * share,
                (blue + t * b1) * share,
                (s + t * s1) * share,
                a,
                b,
                c,
            )


@kernel
def _lay_curve(
    flat: Flat,
    index: NDArray[np.int32],
    cover: Flat,
    at: Flat,
    lit: Flat,
    level: np.float32,
    a: np.float32,
    b: np.float32,
    c: np.float32,
) -> None:
    count = len(lit) // 4
    last, most = np.float32(count - 1), np.int32(count - 2)
    for k in range(len(index)):
        place = min(max(at[k] * last, np.float32(0.0)), last)
        whole = min(np.int32(place), most)
        share = cover[k] * level
        w1 = (place - np.float32(whole)) * share
        w0 = share - w1
        e = np.uintp(whole) * np.uintp(4)
        f = e + np.uintp(4)
        s = w0 * lit[e + np.uintp(3)] + w1 * lit[f + np.uintp(3)]
        if s > np.float32(0.0):
            red = w0 * lit[e] + w1 * lit[f]
            green = w0 * lit[e + np.uintp(1)] + w1 * lit[f + np.uintp(1)]
            blue = w0 * lit[e + np.uintp(2)] + w1 * lit[f + np.uintp(2)]
            _blend(flat, np.uintp(index[k]) * np.uintp(3), red, green, blue, s, a, b, c)
