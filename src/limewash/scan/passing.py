"""Taking light off the holds that came by while they were shown: headlights, a door that opened.

Every fringe and every bit of the code is equally bright once it is blurred over its lines. Where a blurred hold is
brighter than the others are at the same place, other light fell there. It adds in light, not in codes, and it
follows the paint as the projector's light does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.correspondence import Correspondence
from limewash.scan.scaling import phone_tone
from limewash.scan.takes import Takes
from limewash.scan.threads import all_of

Map = NDArray[np.float32]

_USUAL_TONE = 2.0  # exponent from a phone's codes to light, where the clip does not tell it
_CELLS_PER_PERIOD = 4
_BLUR_PERIODS = 2.0
_THIN = 4  # the blur is many cells wide: every so many of them make one of what is looked at
_STRONG = 0.2  # share of a place's usual light by which a hold must differ to count as touched
_HIDES = 0.45  # share of its light that a place must lose to count as hidden
_WIDE = 0.02  # and share of the lit part where it must
_ALIKE = 0.08  # share by which places may differ where nothing passes
_DOUBT = 0.4  # what is left of the confidence where something was in the way
_ALWAYS = 0.6  # of the holds: what is there so long does not pass


@dataclass(frozen=True)
class Passing:
    """What passed.

    Attributes
    ----------
    light_share, hidden_share : float
        Share of the holds that other light fell on, and in which something hid a part of the view. [-]
    hidden : ndarray of bool, shape (rows, columns), or None
        Cells of the camera's picture that were hidden in some hold; None where nothing was.
    cell : int
        Camera pixels along a cell's side.
    """

    light_share: float = 0.0
    hidden_share: float = 0.0
    hidden: NDArray[np.bool_] | None = None
    cell: int = 1

    def doubt(self, found: Correspondence) -> Correspondence:
        """The same correspondence with less confidence in what was hidden for a while."""
        if self.hidden is None:
            return found
        rows, columns = self.hidden.shape
        seen = found.seen
        column = np.clip(found.camera_x[seen].astype(np.intp) // self.cell, 0, columns - 1)
        row = np.clip(found.camera_y[seen].astype(np.intp) // self.cell, 0, rows - 1)
        confidence = found.confidence.copy()
        confidence[seen] *= np.where(self.hidden[row, column], np.float32(_DOUBT), np.float32(1.0))
        return replace(found, confidence=confidence)


def take_off_passing_light(takes: Takes) -> tuple[Takes, Passing]:
    """Make good the holds that other light fell on, and the gains of those in which something was in the way.

    Parameters
    ----------
    takes : Takes
        Its sums are changed in place where light is taken off.

    Returns
    -------
    takes : Takes
        The same with gains that the passing light no longer pulls at.
    passing : Passing
    """
    body = takes.plan.body
    worked = [n for n, hold in enumerate(body) if hold.kind in ("fringe", "code") and takes.counts[n]]
    step, blur = _coarseness(takes)
    tone = phone_tone(takes) or _USUAL_TONE
    small = np.stack(all_of([partial(_in_cells, takes, n, step, blur, tone) for n in worked]))
    usual = np.empty_like(small)
    for axis in (0, 1):
        # The blur does not level columns and rows alike: each is compared with its own.
        of_axis = np.array([body[n].axis == axis for n in worked])
        usual[of_axis] = np.median(small[of_axis], axis=0)
    lit = usual.mean(axis=0) > 0.05 * float(np.quantile(usual, 0.98))
    gains = np.array([_exposure(ratio) for ratio in (small / np.maximum(usual, 1e-6))[:, lit]])
    extra = small / gains[:, None, None] - usual
    strength = extra / np.maximum(usual, 1e-6)
    # The lowest bit turns the fringe at every period and never blurs quite level: it goes by its neighbours in time.
    level = np.array([body[n].kind == "fringe" or body[n].bit > 0 for n in worked])
    # An exposure that is far off shifts dark and bright paint by unequal shares.
    much = (_STRONG + 0.5 * np.abs(np.log(gains)))[:, None]
    brighter = _and_neighbours(level & ((strength[:, lit] > much).mean(axis=1) > _WIDE))
    hidden = _and_neighbours(level & ((strength[:, lit] < -_HIDES).mean(axis=1) > _WIDE))
    gone = (level[:, None, None] & lit & (strength < -_STRONG))[hidden].any(axis=0) if hidden.any() else None
    found = Passing(float(brighter.mean()), float(hidden.mean()), gone, _THIN * step)
    if max(found.light_share, found.hidden_share) > _ALWAYS:
        return takes, Passing()
    if brighter.any():
        paint = _paint(takes, worked, step, blur, tone)
        for k in np.flatnonzero(brighter):
            _take_off(takes, worked[k], np.maximum(extra[k], 0.0) * np.float32(gains[k]), paint, tone)
    if brighter.any() or hidden.any():
        takes = replace(takes, gains=np.interp(np.arange(len(body)), worked, gains ** (1.0 / tone)))
    return takes, found


def _and_neighbours(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Also the holds next to those: what passes comes and goes slowly."""
    return np.asarray(np.convolve(flags, np.ones(3), mode="same") > 0)


