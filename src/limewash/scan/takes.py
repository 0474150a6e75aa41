"""What the camera saw of each hold of the pattern."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import EllipsisType

import numpy as np
from numpy.typing import NDArray

from limewash.media.reading import ClipInfo
from limewash.scan.pattern import PatternPlan

SPARSE = (slice(1, None, 3), slice(1, None, 3))  # pixels that are as good for medians as all
At = EllipsisType | tuple[slice, slice] | tuple[NDArray[np.intp], NDArray[np.intp]]


@dataclass(frozen=True)
class Takes:
    """What the camera saw of each hold of the body.

    Attributes
    ----------
    plan : PatternPlan
        The pattern, as read from the start mark.
    info : ClipInfo
        What the file says of itself.
    sums : ndarray of uint16, shape (holds, height, width)
        Sum of the clean frames of each hold. [codes]
    counts : ndarray of int64, shape (holds,)
        Number of those frames; 0 only for a reference that was missed.
    spans_s : ndarray of shape (holds, 2)
        First and last clean frame of each hold, on the clip's clock. [s]
    gains : ndarray of shape (holds,)
        Brightness of the lit part relative to the other holds: how far the exposure drifted. [-]
    lit_share : float
        Share of the frame that the projector lights. [-]
    beat_s, unsteady_s : float
        Length of a beat on the clip's clock; greatest deviation of a change from it. [s]
    end_seen : bool
        Whether the end mark came where it was expected.
    checks : ndarray of uint16, shape (checks, height, width)
        Sum of the clean frames of each check. [codes]
    check_counts : ndarray of int64, shape (checks,)
        Number of those frames; 0 where the clip ended before.
    photo : ndarray of uint8, shape (height, width, 3), optional
        Mean of the clean frames of the longest white hold, R'G'B'.
    """

    plan: PatternPlan
    info: ClipInfo
    sums: NDArray[np.uint16]
    counts: NDArray[np.int64]
    spans_s: NDArray[np.float64]
    gains: NDArray[np.float64]
    lit_share: float
    beat_s: float
    unsteady_s: float
    end_seen: bool
    checks: NDArray[np.uint16]
    check_counts: NDArray[np.int64]
    photo: NDArray[np.uint8] | None = None

    def mean(self, kind: str, which: int, at: At = ...) -> NDArray[np.float32]:
        """Mean picture of the `which`-th seen hold of a kind, black level taken off: (height, width), or what an index
        `at` picks of it. [codes]
        """
        n = self._seen(kind)[which]
        return self._mean(self.sums[n][at], int(self.counts[n]))

    def check(self, number: int, at: At = ...) -> NDArray[np.float32] | None:
        """The same of a check; None if the clip does not hold it. [codes]"""
        if number >= len(self.check_counts) or not self.check_counts[number]:
            return None
        return self._mean(self.checks[number][at], int(self.check_counts[number]))

    def _mean(self, sums: NDArray[np.uint16], count: int) -> NDArray[np.float32]:
        picture = sums.astype(np.float32)
        picture *= np.float32(1.0 / count)
        picture -= np.float32(self.info.luma_black)
        return picture

    def references(self) -> Takes:
        """The same with no other pictures than the last black, the last white and the checks."""
        kept = np.zeros(self.sums.shape, dtype=np.uint16)  # pages that are never written take no memory
        for kind in ("black", "white"):
            n = self._seen(kind)[-1]
            kept[n] = self.sums[n]
        return replace(self, sums=kept)

    def _seen(self, kind: str) -> list[int]:
        return [n for n, hold in enumerate(self.plan.body) if hold.kind == kind and self.counts[n]]
