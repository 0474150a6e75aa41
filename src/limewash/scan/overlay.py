"""The findings picture: over the photo, what the projector reaches and what not, and below it what was found."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.correspondence import Correspondence
from limewash.scan.findings import Finding, Findings
from limewash.scan.reach import DARK, SHADOW, SURE, UNSURE, Reach, find_reach

Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]

WIDTH_PX = 1600
_LINE_PX = 30
_MARGIN_PX = 36
_FONT, _BOLD = cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX
_SAMPLE = "Of the projector's picture 59 % lights what the phone sees, 13 % is lost."
_PAPER, _INK, _PALE = (250, 249, 246), (34, 36, 40), (112, 114, 118)

# Apart in lightness too, for eyes that tell colours badly.
_COLOURS: dict[int, Colour] = {
    SURE: (72, 196, 160),
    UNSURE: (255, 214, 64),
    SHADOW: (214, 72, 160),
    DARK: (64, 112, 232),
}
_SEVERITY: dict[str, tuple[str, Colour]] = {
    "warning": ("Warning", (190, 60, 30)),
    "note": ("Note", (150, 110, 0)),
    "good": ("Good", (30, 120, 80)),
}


def findings_picture(photo: Picture, correspondence: Correspondence, findings: Findings) -> Picture:
    """Draw the findings picture.

    Parameters
    ----------
    photo : ndarray of uint8, shape (camera height, camera width, 3)
        R'G'B'.
    correspondence : Correspondence
        Of the same scan.
    findings : Findings
        Of the same scan.

    Returns
    -------
    picture : ndarray of uint8, shape (h, 1600, 3)
        R'G'B'.
    """
    reach = find_reach(correspondence)
    height = round(photo.shape[0] * WIDTH_PX / photo.shape[1])
    top = _tinted(photo, reach, (WIDTH_PX, height))
    rows = [*_legend(reach), _Row(), *_list_of(findings)]
    page = np.empty((height + 2 * _MARGIN_PX + _LINE_PX * len(rows), WIDTH_PX, 3), dtype=np.uint8)
    page[:] = _PAPER
    page[:height] = top
    base = height + _MARGIN_PX + 22
    for number, row in enumerate(rows):
        row.draw(page, base + _LINE_PX * number)
    return page


def _tinted(photo: Picture, reach: Reach, size: tuple[int, int]) -> Picture:
    """The photo, grey, with the labels' colours over it; what no light is known of stays dark."""
    grey = cv2.cvtColor(cv2.resize(photo, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    share = np.asarray(grey[..., None], dtype=np.float32) / np.float32(255)
    rows, columns = reach.labels.shape
    span = (columns * reach.cell / photo.shape[1], rows * reach.cell / photo.shape[0])
    scale = np.array([[size[0] * span[0] / columns, 0, 0], [0, size[1] * span[1] / rows, 0]])
    labels = cv2.warpAffine(reach.labels, scale, size, flags=cv2.INTER_NEAREST)
    picture = share * np.array([80.0, 80.0, 84.0], dtype=np.float32)
    for label, colour in _COLOURS.items():
        here = labels == label
        # Enough of the photo shows through to know the place; flat colour where the photo is black.
        picture[here] = (0.5 + 0.5 * share[here]) * np.array(colour, dtype=np.float32)
    return np.asarray(np.clip(picture, 0, 255), dtype=np.uint8)


@dataclass(frozen=True)
class _Row:
    """One line below the picture."""

    text: str = ""
    swatch: Colour | None = None
    word: str = ""
    colour: Colour = _INK
    pale: bool = False

    def draw(self, page: Picture, base: int) -> None:
        x = _MARGIN_PX
        if self.swatch is not None:
            cv2.rectangle(page, (x, base - 18), (x + 34, base + 3), self.swatch, -1, cv2.LINE_AA)
            cv2.rectangle(page, (x, base - 18), (x + 34, base + 3), _INK, 1, cv2.LINE_AA)
        if self.word:
            cv2.putText(page, self.word, (x, base), _BOLD, 0.72, self.colour, 1, cv2.LINE_AA)
        indent = 50 if self.swatch is not None else 120
        if self.text:
            colour = _PALE if self.pale else _INK
            cv2.putText(page, self.text, (x + indent, base), _FONT, 0.66, colour, 1, cv2.LINE_AA)


def _legend(reach: Reach) -> list[_Row]:
    unsure = reach.seen_share - reach.sure_share
    counted = [
        (SURE, f"lit, its place known: {100 * reach.sure_share:.1f} % of the projector's picture"),
        (UNSURE, f"lit, its place uncertain: {100 * unsure:.1f} % of the projector's picture"),
        (SHADOW, f"in the shadow of something: {100 * reach.shadow_share:.1f} % of the front"),
        (DARK, f"glass, too dark, or open behind: {100 * reach.dark_share:.1f} % of the front"),
    ]
    rows = [_Row(text, _COLOURS[label]) for label, text in counted]
    return [*rows, _Row("no light of the projector found", (58, 58, 62))]


def _list_of(findings: Findings) -> list[_Row]:
    return [row for item in findings.items for row in _wrapped(item)]


def _wrapped(item: Finding) -> list[_Row]:
    word, colour = _SEVERITY[item.severity]
    (sample, _), _ = cv2.getTextSize(_SAMPLE, _FONT, 0.66, 1)
    letters = int((WIDTH_PX - 2 * _MARGIN_PX - 140) / sample * len(_SAMPLE))
    first, *more = textwrap.wrap(item.text, letters) or [""]
    remedy = textwrap.wrap(item.remedy, letters) if item.severity != "good" else []
    rows = [_Row(first, word=word, colour=colour), *(_Row(line) for line in more)]
    return rows + [_Row(line, pale=True) for line in remedy]
