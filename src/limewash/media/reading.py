"""Reading clips: frames one after another, upright, with the time at which each was filmed."""

from __future__ import annotations

import re
from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
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
from limewash.media.opening import opened

Picture = NDArray[np.uint8]

_AT_A_TIME, _BAND = 8, 32  # frames that are added up together, and rows of them
_USUAL_RATE, _HIGHEST_RATE = Fraction(30), 2000
_UNSPECIFIED = 2  # "not said", in ITU-T H.273's tables of matrices and transfer curves
_BT709, _BT601 = 1, 5  # H.273 matrix codes
_FOCAL_KEYS = ("focal_length.35mm_equivalent", "focallengthin35mmfilm")  # of QuickTime's and Exif's notes
_FULL_RANGE = 2  # libavutil's AVCOL_RANGE_JPEG
# swscale's flags bilinear, full chroma interpolation, accurate rounding: without the last two the colours
# come out up to 3 codes too dark.
_EXACT = 0x2 | 0x2000 | 0x40000


@dataclass(frozen=True)
class ClipInfo:
    """What a film file says of itself.

    Attributes
    ----------
    size : (int, int)
        Width and height as shown, after the rotation that the file asks for [px].
    rate : Fraction
        Mean frame rate [1/s]. A phone's clip may vary around it: use the frames' own times.
    duration_s : float
        Length that the file states, NaN if it states none [s].
    frame_count : int or None
        Number of frames that the file states.
    codec, pixel_format : str
        As libavcodec names them.
    rotation_deg : int
        Counterclockwise turn that brings the coded picture upright: 0, 90, 180 or 270. Frames are given
        upright already.
    bit_depth : int
        Bits per sample in the file. Frames are always given with 8.
    full_range : bool
        Whether luma runs from 0 to 255, or, as in most video, from 16 to 235.
    focal_35mm : float, optional
        Focal length in terms of 35 mm film [mm]; None where the file states none, as most do.
    """

    size: tuple[int, int]
    rate: Fraction
    duration_s: float
    frame_count: int | None
    codec: str
    pixel_format: str
    rotation_deg: int
    bit_depth: int
    full_range: bool
    focal_35mm: float | None = None

    @property
    def luma_black(self) -> int:
        """Luma code of black."""
        return 0 if self.full_range else 16

    @property
    def luma_white(self) -> int:
        """Luma code of nominal white."""
        return 255 if self.full_range else 235


