"""Draws any moment of a score on one house, in linear light."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.show.colours import colour_row
from limewash.show.effects import AnyLight, CurveLight, Light, Moment, Patch
from limewash.show.effects.patch import Flat, check_drawable, soft_step
from limewash.show.fields import Fields, Selection
from limewash.show.laying import (
    BAND,
    LAYS,
    Dense,
    Index,
    Laid,
    LaidCurve,
    LaidPixels,
    LaidSheet,
    Planes,
    coloured,
    corners_of,
    extent_of,
    keep_hue,
)
from limewash.show.score import Score, TimedCue

Frame = NDArray[np.float32]


@dataclass(eq=False)
class _Layer:
    """A cue bound to one house: its pixels, its colours, and its covers as whole pictures where they are needed."""

    cue: TimedCue
    patch: Patch
    row: Flat
    no_tone: Flat
    _covers: dict[int, tuple[Flat, Dense, Index]] = field(default_factory=dict)

    def whole_cover(self, cover: Flat) -> tuple[Dense, Index]:
        """A cover of the patch's pixels as a picture (H, W), and its extent; kept, as covers stand still."""
        if id(cover) not in self._covers:
            width, height = self.patch.fields.size
            whole = np.zeros(width * height, dtype=np.float32)
            whole[self.patch.index] = cover
            picture = whole.reshape(height, width)
            self._covers[id(cover)] = (cover, picture, extent_of(picture))
        _, picture, extent = self._covers[id(cover)]
        return picture, extent


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
        for top, planes in self.bands(t_s):
            rows = planes.shape[1] // width
            cv2.merge(list(planes.reshape(3, rows, width)), frame[top : top + rows])
        return frame

    def bands(self, t_s: float) -> Iterator[tuple[int, Planes]]:
        """The picture at a time from top to bottom, in bands.

        Yields
        ------
        top : int
            First row of the band.
        planes : ndarray of float32 and shape (3, rows * W)
            Linear red, green and blue, 0 to 1; overwritten by the next band.
        """
        width, height = self.fields.size
        lights = self._lights(t_s)
        memory = np.empty(3 * BAND * width, dtype=np.float32)
        for top in range(0, height, BAND):
            pixels = min(BAND, height - top) * width
            planes = memory[: 3 * pixels].reshape(3, pixels)
            planes[:] = 0.0
            for light in lights:
                light.onto(planes, top, width)
            if len(lights) > 1:  # one light alone never passes the projector's white
                keep_hue(planes)
            yield top, planes

    def reduced(self, factor: int) -> Compositor:
        """Draws the same score at 1/`factor` the width and height, for previews and proofs."""
        return Compositor(self.score, self.fields.reduced(factor), where=self._where)

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

    def _lights(self, t_s: float) -> list[Laid]:
        """All lights of a moment, in the order in which they are laid."""
        lights: list[Laid] = []
        beats = self.score.beats
        for cue in self.score.timed:
            level = cue.level * envelope(cue, t_s) if cue.start_s <= t_s < cue.end_s else 0.0
            if level <= 0.0:
                continue
            layer = self._layer(cue)
            if len(layer.patch) == 0:
                continue
            now = Moment(t_s - cue.start_s, cue.length_s, beats.beat(t_s) - beats.beat(cue.start_s), cue.seed)
            drawn = cue.effect.draw(layer.patch, now, **cue.how)
            for light in drawn if isinstance(drawn, list) else [drawn]:
                lights.append(_laid(layer, light, np.float32(level)))
        return lights

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


def _laid(layer: _Layer, light: AnyLight, level: np.float32) -> Laid:
    """One light of a cue, ready to be laid onto bands."""
    lay = LAYS[layer.cue.lay]
    if isinstance(light, Light):
        pixels = layer.patch if light.part is None else light.part
        tone = layer.no_tone[: len(light.amount)] if light.tone is None else light.tone
        return LaidPixels(pixels.index, pixels.cover, light.amount, tone, layer.row, level, lay)
    lit = coloured(light.amount, light.tone, layer.row, level)
    if isinstance(light, CurveLight):
        pixels = layer.patch if light.part is None else light.part
        cover = pixels.cover if light.cover is None else light.cover
        return LaidCurve(pixels.index, cover, light.at, lit, lay)
    cover, extent = layer.whole_cover(layer.patch.cover if light.cover is None else light.cover)
    sheet = light.sheet
    return LaidSheet(cover, extent, corners_of(lit, len(sheet.x_m), *sheet.corners), lay)
