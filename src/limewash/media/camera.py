"""A camera that is connected to the computer, or that sends its picture over the network, and recording it."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.writing import VideoWriter
from limewash.media.yuv import fill_from_rgb

Picture = NDArray[np.uint8]

_MOST = 8  # numbers that are tried
_TICK = Fraction(1, 90_000)  # s
_CRF = 14  # a recording is read once and then deleted: size does not matter
_PATIENCE = 10  # pictures in a row that may fail
_NAMES = Path("/sys/class/video4linux")


@dataclass(frozen=True)
class FoundCamera:
    """A camera of this computer.

    Attributes
    ----------
    number : int
        By which it is opened.
    name : str
        What the system calls it; empty where that is not known.
    size : (int, int)
        Width and height that it gives unasked. [px]
    """

    number: int
    name: str
    size: tuple[int, int]


def cameras() -> list[FoundCamera]:
    """The cameras that are connected to this computer and not in use."""
    found = []
    for number in range(_MOST):
        capture = _opened(str(number))
        if capture.isOpened() and capture.read()[0]:
            size = (int(capture.get(cv2.CAP_PROP_FRAME_WIDTH)), int(capture.get(cv2.CAP_PROP_FRAME_HEIGHT)))
            found.append(FoundCamera(number, _name(number), size))
        capture.release()
    return found


class Camera:
    """An open camera.

    Parameters
    ----------
    source : str
        Its number, such as ``"0"``, or the address at which a camera of the network sends.
    size : (int, int), optional
        Wanted width and height; the camera gives the nearest that it has. [px]
    rate : float
        Wanted frames per second. [1/s]

    Raises
    ------
    InputError
        If there is no such camera, it is in use, or it gives no picture.
    """

    def __init__(self, source: str, size: tuple[int, int] | None = None, rate: float = 30.0) -> None:
        self.source = source
        self._capture = _opened(source)
        if source.isdigit():
            # Uncompressed, most cameras manage only a few large pictures a second.
            self._capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
            if size is not None:
                self._capture.set(cv2.CAP_PROP_FRAME_WIDTH, size[0])
                self._capture.set(cv2.CAP_PROP_FRAME_HEIGHT, size[1])
            self._capture.set(cv2.CAP_PROP_FPS, rate)
        seen, picture = self._capture.read() if self._capture.isOpened() else (False, None)
        if not seen or picture is None:
            self._capture.release()
            raise InputError(_no_camera(source))
        self.size = (int(picture.shape[1]) // 2 * 2, int(picture.shape[0]) // 2 * 2)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._capture.release()

    def frames(self) -> Iterator[tuple[float, Picture]]:
        """Pictures as they come, until the camera sends no more.

        Yields
        ------
        t_s : float
            When it was handed over, from the first one. [s]
        picture : ndarray of uint8, shape (height, width, 3)
            R'G'B'.
        """
        begin_s: float | None = None
        failed = 0
        while failed < _PATIENCE:
            seen, picture = self._capture.read()
            now_s = time.monotonic()
            if not seen or picture is None:
                failed += 1
                continue
            begin_s, failed = now_s if begin_s is None else begin_s, 0
            width, height = self.size
            yield now_s - begin_s, np.ascontiguousarray(picture[:height, :width, ::-1])


class Recorder(VideoWriter):
    """A film whose frames have the times at which they came; otherwise like `VideoWriter`."""

    def __init__(self, path: Path, size: tuple[int, int], rate: Fraction = Fraction(30)) -> None:
        super().__init__(path, size, rate, crf=_CRF, preset="ultrafast")
        self._last = -1

    def write_at(self, t_s: float, rgb: Picture) -> None:
        """Write R'G'B' (height, width, 3) that came at a time from the start [s]; times that stand still are nudged."""
        frame = self.new_frame()
        fill_from_rgb(rgb, frame)
        self._last = max(round(t_s / _TICK), self._last + 1)
        frame.pts, frame.time_base = self._last, _TICK
        self._encode(frame)

    def _add_video(self) -> av.VideoStream:
        stream = super()._add_video()
        stream.time_base = stream.codec_context.time_base = _TICK
        return stream


def _opened(source: str) -> cv2.VideoCapture:
    # What is missing is said in an error, not by the library on the screen.
    before = cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        return cv2.VideoCapture(int(source)) if source.isdigit() else cv2.VideoCapture(source)
    finally:
        cv2.utils.logging.setLogLevel(before)


def _name(number: int) -> str:
    try:
        return (_NAMES / f"video{number}" / "name").read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def _no_camera(source: str) -> str:
    if not source.isdigit():
        return f"no picture comes from {source}; check the address, and that the camera is on and in the same network"
    hint = {
        "darwin": "allow the terminal to use the camera in System Settings, Privacy",
        "win32": "allow apps to use the camera in Settings, Privacy",
    }.get(sys.platform, "check that your user may use /dev/video* (group 'video')")
    return (
        f"there is no camera {source} that gives a picture: plug it in, close other programs that use it, {hint}; "
        "'limewash scan film --cameras' lists what there is. A phone does as well: film with it, then 'limewash scan "
        "read CLIP'"
    )