class ClipReader:
    """A film file, read from front to back as often as needed; each reading opens the file anew.

    Times are in seconds from the first frame of the file.

    Parameters
    ----------
    path : Path
        The film.

    Raises
    ------
    InputError
        If the file is missing, empty, not a film, or holds no frame that can be decoded.
    """

    def __init__(self, path: Path) -> None:
        self.path = Path(path)
        self._readings: list[Generator[av.VideoFrame]] = []
        with opened(self.path) as container:
            stream = _film(container, self.path)
            first = next(_decoded(container, stream), None)
            if first is None:
                raise InputError(f"{self.path} holds no readable picture (0.0 s); film it again")
            self.info = _info(container, stream, first)
            self._first_s = _seconds(first)
            self._first_kind = (first.width, first.height, first.format.name)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End all readings that are still under way."""
        for reading in self._readings:
            reading.close()
        self._readings.clear()

    def luma(self, start_s: float = 0.0, stop_s: float | None = None) -> Iterator[tuple[float, Picture]]:
        """Luma plane of each frame, upright: the quickest way through a clip.

        The codes are those of the file (the upper 8 bits if it has more) and are NOT stretched to full
        range: that would clip what phones store above nominal white, which is how over-exposure shows.
        `info.luma_black` and `info.luma_white` say where black and white lie.

        Parameters
        ----------
        start_s, stop_s : float
            Frames with start_s <= t < stop_s; `None` reads to the end. [s]

        Yields
        ------
        t_s : float
            Time from the first frame of the file. [s]
        luma : ndarray of uint8, shape (height, width)
            Not to be written to: where the file allows it, this is the decoder's own memory, which stays
            as it is for as long as the array is kept.

        Raises
        ------
        InputError
            If the file ends before the length it states.
        """
        for t_s, luma, _ in self.frames(start_s, stop_s):
            yield t_s, luma

    def frames(
        self, start_s: float = 0.0, stop_s: float | None = None
    ) -> Iterator[tuple[float, Picture, av.VideoFrame]]:
        """Time and luma as `luma` gives them, and the frame itself, as `mean_of` takes it."""
        for t_s, frame in self._between(start_s, stop_s):
            yield t_s, self._upright(_luma_plane(frame)), frame

    def keyframes(self) -> Iterator[tuple[float, Picture]]:
        """Luma of only those frames that the file stores whole, the others not decoded.

        Ends where times are missing and where another kind of picture follows, of which the other readings complain.
        Yields as `luma` does.
        """
        with opened(self.path) as container:
            stream = _film(container, self.path)
            stream.codec_context.skip_frame = "NONKEY"
            for frame in _decoded(container, stream):
                kind = (frame.width, frame.height, frame.format.name)
                if frame.pts is None or kind != self._first_kind:
                    return
                yield _seconds(frame) - self._first_s, self._upright(_luma_plane(frame))

    def rgb(self, start_s: float = 0.0, stop_s: float | None = None) -> Iterator[tuple[float, Picture]]:
        """Full-range R'G'B' of each frame, upright, as uint8 (height, width, 3); else like `luma`."""
        for t_s, frame in self._between(start_s, stop_s):
            yield t_s, self._upright(_rgb_picture(frame))

    def mean_rgb(self, start_s: float, stop_s: float) -> Picture:
        """Mean of the frames with start_s <= t < stop_s as `rgb` gives them; codes are averaged before conversion.

        Raises
        ------
        InputError
            If there is no frame in that time, or the file ends before the length it states.
        """
        mean = self.mean_of(frame for _, frame in self._between(start_s, stop_s))
        if mean is None:
            raise InputError(f"{self.path} has no picture between {start_s:.2f} s and {stop_s:.2f} s")
        return mean

    def mean_of(self, frames: Iterable[av.VideoFrame]) -> Picture | None:
        """The same of frames of this clip; None of none."""
        sums: list[NDArray[np.float32]] = []
        count, last = 0, None
        left = iter(frames)
        while some := list(islice(left, _AT_A_TIME)):
            some = [_planar(frame) for frame in some]
            planes = [[_codes(frame, index) for frame in some] for index in range(len(some[0].planes))]
            sums = sums or [np.zeros(plane[0].shape, dtype=np.float32) for plane in planes]
            for total, alike in zip(sums, planes, strict=True):
                _add_up(alike, total)
            count, last = count + len(some), some[-1]
        if last is None:
            return None
        mean = av.VideoFrame(last.width, last.height, last.format.name)
        mean.colorspace, mean.color_range = last.colorspace, last.color_range
        for index, total in enumerate(sums):
            plane = _codes(mean, index)
            for row in range(0, len(total), _BAND):
                plane[row : row + _BAND] = np.rint(total[row : row + _BAND] / count)
        return self._upright(_rgb_picture(mean))

    def rgb_changes(self, tolerance: int = 2) -> Iterator[tuple[float, Picture]]:
        """Only the frames that differ from the last one given; else like `rgb`.

        Parameters
        ----------
        tolerance : int
            Frames that nowhere differ by more than this count as equal: a compressed still trembles by a
            code or two. Since it is the last frame GIVEN that counts, a slow fade is never lost. [codes]
        """
        limit = tolerance << (self.info.bit_depth - 8)
        last: list[NDArray[np.uint8 | np.uint16]] = []
        for t_s, frame in self._between(0.0, None):
            planar = _planar(frame)
            planes = [_codes(planar, index) for index in range(len(planar.planes))]
            if last and all(cv2.norm(a, b, cv2.NORM_INF) <= limit for a, b in zip(last, planes, strict=True)):
                continue
            last = [plane.copy() for plane in planes]
            yield t_s, self._upright(_rgb_picture(frame))

    def _upright(self, picture: Picture) -> Picture:
        turns = self.info.rotation_deg // 90
        return np.ascontiguousarray(np.rot90(picture, turns)) if turns else picture

    def _between(self, start_s: float, stop_s: float | None) -> Iterator[tuple[float, av.VideoFrame]]:
        frames = self._frames(start_s)
        self._readings.append(frames)
        end_s = start_s
        for t_s, frame in self._timed(frames):
            self._check_alike(t_s, frame)
            if stop_s is not None and t_s >= stop_s:
                return
            end_s = t_s + 1.0 / float(self.info.rate)
            if t_s >= start_s:
                yield t_s, frame
        self._check_whole(max(end_s, start_s), stop_s)

    def _frames(self, start_s: float) -> Generator[av.VideoFrame]:
        with opened(self.path) as container:
            stream = _film(container, self.path)
            if start_s > 0.0 and stream.time_base:
                container.seek(int((start_s + self._first_s) / stream.time_base), stream=stream, backward=True)
            yield from _decoded(container, stream)

    def _timed(self, frames: Iterator[av.VideoFrame]) -> Iterator[tuple[float, av.VideoFrame]]:
        for index, frame in enumerate(frames):
            if frame.pts is None:
                yield index / float(self.info.rate), frame
            else:
                yield _seconds(frame) - self._first_s, frame

    def _check_alike(self, t_s: float, frame: av.VideoFrame) -> None:
        """A damaged file may change its mind about the size or the kind of its pictures on the way."""
        first = self._first_kind
        if (frame.width, frame.height, frame.format.name) != first:
            raise InputError(
                f"{self.path} is damaged: at {t_s:.1f} s its pictures turn from {first[0]} x {first[1]} {first[2]} "
                f"into {frame.width} x {frame.height} {frame.format.name}; copy it again from the phone, or film again"
            )

    def _check_whole(self, end_s: float, stop_s: float | None) -> None:
        promised_s = self.info.duration_s
        if stop_s is not None:
            promised_s = min(promised_s, stop_s)
        # Half a second of grace: sound may outlast the picture, and stated lengths are rounded.
        if end_s < promised_s - max(0.5, 3.0 / float(self.info.rate)):
            raise InputError(
                f"{self.path} is cut short: {end_s:.1f} s could be read of the {self.info.duration_s:.1f} s "
                "that it states; copy it again from the phone, or film again"
            )


