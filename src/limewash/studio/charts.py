"""Still pictures for setting a projector up, at its native size: every line falls on whole pixels."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError

Picture = NDArray[np.uint8]
Chart = Literal["white", "focus", "grid", "marks"]

_CELLS = 16
"""Cells of the alignment grid along the width."""
_PATCH_PX = 48
_PERIODS_PX = (2, 4, 8)


def chart(name: Chart, size: tuple[int, int]) -> Picture:
    """One of the charts, grey of shape (height, width).

    Raises
    ------
    InputError
        If the picture is smaller than 320 x 180 pixels: nothing could be read off it.
    """
    width, height = size
    if width < 320 or height < 180:
        raise InputError(f"charts need at least 320 x 180 pixels, the projector has {width} x {height}")
    picture = np.zeros((height, width), dtype=np.uint8)
    _CHARTS[name](picture)
    return picture


def _white(picture: Picture) -> None:
    picture[:] = 255


def _focus(picture: Picture) -> None:
    """Line pairs of 1, 2 and 4 px at nine places, so that corner and centre can be weighed against each other."""
    height, width = picture.shape
    _frame(picture)
    # Small pictures get smaller patches: three in a row, upright and lying, must fit nine times.
    patch = min(_PATCH_PX, height // 10)
    wide, high = patch * len(_PERIODS_PX), patch * 2
    for row in range(3):
        for column in range(3):
            left = (width - wide - 24) * column // 2 + 12
            top = (height - high - 24) * row // 2 + 12
            _line_pairs(picture[top : top + high, left : left + wide], patch)
    for radius in range(height // 8, height // 2, height // 8):
        cv2.circle(picture, (width // 2, height // 2), radius, 90, 1, cv2.LINE_8)


def _line_pairs(place: Picture, patch: int) -> None:
    for number, period in enumerate(_PERIODS_PX):
        stripes = np.where(np.arange(patch) % period < period // 2, 255, 0).astype(np.uint8)
        place[:patch, number * patch : (number + 1) * patch] = stripes[None, :]
        place[patch:, number * patch : (number + 1) * patch] = stripes[:, None]


def _grid(picture: Picture) -> None:
    height, width = picture.shape
    step = width / _CELLS
    for n in range(1, _CELLS):
        picture[:, round(n * step)] = 255 if n == _CELLS // 2 else 130
    rows = int(height / step / 2)
    for n in range(-rows, rows + 1):
        at = round(height / 2 + n * step)
        if 0 <= at < height:
            picture[at, :] = 255 if n == 0 else 130
    for corner in ((0, 0), (width - 1, 0), (0, height - 1), (width - 1, height - 1)):
        cv2.line(picture, corner, (width // 2, height // 2), 60, 1, cv2.LINE_8)
    _frame(picture)


def _marks(picture: Picture) -> None:
    """Circle and cross, as printers use them to lay one sheet over another: corners, sides, centre."""
    height, width = picture.shape
    reach = height // 16
    for y in (reach + 8, height // 2, height - 9 - reach):
        for x in (reach + 8, width // 2, width - 9 - reach):
            cv2.circle(picture, (x, y), reach // 2, 255, 1, cv2.LINE_8)
            cv2.line(picture, (x - reach, y), (x + reach, y), 255, 1)
            cv2.line(picture, (x, y - reach), (x, y + reach), 255, 1)
    _frame(picture)


def _frame(picture: Picture) -> None:
    """The outermost pixels: if one side of it is missing on the wall, the player or projector cuts the picture."""
    picture[[0, -1], :] = 255
    picture[:, [0, -1]] = 255


_CHARTS: dict[Chart, Callable[[Picture], None]] = {"white": _white, "focus": _focus, "grid": _grid, "marks": _marks}
