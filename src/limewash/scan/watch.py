"""What a clip in which no pattern was found did show: so that the error can name the cause."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.reading import ClipInfo
from limewash.scan.pattern import plan_pattern

_EVERY_S = 0.2

_DARK_SHARE = 0.06  # of the code range: what the brightest half per cent of a usable clip exceeds
_CLIPPED_SHARE = 0.35  # of the frame at full white: no pattern can be told in it any more
_STILL_SHARE = 0.004  # of the code range: brightness of a frame that varies less shows no black and white
_MOVING_SHARE = 0.02  # of the picture's width within a second, typically: a camera in the hand


class Watch:
    """Keeps a few figures of the frames that pass by."""

    def __init__(self, info: ClipInfo) -> None:
        self._info = info
        self._next_s = 0.0
        self._last: NDArray[np.float32] | None = None
        self._bright: list[float] = []
        self._clipped: list[float] = []
        self._mean: list[float] = []
        self._move: list[float] = []
        self.length_s = 0.0

    def see(self, t_s: float, samples: NDArray[np.uint8]) -> None:
        """Take note of a frame by a sparse sample of its pixels, uint8 (rows, columns)."""
        self.length_s = t_s
        if t_s < self._next_s:
            return
        self._next_s = t_s + _EVERY_S
        span = self._info.luma_white - self._info.luma_black
        share = (samples.astype(np.float32) - self._info.luma_black) / span
        self._bright.append(float(np.quantile(share, 0.995)))
        self._clipped.append(float(np.mean(share > 0.98)))
        self._mean.append(float(share.mean()))
        small = np.asarray(cv2.GaussianBlur(share, (0, 0), 1.5), dtype=np.float32)
        if self._last is not None and self._last.std() > 0.01 and small.std() > 0.01:
            window = cv2.createHanningWindow(small.shape[::-1], cv2.CV_32F)
            # Given the window, OpenCV 5 lays it over the pictures of its caller.
            (dx, dy), trust = cv2.phaseCorrelate(self._last * window, small * window)
            if trust > 0.1:
                self._move.append(float(np.hypot(dx, dy)) / small.shape[1] / _EVERY_S)
        self._last = small

    def no_pattern(self, path: Path, projector_size: tuple[int, int]) -> InputError:
        """The error that says what was seen instead of a pattern, and what to do."""
        plan, short = plan_pattern(projector_size), plan_pattern(projector_size, form="short")
        needed_s, least_s = ((len(p.chips) + p.body_beats) * p.beat_s for p in (plan, short))
        brightest, clipped = max(self._bright, default=0.0), float(np.median(self._clipped or [0.0]))
        change = max(self._mean, default=0.0) - min(self._mean, default=0.0)
        moving = float(np.median(self._move)) if len(self._move) >= 5 else 0.0
        if brightest < _DARK_SHARE:
            cause = (
                f"the clip is too dark: its brightest spots reach {100 * brightest:.0f} % of white; raise the "
                "exposure or the ISO, or bring the projector closer, until the lit wall is about half as "
                "bright as white"
            )
        elif clipped > _CLIPPED_SHARE:
            cause = (
                f"the clip is over-exposed: {100 * clipped:.0f} % of the frame is pure white; lower the exposure "
                "until the lit wall is grey, lock it there, and film after dark"
            )
        elif self.length_s < least_s:
            cause = (
                f"the clip is too short: it lasts {self.length_s:.0f} s, the pattern takes {needed_s:.0f} s after "
                f"its title card (its short form {least_s:.0f} s); film from the title card to the closing card"
            )
        elif moving > _MOVING_SHARE:
            cause = (
                f"the camera moves by about {100 * moving:.0f} % of the picture each second; put the phone on a "
                "tripod or wedge it, and touch nothing while it films"
            )
        elif change < _STILL_SHARE:
            cause = (
                f"nothing in the clip turns bright and dark (the mean brightness varies by {100 * change:.1f} %); "
                "start the pattern video on the projector and let the phone see its whole picture"
            )
        else:
            cause = (
                "its brightness changes, but not as a start mark does; film the pattern video made by 'limewash "
                f"scan pattern --size {projector_size[0]}x{projector_size[1]}' from its title card on, unpaused, "
                "exposure locked"
            )
        return InputError(f"{path} shows no pattern: {cause}")
