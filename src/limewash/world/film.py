"""Filming: a video plays on the projector, a phone films the house."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import chain, pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.media.reading import ClipReader
from limewash.media.writing import VideoWriter
from limewash.progress import Progress, silent
from limewash.world.phone import Phone, PhoneCamera
from limewash.world.street_light import StreetLight

Picture = NDArray[np.float32]
PictureOf = Callable[[NDArray[np.uint8]], Picture]

_NO_SIGNAL = (24, 32, 96)
"""R'G'B' of the plain blue that a projector shows while its player is not yet playing."""

_TICK_S = 1.0 / 30.0  # how often a light that moves is looked at


def film(
    pattern_path: Path,
    out_path: Path,
    picture_of: PictureOf,
    phone: Phone | None = None,
    progress: Progress = silent,
    *,
    refresh_hz: float | None = None,
    other_light: StreetLight | None = None,
) -> None:
    """Film a video as it plays on the house.

    Parameters
    ----------
    pattern_path : Path
        The video that the projector plays: a pattern video or a show.
    out_path : Path
        Where the phone's clip goes, ending in ``.mp4``.
    picture_of : callable
        Takes the projector's frame, uint8 (H, W, 3) full-range R'G'B', and gives what the camera sees then,
        float32 (h, w, 3) with even sides, in cd/m2 (the BT.709 weighted sum of R, G, B is luminance). It is
        called once for each picture that differs from the one before it.
    phone : Phone, optional
        The phone; by default an ordinary one.
    progress : Progress
        Is told how far the filming is.
    refresh_hz : float, optional
        Rate at which the player sends pictures, if it is not the video's own: each frame then waits for the
        next refresh. [1/s]
    other_light : StreetLight, optional
        A lamp that was left on, and cars that drive by.

    Raises
    ------
    InputError
        If the video cannot be read or the clip cannot be written.
    """
    phone = phone or Phone()
    with ClipReader(pattern_path) as video:
        width, height = video.info.size
        if other_light is not None:
            picture_of = _beside(picture_of, other_light.steady)
        white = picture_of(np.full((height, width, 3), 255, np.uint8))
        begin_s = phone.lead_s + _phase_s(phone)
        stop_s = begin_s + _length_s(video)
        end_s = stop_s + phone.tail_s
        camera = PhoneCamera(phone, white, end_s=end_s)
        changes = _changes(video, picture_of, begin_s, stop_s, refresh_hz)
        if other_light is not None and other_light.cars_s:
            changes = _with_cars(changes, other_light, end_s)
        count = math.floor(end_s * float(phone.rate))
        with VideoWriter(
            out_path,
            camera.size,
            phone.rate,
            crf=phone.crf,
            preset="ultrafast",  # no better for its bits than the encoder in a phone
            max_bit_rate=_bit_rate(phone, camera.size),
        ) as out:
            upcoming = next(changes, None)
            for index in range(count):
                closes_s = camera.start_s(index + 1) + camera.exposure_s + phone.readout_s
                while upcoming is not None and upcoming[0] <= closes_s:
                    camera.show(upcoming[1], upcoming[0])
                    upcoming = next(changes, None)
                frame = out.new_frame()
                camera.shoot(index, frame)
                out.write(frame)
                progress((index + 1) / count, f"filming, {index / float(phone.rate):.0f} s")


def _changes(
    video: ClipReader, picture_of: PictureOf, begin_s: float, stop_s: float, refresh_hz: float | None
) -> Iterator[tuple[float, Picture]]:
    """What the house looks like, and from when on."""
    width, height = video.info.size
    idle = np.empty((height, width, 3), np.uint8)
    idle[:] = _NO_SIGNAL
    yield -math.inf, picture_of(idle)
    for t_s, projected in video.rgb_changes():
        # A hair less, so that a frame that is due at a refresh does not wait for the one after.
        shown_s = t_s if refresh_hz is None else math.ceil(t_s * refresh_hz - 1e-6) / refresh_hz
        yield begin_s + shown_s, picture_of(projected)
    yield stop_s, picture_of(idle)


def _beside(picture_of: PictureOf, steady: Picture) -> PictureOf:
    """The same pictures with a light that is always there."""
    return lambda frame: picture_of(frame) + steady


def _with_cars(
    changes: Iterator[tuple[float, Picture]], light: StreetLight, end_s: float
) -> Iterator[tuple[float, Picture]]:
    """The same changes, and while headlights move, one at every tick."""
    last = [(end_s, np.zeros((0, 0, 3), np.float32))]
    for (start_s, picture), (next_s, _) in pairwise(chain(changes, last)):
        moment_s = start_s
        while moment_s < next_s:
            lit = light.moving(moment_s)
            if lit is not None or moment_s == start_s:
                yield moment_s, picture if lit is None else picture + lit
                moment_s = max(moment_s, 0.0) + _TICK_S
            else:
                later = [t_s for t_s in light.cars_s if t_s > moment_s]
                moment_s = min(later, default=next_s)


def _length_s(video: ClipReader) -> float:
    info = video.info
    if info.frame_count is not None:
        return info.frame_count / float(info.rate)
    return info.duration_s


def _phase_s(phone: Phone) -> float:
    """The phone's clock against the player's: anywhere within a frame."""
    return float(np.random.default_rng([phone.seed, 0]).uniform()) / float(phone.rate)


def _bit_rate(phone: Phone, size: tuple[int, int]) -> int:
    return int(phone.bit_rate * (size[0] * size[1] * float(phone.rate)) / (1920 * 1080 * 30))