def _film(container: av.container.InputContainer, path: Path) -> av.VideoStream:
    if not container.streams.video:
        raise InputError(f"{path} holds no film (only {_kinds(container)}); choose the clip that was filmed")
    stream = container.streams.video[0]
    stream.thread_type = "AUTO"
    return stream


def _kinds(container: av.container.InputContainer) -> str:
    return ", ".join(sorted({stream.type for stream in container.streams})) or "nothing"


def _decoded(container: av.container.InputContainer, stream: av.VideoStream) -> Iterator[av.VideoFrame]:
    """Frames up to the end or to the first damage; the caller judges whether that was early."""
    try:
        yield from container.decode(stream)
    except av.error.FFmpegError:
        return


def _seconds(frame: av.VideoFrame) -> float:
    if frame.pts is None or frame.time_base is None:
        return 0.0
    return float(frame.pts * frame.time_base.numerator / frame.time_base.denominator)


def _info(container: av.container.InputContainer, stream: av.VideoStream, first: av.VideoFrame) -> ClipInfo:
    rotation = round(first.rotation / 90) * 90 % 360
    size = (first.width, first.height)
    return ClipInfo(
        size=size if rotation % 180 == 0 else (size[1], size[0]),
        rate=_rate(stream),
        duration_s=_stated_duration_s(container, stream, first),
        frame_count=stream.frames or None,
        codec=stream.codec_context.name,
        pixel_format=first.format.name,
        rotation_deg=rotation,
        bit_depth=first.format.components[0].bits,
        full_range=first.color_range == _FULL_RANGE
        or first.format.name.startswith("yuvj")
        or not _has_luma_plane(first.format),  # what is turned into grey comes out in full range
        focal_35mm=_focal_35mm(container),
    )


