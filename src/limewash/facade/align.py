"""A daylight photo laid under the scan's photo: found by its own features, with the rest told in pixels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.geometry.homography import apply_homography, fit_homography

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

FEWEST = 25
"""Matches below this number could be chance."""
_LONGEST_PX = 1600
_REACH_PX = 3.0
"""How far a match may lie from where the rest puts it, in the reduced pictures. [px]"""


@dataclass(frozen=True, eq=False)
class Alignment:
    """How a photo lies under another.

    Attributes
    ----------
    matrix : ndarray of shape (3, 3)
        Takes daylight pixels to pixels of the scan's photo.
    residual_px : float
        Median distance of matched details that agree, in the scan's photo. [px]
    p95_px : float
        95 of 100 such details are nearer than this. [px]
    matches : int
    share : float
        Part of all matches that agree: a low one means that much of the house lies in another plane. [-]
    """

    matrix: Array
    residual_px: float
    p95_px: float
    matches: int
    share: float


def align(daylight: Picture, photo: Picture) -> Alignment:
    """Find how a daylight photo lies under the scan's photo.

    Both must be taken from nearly the same place: a homography holds for one plane, or for a camera that only
    turned or zoomed.

    Parameters
    ----------
    daylight, photo : ndarray of uint8, shape (H, W, 3)

    Raises
    ------
    InputError
        If too few details match.

    Notes
    -----
    Scale-invariant features on pictures with evened-out contrast, matched both ways, in reduced size; then a
    homography by random samples, and a weighted least-squares fit through the agreeing matches.
    """
    small_a, scale_a = _reduced(daylight)
    small_b, scale_b = _reduced(photo)
    spots_a, spots_b = _matches(small_a, small_b)
    if len(spots_a) < FEWEST:
        raise InputError(_too_few(len(spots_a)))
    chosen: Any
    _, chosen = cv2.findHomography(spots_a, spots_b, cv2.RANSAC, _REACH_PX, maxIters=20_000, confidence=0.9999)
    agree = np.zeros(len(spots_a), dtype=bool) if chosen is None else chosen.ravel() > 0
    if agree.sum() < FEWEST:
        raise InputError(_too_few(int(agree.sum())))
    full_a = _centred(spots_a[agree], 1.0 / scale_a)
    full_b = _centred(spots_b[agree], 1.0 / scale_b)
    matrix, off = _refined(full_a, full_b)
    return Alignment(
        matrix=matrix,
        residual_px=float(np.median(off)),
        p95_px=float(np.percentile(off, 95.0)),
        matches=int(agree.sum()),
        share=float(agree.mean()),
    )


def laid_under(daylight: Picture, alignment: Alignment, size: tuple[int, int]) -> Picture:
    """The daylight photo drawn in the scan photo's pixels; black where it does not reach."""
    drawn = cv2.warpPerspective(daylight, alignment.matrix, size, flags=cv2.INTER_AREA)
    return np.asarray(drawn, dtype=np.uint8)


def _too_few(count: int) -> str:
    return (
        f"only {count} details of the two photos match, {FEWEST} are needed; take the daylight photo from where "
        "the phone stood for the scan, with the whole house in it"
    )


def _reduced(picture: Picture) -> tuple[NDArray[np.uint8], float]:
    """Grey with evened-out contrast, at most 1600 px long, and its scale."""
    scale = min(_LONGEST_PX / max(picture.shape[:2]), 1.0)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.createCLAHE(4.0, (12, 8)).apply(small), dtype=np.uint8), scale


def _matches(a: NDArray[np.uint8], b: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    finder = cv2.SIFT.create(nfeatures=6000, contrastThreshold=0.02)
    words_a: Any  # None when there are no details, whatever the stubs say
    words_b: Any
    keys_a, words_a = finder.detectAndCompute(a, None)
    keys_b, words_b = finder.detectAndCompute(b, None)
    empty = np.empty((0, 2), dtype=np.float32)
    if words_a is None or words_b is None or len(keys_a) < 2 or len(keys_b) < 2:
        return empty, empty
    # Light falls otherwise at night: an edge may turn from dark-light to light-dark, its place stays. Root-scaled
    # descriptors are less swayed by the strongest gradients.
    rooted = [np.sqrt(w / np.maximum(w.sum(axis=1, keepdims=True), 1e-9)) for w in (words_a, words_b)]
    matcher = cv2.BFMatcher(cv2.NORM_L2, crossCheck=True)
    pairs = sorted(matcher.match(*rooted), key=lambda pair: pair.distance)[:1500]
    spots_a = np.array([keys_a[pair.queryIdx].pt for pair in pairs], dtype=np.float32).reshape(-1, 2)
    spots_b = np.array([keys_b[pair.trainIdx].pt for pair in pairs], dtype=np.float32).reshape(-1, 2)
    return spots_a, spots_b


def _centred(spots: NDArray[np.float32], scale: float) -> Array:
    """Pixel centres are integers in both sizes."""
    return (spots.astype(np.float64) + 0.5) * scale - 0.5


def _refined(a: Array, b: Array) -> tuple[Array, Array]:
    """Least squares with weights that forget outliers; the homography and each match's distance. [px]"""
    weights = np.ones(len(a))
    matrix = fit_homography(a, b)
    for _ in range(8):
        off = np.hypot(*(apply_homography(matrix, a) - b).T)
        spread = max(1.4826 * float(np.median(off)), 1e-3)
        weights = 1.0 / (1.0 + (off / spread) ** 2)
        matrix = fit_homography(a, b, weights=weights)
    return matrix, np.hypot(*(apply_homography(matrix, a) - b).T)
