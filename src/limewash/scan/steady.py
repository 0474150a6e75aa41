"""Measuring how far the picture moved while the pattern played, and putting the holds back to where the photo is."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.scan.takes import Takes

Picture = NDArray[np.float32]

_RUINED_PX = 3.0  # of a 1920 wide picture: the fringes of one direction no longer fit those of the other
_WIDE_PX = 1920
_ALIKE = 0.06  # correlation of edges, from which on they are the same ones; that of noise is a fifth of it
_WORTH_PX = 0.4  # camera px; less is trembling, which the holds average away


def hold_still(path: Path, takes: Takes) -> tuple[Takes, float]:
    """Take a slow movement out of the holds.

    Parameters
    ----------
    path : Path
        The clip, for messages.
    takes : Takes
        Its sums are changed in place where they are moved.

    Returns
    -------
    takes : Takes
        All holds as the camera stood during the last white one, from which the photo is made.
    moved_px : float
        Greatest distance from there of a white reference as it was filmed. [px]

    Raises
    ------
    InputError
        If the picture moved too far.
    """
    whites = _whites(takes)
    last = _edges(takes, whites[-1:])
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        shifts = list(pool.map(lambda n: _moved_px(takes, last, _edges(takes, [n])), whites[:-1]))
    moved_px = max((float(np.hypot(*shift)) for shift in shifts), default=0.0)
    _refuse_ruined(path, takes, moved_px)
    if moved_px < _WORTH_PX:
        return takes, moved_px
    middle_s = takes.spans_s.mean(axis=1)
    known = [(middle_s[n], shift) for n, shift in zip(whites, [*shifts, np.zeros(2)], strict=True)]
    for axis in (0, 1):
        steps = _steps(takes, axis)
        known.append((float(middle_s[steps].mean()), _moved_px(takes, last, _edges(takes, steps))))
    known.sort(key=lambda moment: moment[0])
    times_s, places = np.array([t for t, _ in known]), np.array([shift for _, shift in known])
    for n, t_s in enumerate(middle_s):
        _move_back(takes.sums[n], np.interp(t_s, times_s, places[:, 0]), np.interp(t_s, times_s, places[:, 1]))
    return takes, moved_px


def moved_between(path: Path, takes: Takes) -> float:
    """How far photos in no order moved from the white one: the greater of the means of both fringes' photos [px].

    NaN where the wall is too plain to tell.

    Raises
    ------
    InputError
        If they moved too far.
    """
    white = _edges(takes, _whites(takes)[-1:])
    moved_px = float("nan")
    for axis in (0, 1):
        fringes = _edges(takes, _steps(takes, axis))
        dx, dy = shift_px(white, fringes)
        back = np.roll(fringes, (-round(dy), -round(dx)), axis=(0, 1))
        if float(np.mean(white * back)) > _ALIKE:
            moved_px = float(np.fmax(moved_px, np.hypot(dx, dy) * _scale(takes, white)))
    if moved_px > 0.0:
        _refuse_ruined(path, takes, moved_px)
    return moved_px


def _whites(takes: Takes) -> list[int]:
    return [n for n, hold in enumerate(takes.plan.body) if hold.kind == "white" and takes.counts[n]]


def _steps(takes: Takes, axis: int) -> list[int]:
    """All steps of a fringe, which together are a picture without a fringe."""
    return [n for n, hold in enumerate(takes.plan.body) if hold.kind == "fringe" and hold.axis == axis]


def _refuse_ruined(path: Path, takes: Takes, moved_px: float) -> None:
    if moved_px > _RUINED_PX * takes.info.size[0] / 1920:
        raise InputError(
            f"{path}: the camera or the projector moved by {moved_px:.1f} px while the pattern played, too far to "
            "put it right; put both on something that stands still, touch nothing, and film again"
        )


def shift_px(before: Picture, after: Picture) -> tuple[float, float]:
    """How far a picture moved to the right and down: whole pixels by phase, the rest by its slopes [px]."""
    window = cv2.createHanningWindow(before.shape[::-1], cv2.CV_32F)
    # Given the window, OpenCV 5 lays it over the pictures of its caller.
    (dx, dy), _ = cv2.phaseCorrelate(before * window, after * window)
    for _ in range(2):  # slopes lead less than a pixel far, and the phase may be off by one
        whole_x, whole_y = round(dx), round(dy)
        back = np.roll(after, (-whole_y, -whole_x), axis=(0, 1))
        edge = slice(8 + abs(whole_y), -8 - abs(whole_y)), slice(8 + abs(whole_x), -8 - abs(whole_x))
        rest_x, rest_y = _rest(before[edge], back[edge])
        dx, dy = whole_x + rest_x, whole_y + rest_y
        if max(abs(rest_x), abs(rest_y)) <= 0.5:
            break
    return dx, dy


def _rest(before: Picture, back: Picture) -> tuple[float, float]:
    """Small shift to the right and down by the pictures' slopes [px]."""
    slopes = [(_slope(picture.T).T[:, 2:-2], _slope(picture)[2:-2]) for picture in (before, back)]
    down, across = zip(*slopes, strict=True)
    change = (before - back)[2:-2, 2:-2]

    def product(a: Picture, b: Picture) -> float:
        return float(np.sum(a * b, dtype=np.float64))

    # The slopes of one against those of the other: against themselves, their noise would make the shift come out small.
    xx, yy = product(*across), product(*down)
    xy = 0.5 * (product(across[0], down[1]) + product(across[1], down[0]))
    x, y = (0.5 * product(part[0] + part[1], change) for part in (across, down))
    det = xx * yy - xy * xy
    if det <= 0.0:  # nothing but noise
        return 0.0, 0.0
    return (yy * x - xy * y) / det, (xx * y - xy * x) / det


