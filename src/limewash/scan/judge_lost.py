"""How much of what the projector lights could not be read, and why.

White shows where light falls; where nothing was read all the same, the fringe tells why. A place counts by the
projector's pixels that land on it, told from the slope of what was read around it: a roof at grazing light is small in
the photo and large in the projector's picture. What was read but did not make it into the projector's picture was too
uncertain, or lay at a rim. What is so dark that even white does not show on it is not counted: the truth is somewhat
worse.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.correspondence import Correspondence
from limewash.scan.decode import Decoded
from limewash.scan.findings import Finding, Severity
from limewash.scan.passing import Passing
from limewash.scan.surface import Surfaces
from limewash.scan.takes import SPARSE, Takes

Map = NDArray[np.float32]
Mask = NDArray[np.bool_]

_LIT = 0.03  # of the strong light, that counts as light of the projector: lenses and the air scatter less
_STANDS_OUT = 0.5  # times the noise of a pixel, which is 2.5 times that of the mean of a few
_FEW = (5, 5)  # pixels; also how near to what was read light may be its blur
_DROWNED = 2.0  # times its noise, below which a fringe is not read for certain
_UNSURE_PX = 0.25  # noise from which on a place at a rim is too uncertain [projector px]
_CRISP = 0.42  # of the span from black to white, what half a sharp fringe's contrast comes to in a phone's codes
_FLAT = 0.25  # of that contrast; below it the lines are as good as gone
_AROUND = 61  # side of the square in which slopes are averaged [camera px]
_NOTED, _WARNED = 0.028, 0.2  # of what is lit

_WORDS = {
    "faint": "too little light (the fringe there is fainter than the camera's noise)",
    "washed_out": "washed-out lines (out of focus, smoothed by the camera's compression, or outshone by bounced light)",
    "clipped": "over-exposure",
    "hidden": "somebody or something that passed",
    "rims": "rims, leaves, narrow parts and crumbs of a few camera pixels",
}
_REMEDIES = {
    "faint": (
        "Longer exposure or higher ISO, the projector's brightest plain mode, the camera closer, darker surroundings; "
        "steep and dark parts such as roofs may stay out of reach."
    ),
    "washed_out": (
        "Focus projector and camera, bring the camera closer or use a higher resolution and bit rate; cover what "
        "reflects the light back, such as a pale ground."
    ),
    "clipped": "Lower the camera's exposure and lock it.",
    "hidden": "Film again while nobody walks through the light.",
    "rims": "Nothing has to be done where leaves are; a camera closer by or of more pixels reads finer things.",
}


@dataclass(frozen=True)
class Lost:
    """Shares of what the projector lights, by the projector's pixels.

    Attributes
    ----------
    total : float
        What could not be read. [-]
    by_cause : dict of str to float
        "faint", "washed_out", "clipped", "hidden" and "rims"; they add up to `total`. [-]
    """

    total: float
    by_cause: dict[str, float]


def find_lost(
    takes: Takes, decoded: Decoded, surfaces: Surfaces, correspondence: Correspondence, passing: Passing
) -> Lost:
    """See what was lost.

    Parameters
    ----------
    takes, decoded, surfaces, correspondence, passing
        Of one scan; of the takes, black and white are enough.
    """
    white, black = takes.mean("white", -1), takes.mean("black", -1)
    span, read = cv2.blur(white - black, _FEW), np.isfinite(surfaces.x) & _arrived(correspondence)
    near = cv2.dilate(read.astype(np.uint8), np.ones(_FEW, dtype=np.uint8)) > 0
    strong = float(np.quantile(span[SPARSE], 0.95))
    left = (span > np.maximum(_LIT * strong, _STANDS_OUT * decoded.noise)) & ~near
    weight = _pixels_there(surfaces, read)
    arrived = float(weight[near & np.isfinite(surfaces.x)].sum())
    whole = max(arrived + float(weight[left].sum()), 1e-9)
    top = (255.0 if white.max() > 225.0 else 235.0) - takes.info.luma_black
    dropped = max(arrived - float(correspondence.seen.sum()), 0.0)
    unsure = float(weight[near & (surfaces.sigma > _UNSURE_PX)].sum()) - _unsure_count(correspondence)
    faint = min(max(unsure, 0.0), dropped)
    by_cause = {"faint": faint / whole, "rims": (dropped - faint) / whole}
    noise, crisp, there = decoded.noise[left], _CRISP * span[left], weight[left]
    open_to = np.ones(len(there), dtype=np.bool_)
    for cause, where in (
        ("clipped", white[left] > top - 3.0),
        ("hidden", _hidden(passing, read.shape)[left]),
        ("faint", crisp < _DROWNED * noise),
        ("washed_out", decoded.amplitude[left] < np.maximum(_DROWNED * noise, _FLAT * crisp)),
        ("rims", open_to.copy()),
    ):
        by_cause[cause] = by_cause.get(cause, 0.0) + float(there[open_to & where].sum()) / whole
        open_to &= ~where
    return Lost(sum(by_cause.values()), by_cause)


def lost_findings(lost: Lost) -> list[Finding]:
    """Nothing where nearly all was read."""
    if lost.total <= _NOTED:
        return []
    causes = sorted(lost.by_cause, key=lambda cause: -lost.by_cause[cause])
    told = [cause for cause in causes if lost.by_cause[cause] > max(0.005, 0.1 * lost.total)]
    parts = ", ".join(f"{100 * lost.by_cause[cause]:.1f} % for {_WORDS[cause]}" for cause in told)
    text = f"Of what the projector lights in the camera's view, {100 * lost.total:.1f} % could not be read: {parts}."
    severity: Severity = "warning" if lost.total > _WARNED else "note"
    numbers = {"unread_share": lost.total, **{f"{cause}_share": share for cause, share in lost.by_cause.items()}}
    return [Finding("unread", severity, text, " ".join(_REMEDIES[cause] for cause in told[:2]), numbers)]


def _pixels_there(surfaces: Surfaces, read: Mask) -> Map:
    """Projector pixels to a camera pixel, from what was read around it."""
    across_x, across_y, down_x, down_y = surfaces.slope
    there = np.where(read, np.abs(across_x * down_y - across_y * down_x), 0.0).astype(np.float32)
    some = there[SPARSE][read[SPARSE]]
    usual = float(np.median(some)) if some.size else 1.0
    count = cv2.boxFilter(read.astype(np.float32), -1, (_AROUND, _AROUND))
    mean = cv2.boxFilter(there, -1, (_AROUND, _AROUND)) / np.maximum(count, np.float32(1e-3))
    return np.where(read, there, np.where(count > 0.02, mean, np.float32(usual)))


def _arrived(correspondence: Correspondence) -> Mask:
    """Camera pixels at or beside which a projector pixel is said to be seen."""
    width, height = correspondence.camera_size
    there = np.zeros((height, width), dtype=np.uint8)
    seen = correspondence.seen
    column, row = (np.rint(part[seen]).astype(np.intp) for part in (correspondence.camera_x, correspondence.camera_y))
    there[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)] = 1
    return np.asarray(cv2.dilate(there, np.ones(_FEW, dtype=np.uint8)) > 0)


def _unsure_count(correspondence: Correspondence) -> int:
    """How many projector pixels were kept although they are unsure; see `to_projector_grid` on confidence."""
    return int((correspondence.seen & (correspondence.confidence < 1.0 / (1.0 + 8.0 * _UNSURE_PX**2))).sum())


def _hidden(passing: Passing, shape: tuple[int, ...]) -> Mask:
    if passing.hidden is None:
        return np.zeros(shape, dtype=np.bool_)
    cells = cv2.resize(passing.hidden.astype(np.uint8), None, fx=passing.cell, fy=passing.cell, interpolation=0)
    hidden = np.zeros(shape, dtype=np.bool_)
    rows, columns = min(shape[0], cells.shape[0]), min(shape[1], cells.shape[1])
    hidden[:rows, :columns] = cells[:rows, :columns] > 0
    return hidden
