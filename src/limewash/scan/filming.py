"""Filming the pattern with a camera of the computer: a look at the light first, then the clip."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.light.colour import LUMA_BT709
from limewash.media.camera import Recorder
from limewash.progress import Progress, silent

Picture = NDArray[np.uint8]
Frames = Iterator[tuple[float, Picture]]

_LOOK_S = 1.5  # cameras need a moment until their exposure has settled
_EVERY = 4  # pixel along rows and columns is looked at
_DARK = 0.15  # of white, what the brightest hundredth of the picture must reach
_CLIPPED = 0.01  # share of the picture
_LATE_S = 1.0  # so much less than was asked for is no sign of a broken connection
_SLOWEST = 20.0  # frames a second; a hold of a fifth of a second then still has clean ones
_LUMA = np.array(LUMA_BT709, dtype=np.float32)


@dataclass(frozen=True)
class Light:
    """How a camera's picture is exposed.

    Attributes
    ----------
    bright : float
        Level that the brightest hundredth of the picture reaches, as a share of white. [-]
    clipped : float
        Share of the picture that is pure white. [-]
    """

    bright: float
    clipped: float

    @property
    def fit(self) -> bool:
        """Whether the exposure suits a scan."""
        return self.clipped <= _CLIPPED and self.bright >= _DARK

    def __str__(self) -> str:
        figures = f"the brightest parts reach {100 * self.bright:.0f} % of white, {100 * self.clipped:.1f} % is clipped"
        if self.clipped > _CLIPPED:
            return f"Over-exposed: {figures}. Lower the camera's exposure, lock it, switch lamps off."
        if self.bright < _DARK:
            return f"Dark: {figures}. Let the projector show white or the title card, raise the exposure and lock it."
        return f"The light is good: {figures}."


def light_of(picture: Picture) -> Light:
    """Exposure of a picture R'G'B' (height, width, 3)."""
    few = picture[::_EVERY, ::_EVERY]
    luma = few.astype(np.float32) @ (_LUMA / np.float32(255.0))
    return Light(float(np.quantile(luma, 0.99)), float(np.mean(few.max(axis=2) >= 254)))


def look(frames: Frames) -> tuple[Light, Frames]:
    """Look at a camera for a moment; gives the light, and the frames to go on with.

    Raises
    ------
    InputError
        If no picture comes.
    """
    last: tuple[float, Picture] | None = None
    for last in frames:
        if last[0] >= _LOOK_S:
            break
    if last is None:
        raise InputError("the camera sends no picture; unplug it, plug it in again, and close other programs")
    return light_of(last[1]), chain([last], frames)


def film_live(frames: Frames, out: Path, length_s: float, progress: Progress = silent) -> tuple[int, float]:
    """Write what a camera sees to a clip that `read_clip` reads.

    Parameters
    ----------
    frames : iterator of (float, ndarray)
        Times [s] and pictures R'G'B'.
    out : Path
        The clip, ending in ``.mp4``.
    length_s : float
        Stops after this time. [s]
    progress : Progress
        Told how far it is.

    Returns
    -------
    count : int
        Frames that were written.
    rate : float
        Frames per second that came. [1/s]

    Raises
    ------
    InputError
        If the clip cannot be written, or the camera stops sending or is too slow for a scan.
    """
    first = next(frames, None)
    if first is None:
        raise InputError("the camera sends no picture; unplug it, plug it in again, and close other programs")
    begin_s, picture = first
    with Recorder(out, (picture.shape[1], picture.shape[0])) as recorder:
        count, t_s, broke_off = 0, 0.0, True
        try:
            for at_s, picture in chain([first], frames):
                if at_s - begin_s > length_s:
                    broke_off = False
                    break
                t_s = at_s - begin_s
                recorder.write_at(t_s, picture)
                count += 1
                progress(t_s / length_s, f"filming, {t_s:.0f} s; Ctrl-C ends it")
        except KeyboardInterrupt:
            broke_off = False
            progress(1.0, "stopped")
    if broke_off and t_s < length_s - _LATE_S:
        raise InputError(
            f"the camera stopped sending after {t_s:.1f} s of {length_s:.0f} s: look at its cable or its network, and "
            "film again; the clip was kept"
        )
    rate = (count - 1) / t_s if t_s > 0.0 else 0.0
    if rate < _SLOWEST and count > 1:
        raise InputError(
            f"the camera sent only {rate:.1f} frames a second, a scan needs {_SLOWEST:.0f}: ask for a smaller picture "
            "(--size 1280x720), give it more light or a shorter exposure, use a faster port; the clip was kept"
        )
    return count, rate
