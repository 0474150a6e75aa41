"""Writing films that any projector's player understands.

H.264 High in an MP4 whose index comes first, 4:2:0, limited range, BT.709 and tagged as such, constant frame
rate, closed groups of pictures of at most a second, sound as AAC-LC at 48 kHz in stereo. The declared level
is the lowest that the size and rate allow, and the bit rate is kept under that level's limit.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import av
import av.container
import av.error
import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.files import replacing
from limewash.media.sound import Sound
from limewash.media.yuv import fill_from_rgb, plane_view

SOUND_RATE_HZ = 48_000

_BT709 = 1  # primaries, transfer and matrix all have code 1 in ITU-T H.273
_LIMITED = 1  # libavutil's AVCOL_RANGE_MPEG
_GREY_TO_LUMA = np.rint(16.0 + 219.0 * np.arange(256) / 255.0).astype(np.uint8)

_LEVELS = (
    # Level, macroblocks/s, macroblocks/frame, kbit/s before the High profile's factor 1.25: H.264 table A-1.
    ("3", 40_500, 1_620, 10_000),
    ("3.1", 108_000, 3_600, 14_000),
    ("3.2", 216_000, 5_120, 20_000),
    ("4", 245_760, 8_192, 20_000),
    ("4.2", 522_240, 8_704, 50_000),
    ("5", 589_824, 22_080, 135_000),
    ("5.1", 983_040, 36_864, 240_000),
    ("5.2", 2_073_600, 36_864, 240_000),
    ("6", 4_177_920, 139_264, 240_000),
    ("6.1", 8_355_840, 139_264, 480_000),
    ("6.2", 16_711_680, 139_264, 800_000),
)


class VideoWriter:
    """A film being written; it takes its place at `path` only when the `with` block ends well.

    Parameters
    ----------
    path : Path
        Where the film goes, ending in ``.mp4``.
    size : (int, int)
        Width and height, even. [px]
    rate : Fraction
        Frames per second, constant. [1/s]
    crf : int
        x264's constant quality, 0 (lossless) to 51; smaller is better.
    preset : str
        x264's trade of speed against file size.
    audio : Sound, optional
        Sound from time 0; what lasts longer than the film is left out.
    max_bit_rate : int, optional
        Upper limit, where it lies below that of the level. [bit/s]

    Raises
    ------
    InputError
        If the size is odd or too large, the rate is not positive, or the file cannot be written.
    """

    def __init__(
        self,
        path: Path,
        size: tuple[int, int],
        rate: Fraction,
        *,
        crf: int = 16,
        preset: str = "veryfast",
        audio: Sound | None = None,
        max_bit_rate: int | None = None,
    ) -> None:
        _check(path, size, rate)
        self.path = Path(path)
        self.size = (int(size[0]), int(size[1]))
        self.rate = Fraction(rate)
        self.frame_count = 0
        self._options = _encoder_options(self.size, self.rate, crf, preset, max_bit_rate)
        self._audio = None if audio is None else audio.stereo(SOUND_RATE_HZ).samples
        self._audio_done = 0
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            self._part = stack.enter_context(replacing(self.path))
            self._container = av.open(os.fspath(self._part), "w", format="mp4", options={"movflags": "+faststart"})
            self._video = self._add_video()
            self._sound = None
            if self._audio is not None:
                self._sound = self._container.add_stream("aac", rate=SOUND_RATE_HZ)
                self._sound.layout = "stereo"
                self._sound.bit_rate = 256_000
            self._stack = stack.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            with self._stack:  # sees what goes wrong here, and turns a full disk into an InputError
                self._finish()
        else:
            self._abandon()
            self._stack.__exit__(kind, error, trace)

    def new_frame(self) -> av.VideoFrame:
        """An empty yuv420p frame of the film's size, to be filled and given to `write`.

        Every row of a plane is `line_size` bytes long, which may be more than its width.
        """
        return av.VideoFrame(*self.size, "yuv420p")

    def write(self, frame: av.VideoFrame) -> None:
        """Write a frame as the next one; its planes hold BT.709 limited-range codes."""
        frame.pts = self.frame_count
        frame.time_base = 1 / self.rate
        self._encode(frame)

    def write_grey(self, grey: NDArray[np.uint8]) -> None:
        """Write a full-range grey picture, uint8 (height, width)."""
        _check_picture(grey, (self.size[1], self.size[0]))
        frame = self.new_frame()
        cv2.LUT(grey, _GREY_TO_LUMA, dst=plane_view(frame, 0))
        plane_view(frame, 1)[:] = 128
        plane_view(frame, 2)[:] = 128
        self.write(frame)

    def write_rgb(self, rgb: NDArray[np.uint8]) -> None:
        """Write a full-range R'G'B' picture, uint8 (height, width, 3)."""
        _check_picture(rgb, (self.size[1], self.size[0], 3))
        frame = self.new_frame()
        fill_from_rgb(rgb, frame)
        self.write(frame)

    def _encode(self, frame: av.VideoFrame) -> None:
        with _as_os_error(self._part):
            self._container.mux(self._video.encode(frame))
            self.frame_count += 1
            self._write_sound(self._samples_due())

    def _add_video(self) -> av.VideoStream:
        stream = self._container.add_stream("libx264", rate=self.rate, options=self._options)
        assert isinstance(stream, av.VideoStream)
        stream.width, stream.height = self.size
        stream.pix_fmt = "yuv420p"
        stream.time_base = 1 / self.rate
        stream.gop_size = max(1, int(self.rate))
        context = stream.codec_context
        context.color_primaries = context.color_trc = context.colorspace = _BT709
        context.color_range = _LIMITED
        return stream

    def _samples_due(self) -> int:
        return int(self.frame_count / self.rate * SOUND_RATE_HZ)

    def _write_sound(self, until: int) -> None:
        if self._audio is None or self._sound is None:
            return
        piece = self._audio[self._audio_done : until]
        if len(piece) == 0:
            return
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(piece.T), format="fltp", layout="stereo")
        frame.sample_rate = SOUND_RATE_HZ
        frame.pts = self._audio_done
        frame.time_base = Fraction(1, SOUND_RATE_HZ)
        self._container.mux(self._sound.encode(frame))
        self._audio_done += len(piece)

    def _finish(self) -> None:
        try:
            if self.frame_count == 0:
                raise InputError(f"{self.path}: no frame was written, so there is no film")
            with _as_os_error(self._part):
                self._container.mux(self._video.encode(None))
                if self._sound is not None:
                    self._container.mux(self._sound.encode(None))
                self._container.close()
        except BaseException:
            self._abandon()
            raise

    def _abandon(self) -> None:
        # The part file goes away in any case, and the first error is the one to tell.
        with suppress(av.error.FFmpegError, OSError):
            self._container.close()


