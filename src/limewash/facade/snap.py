"""Settle a drawn line on the edge that it was meant for, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.agree import Weighed, agree, weighed
from limewash.facade.corners import join_corners
from limewash.facade.edge_fit import EdgeFit
from limewash.facade.meant import LOOK, Candidate, candidates
from limewash.facade.profiles import Profiles, cut_profiles
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.facade.upright import make_upright
from limewash.geometry.path import Line, Path2, Segment
from limewash.geometry.path_measure import points_at, segment_length, tangents_at
from limewash.progress import Progress, silent

REACH_PX = 6.0
SHORTEST_PX = 8.0
MOST_SAMPLES = 240
_SPREADS = 3.0
"""What is within reach is within so many spreads of a click."""
_AGAIN_PX = 2.5


@dataclass(frozen=True)
class SettledSegment:
    """One segment after settling.

    Attributes
    ----------
    segment : Segment
        With its own ends, before it is joined to its neighbours. [px]
    shift_px : float
        Greatest distance that it moved across. [px]
    residual_px : float
        Spread of the edge around it: 1.48 times the median distance. [px]
    support : float
        Share of the places along it where the edge was found, 0 to 1.
    moved : bool
    """

    segment: Segment
    shift_px: float
    residual_px: float
    support: float
    moved: bool


@dataclass(frozen=True)
class SettledPath:
    """A path after settling, and how each of its segments fared."""

    path: Path2
    segments: tuple[SettledSegment, ...]

    @property
    def support(self) -> float:
        """Mean over the segments. [-]"""
        return float(np.mean([s.support for s in self.segments]))


def settle_path(photo: NDArray[np.uint8], path: Path2, *, reach_px: float = REACH_PX) -> SettledPath:
    """Move each segment of a path onto the edge near it that was most likely meant.

    Straight segments stay straight, or become gently bent where the lens bent the edge; arcs stay arcs; cubics
    stay cubics. Neighbours meet where they cross. Segments without an edge stay where they were drawn.

    Parameters
    ----------
    photo : ndarray of uint8, shape (H, W, 3)
        As `media.images.read_image` gives it.
    path : Path2
        In photo pixels. [px]
    reach_px : float
        How far a click may be from what it was meant for, 1 to 60: three times its spread along x and y. [px]

    Raises
    ------
    InputError
        If the photo or the reach is out of range.

    Notes
    -----
    Profiles across the segment are differentiated in linear light. Every line within reach is tried (arcs and
    cubics: by dynamic programming), and those that gather more than the lines beside them are candidates. Each is
    fitted to the peaks of all profiles, located to sub-pixels, with weights that forget outliers (Tukey's
    biweight). `limewash.facade.meant` says which of them is taken.
    """
    _check(photo, reach_px)
    hand_px = reach_px / _SPREADS
    return _laid(photo, _look(photo, Traced("path", Kind.OTHER, path), hand_px), hand_px)


def settle_tracing(
    photo: NDArray[np.uint8], tracing: Tracing, *, reach_px: float = REACH_PX, progress: Progress = silent
) -> list[SettledPath]:
    """Settle all paths of a tracing together, each as `settle_path` does, heeding what like things have in common.

    Parameters
    ----------
    photo : ndarray of uint8, shape (H, W, 3)
    tracing : Tracing
        Locked paths stay where they are.
    reach_px : float
        As in `settle_path`. [px]
    progress : callable, optional
        Told after each path; what it raises ends the work.

    Returns
    -------
    list of SettledPath
        For each path of the tracing.

    Notes
    -----
    Edges of one kind that face the same way get lighter or darker alike, and a row of equal rectangles has one width
    and one height (`limewash.facade.agree`).
    """
    _check(photo, reach_px)
    hand_px = reach_px / _SPREADS
    total, done, looked = sum(len(item.path.segments) for item in tracing.items), 0, []
    for item in tracing.items:
        looked.append(None if item.locked else _look(photo, item, hand_px))
        done += len(item.path.segments)
        progress(done / total, f"looked for the edges of {len(looked)} of {len(tracing.items)}")
    together = [look for look in looked if look is not None]
    if len(together) > 1:
        agree(together, make_upright(photo, None).to_upright_at_scale, hand_px)
    return [
        _as_drawn(item.path) if look is None else _laid(photo, look, hand_px)
        for item, look in zip(tracing.items, looked, strict=True)
    ]


def settle_segment(photo: NDArray[np.uint8], segment: Segment, *, reach_px: float = REACH_PX) -> SettledSegment:
    """Settle one segment by itself; see `settle_path`."""
    return settle_path(photo, Path2((segment,), closed=False), reach_px=reach_px).segments[0]


def _check(photo: NDArray[np.uint8], reach_px: float) -> None:
    if photo.ndim != 3 or photo.shape[2] != 3 or photo.dtype != np.uint8:
        raise InputError(f"photo must be uint8 of shape (H, W, 3), got {photo.dtype} of shape {photo.shape}")
    if not 1.0 <= reach_px <= 60.0:
        raise InputError(f"reach_px must be 1 to 60, got {reach_px!r}")


def _look(photo: NDArray[np.uint8], item: Traced, hand_px: float) -> Weighed:
    return weighed(item.kind, item.path, [_candidates(photo, segment, hand_px) for segment in item.path.segments])


def _candidates(photo: NDArray[np.uint8], segment: Segment, hand_px: float) -> list[Candidate]:
    if segment_length(segment) < SHORTEST_PX:
        return [Candidate(None, 0.0)]
    return candidates(segment, _profiles(photo, segment, hand_px), hand_px)


def _laid(photo: NDArray[np.uint8], look: Weighed, hand_px: float) -> SettledPath:
    """A path on the edges that are believed to be meant."""
    parts = zip(look.path.segments, look.found, look.weights, strict=True)
    settled = tuple(
        _settled(photo, segment, found[int(weights.argmax())].fit, hand_px) for segment, found, weights in parts
    )
    return SettledPath(join_corners(look.path, [s.segment for s in settled], _SPREADS * hand_px), settled)


def _settled(photo: NDArray[np.uint8], segment: Segment, fit: EdgeFit | None, hand_px: float) -> SettledSegment:
    if fit is None:
        return SettledSegment(segment, 0.0, 0.0, 0.0, moved=False)
    again_px = _AGAIN_PX / _SPREADS
    if not isinstance(segment, Line) and hand_px > again_px:
        # The models of curves hold for small moves: once more from where it is now.
        found = _candidates(photo, fit.segment, again_px)
        fit = max(found, key=lambda candidate: candidate.weight).fit or fit
    return SettledSegment(fit.segment, float(np.abs(fit.offset_px).max()), fit.residual_px, fit.support, moved=True)


def _as_drawn(path: Path2) -> SettledPath:
    return SettledPath(path, tuple(SettledSegment(segment, 0.0, 0.0, 0.0, moved=False) for segment in path.segments))


def _profiles(photo: NDArray[np.uint8], segment: Segment, hand_px: float) -> Profiles:
    length = segment_length(segment)
    count = int(np.clip(length, 16, MOST_SAMPLES))
    # The corners are left out: there the neighbour's edge crosses.
    margin = min(0.1, 2.0 * _SPREADS * hand_px / length, 0.25)
    share = np.linspace(margin, 1.0 - margin, count)
    return cut_profiles(photo, points_at(segment, share), tangents_at(segment, share), share, LOOK * hand_px)