def _exposure(ratio: Map) -> float:
    """How bright a hold is where nothing passes, from its ratio to the usual: the commonest one."""
    log = np.log(np.maximum(ratio, 1e-3))
    count, edges = np.histogram(log, bins=np.arange(-1.0, 1.0, _ALIKE / 4))
    near = np.convolve(count, np.ones(5), mode="same")
    middle = float(edges[int(np.argmax(near))]) + _ALIKE / 8
    alike = log[np.abs(log - middle) < 0.75 * _ALIKE]
    return float(np.exp(np.median(alike))) if alike.size else float(np.median(ratio))


def _coarseness(takes: Takes) -> tuple[int, float]:
    """Camera pixels to a cell, and the blur in cells: wide enough to level the fringe where it is coarsest."""
    (wide, high), plan = takes.info.size, takes.plan
    periods = (plan.axes[0].period_px * wide / plan.size[0], plan.axes[1].period_px * high / plan.size[1])
    step = max(1, int(min(periods) / _CELLS_PER_PERIOD))
    return step, _BLUR_PERIODS * max(periods) / step


def _in_cells(takes: Takes, n: int, step: int, blur: float, tone: float) -> Map:
    """Light of a hold, coarse and blurred. Codes are averaged within a cell, light from cell to cell."""
    height, width = takes.sums.shape[1:]
    few = (width // (_THIN * step), height // (_THIN * step))
    size = (_THIN * few[0], _THIN * few[1])
    whole = takes.sums[n, : size[1] * step, : size[0] * step]  # whole cells are averaged several times faster
    codes = cv2.resize(whole, size, interpolation=cv2.INTER_AREA).astype(np.float32) / np.float32(takes.counts[n])
    light = cv2.pow(np.maximum(codes - np.float32(takes.info.luma_black), 0.0), tone)
    return np.asarray(cv2.resize(cv2.GaussianBlur(light, (0, 0), blur), few, interpolation=cv2.INTER_AREA))


def _light(takes: Takes, n: int, tone: float) -> Map:
    """Mean picture of a hold in light, up to a factor."""
    codes = takes.sums[n].astype(np.float32) / np.float32(takes.counts[n]) - np.float32(takes.info.luma_black)
    return np.asarray(cv2.pow(np.maximum(codes, 0.0), tone), dtype=np.float32)


def _blurred(light: Map, step: int, blur: float) -> Map:
    size = (max(light.shape[1] // step, 1), max(light.shape[0] // step, 1))
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(small, (0, 0), blur), dtype=np.float32)


def _paint(takes: Takes, worked: list[int], step: int, blur: float, tone: float) -> Map:
    """How much more light each pixel returns than its surroundings, (height, width), told from a few holds' mean."""
    few = worked[:: max(1, len(worked) // 8)]
    mean: Map = np.asarray(np.mean([_light(takes, n, tone) for n in few], axis=0), dtype=np.float32)
    around = cv2.resize(_blurred(mean, step, blur), mean.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.minimum(mean / np.maximum(around, np.float32(1e-3)), 4.0), dtype=np.float32)


def _take_off(takes: Takes, n: int, extra: Map, paint: Map, tone: float) -> None:
    wide = cv2.resize(extra, paint.shape[::-1], interpolation=cv2.INTER_LINEAR)
    left = np.maximum(_light(takes, n, tone) - wide * paint, 0.0)
    codes = cv2.pow(left, 1.0 / tone) + np.float32(takes.info.luma_black)
    takes.sums[n] = np.rint(codes * np.float32(takes.counts[n])).astype(np.uint16)