def _slope(picture: Picture) -> Picture:
    """Slope along rows, two columns less at either end; of fourth order, for edges are a few pixels wide."""
    near, far = picture[:, 3:-1] - picture[:, 1:-3], picture[:, 4:] - picture[:, :-4]
    return np.asarray((8.0 * near - far) / 12.0, dtype=np.float32)


def _moved_px(takes: Takes, before: Picture, after: Picture) -> NDArray[np.float64]:
    """How far edges moved, in pixels of the takes."""
    return np.array(shift_px(before, after)) * _scale(takes, before)


def _scale(takes: Takes, edges: Picture) -> int:
    """Pixels of the takes to one of their edges."""
    return int(takes.sums.shape[2] // edges.shape[1])


def _edges(takes: Takes, holds: list[int]) -> Picture:
    """Edges of what some holds show together; of pictures wider than 1920 halved: theirs are no sharper."""
    total = sum(_halved(takes.sums[n]) / np.float32(takes.counts[n] * takes.gains[n]) for n in holds)
    return _relief(np.asarray(total / np.float32(len(holds)), dtype=np.float32))


def _halved(sums: NDArray[np.uint16]) -> NDArray[np.uint16]:
    while sums.shape[1] > _WIDE_PX:
        size = (sums.shape[1] // 2, sums.shape[0] // 2)
        sums = np.asarray(cv2.resize(sums[: 2 * size[1], : 2 * size[0]], size, interpolation=cv2.INTER_AREA))
    return sums


def _relief(picture: Picture) -> Picture:
    """Edges alone, all pictures alike strong, so that the light's own shape and level do not hold the shift back."""
    fine = cv2.GaussianBlur(picture, (0, 0), 1.5)
    relief = fine - cv2.GaussianBlur(picture, (0, 0), 5.0)
    return np.asarray(relief / np.float32(max(float(relief.std()), 1e-6)), dtype=np.float32)


def _move_back(sums: NDArray[np.uint16], dx: float, dy: float) -> None:
    """Move a picture to the left and up by what it had moved, in place."""
    if np.hypot(dx, dy) < 0.02:
        return
    move = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    sums[:] = cv2.warpAffine(sums, move, sums.shape[::-1], flags=flags, borderMode=cv2.BORDER_REPLICATE)