@contextmanager
def _as_os_error(part: Path) -> Iterator[None]:
    """Name the part file in errors of the disk: libav leaves the name out."""
    try:
        yield
    except av.error.FFmpegError as error:
        if error.errno is None or not isinstance(error, OSError):
            raise
        raise OSError(error.errno, error.strerror or "write error", os.fspath(part)) from error


def lowest_level(size: tuple[int, int], rate: Fraction) -> tuple[str, int] | None:
    """Lowest H.264 level for a picture size and rate, and its limit for the High profile.

    Parameters
    ----------
    size : (int, int)
        Width and height. [px]
    rate : Fraction
        Frames per second. [1/s]

    Returns
    -------
    level : (str, int) or None
        Name, such as ``"4.2"``, and greatest bit rate [bit/s]; `None` where no level suffices.
    """
    blocks = -(-size[0] // 16) * -(-size[1] // 16)
    for name, per_second, per_frame, kbit_s in _LEVELS:
        if blocks <= per_frame and blocks * rate <= per_second:
            return name, kbit_s * 1250
    return None


def _encoder_options(
    size: tuple[int, int], rate: Fraction, crf: int, preset: str, max_bit_rate: int | None
) -> dict[str, str]:
    level = lowest_level(size, rate)
    if level is None:
        raise InputError(f"no H.264 level allows {size[0]} x {size[1]} at {float(rate):g} frames/s; make it smaller")
    limit = level[1] if max_bit_rate is None else min(level[1], max_bit_rate)
    return {
        "profile": "high",
        "level": level[0],
        "preset": preset,
        "crf": str(crf),
        "maxrate": str(limit),
        "bufsize": str(limit),
        "flags": "+cgop",
        "chroma_sample_location": "left",
    }


def _check(path: Path, size: tuple[int, int], rate: Fraction) -> None:
    if path.suffix.lower() != ".mp4":
        raise InputError(f"{path}: a film is written as .mp4, got {path.suffix or 'no suffix'!r}")
    if size[0] < 2 or size[1] < 2 or size[0] % 2 or size[1] % 2:
        raise InputError(
            f"size must be even in width and height, got {size[0]} x {size[1]}: "
            "colour is stored for blocks of 2 x 2 pixels; add or leave out one row or column"
        )
    if rate <= 0:
        raise InputError(f"rate must be > 0 frames/s, got {rate}")


def _check_picture(picture: NDArray[np.uint8], shape: tuple[int, ...]) -> None:
    if picture.dtype != np.uint8 or picture.shape != shape:
        raise InputError(f"picture must be uint8 of shape {shape}, got {picture.dtype} {picture.shape}")