def _focal_35mm(container: av.container.InputContainer) -> float | None:
    for notes in (container.metadata, *(stream.metadata for stream in container.streams)):
        for key, value in notes.items():
            if key.lower().endswith(_FOCAL_KEYS):
                number = re.match(r"\s*(\d+(?:\.\d+)?)", value)
                if number and 8.0 <= float(number[1]) <= 400.0:
                    return float(number[1])
    return None


def _rate(stream: av.VideoStream) -> Fraction:
    """What the file states, unless that is nonsense."""
    stated = stream.average_rate or stream.guessed_rate or _USUAL_RATE
    return stated if 1 <= stated <= _HIGHEST_RATE else _USUAL_RATE


def _stated_duration_s(container: av.container.InputContainer, stream: av.VideoStream, first: av.VideoFrame) -> float:
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    if container.duration is not None:
        # Files that state one length for all they hold (Matroska) count it from time 0.
        return container.duration / 1e6 - _seconds(first)
    return float("nan")


def _luma_plane(frame: av.VideoFrame) -> Picture:
    if not _has_luma_plane(frame.format):
        return np.array(frame.to_ndarray(format="gray"), dtype=np.uint8)
    codes, bits = _codes(frame, 0), frame.format.components[0].bits
    luma = np.asarray(codes if bits == 8 else codes >> (bits - 8), dtype=np.uint8)
    luma.flags.writeable = False
    return luma


def _planar(frame: av.VideoFrame) -> av.VideoFrame:
    """The same with each component in a plane of its own, as `_codes` takes it; most are so already."""
    planes = [component.plane for component in frame.format.components]
    if len(set(planes)) == len(planes):
        return frame
    deep = "" if frame.format.components[0].bits == 8 else "16le"
    return frame.reformat(format=("gbrp" if frame.format.is_rgb else "yuv444p") + deep)


def _codes(frame: av.VideoFrame, index: int) -> NDArray[np.uint8 | np.uint16]:
    """One plane as an array over the frame's own memory."""
    plane = frame.planes[index]
    kind = np.dtype(np.uint8 if frame.format.components[0].bits == 8 else "<u2")
    rows = np.frombuffer(plane, kind).reshape(-1, plane.line_size // kind.itemsize)  # type: ignore[call-overload]
    codes: NDArray[np.uint8 | np.uint16] = rows[: plane.height, : plane.width]
    return codes


def _has_luma_plane(pixel_format: av.VideoFormat) -> bool:
    """True for planar YUV and grey with the sample in the low bits, which is how decoders deliver."""
    return pixel_format.name.startswith(("yuv4", "yuvj4", "gray", "nv12")) and not pixel_format.name.endswith("be")


def _add_up(planes: Sequence[NDArray[np.uint8 | np.uint16]], total: NDArray[np.float32]) -> None:
    """Add planes to a sum, band by band, so that the sum's band stays in the processor's cache meanwhile."""
    for row in range(0, len(total), _BAND):
        for plane in planes:
            cv2.accumulate(plane[row : row + _BAND], total[row : row + _BAND])


def _rgb_picture(frame: av.VideoFrame) -> Picture:
    matrix = frame.colorspace
    if matrix == _UNSPECIFIED:
        matrix = _BT709 if frame.height >= 720 else _BT601  # the custom for files that do not say
    rgb = frame.to_ndarray(format="rgb24", src_colorspace=matrix, interpolation=_EXACT)
    return np.ascontiguousarray(rgb, dtype=np.uint8)
