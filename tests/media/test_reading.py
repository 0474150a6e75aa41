"""Clips as phones make them, and files that are no clips."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from limewash.errors import InputError
from limewash.media.reading import ClipReader
from limewash.media.sound import Sound, write_wav
from limewash.media.writing import VideoWriter


def film(
    path: Path,
    pictures: list[np.ndarray],
    *,
    codec: str = "libx264",
    pixel_format: str = "yuv420p",
    times_ms: list[int] | None = None,
    turn_deg: int = 0,
    options: dict[str, str] | None = None,
) -> Path:
    """Write luma planes with PyAV alone, so that the reader is not checked by the writer."""
    height, width = pictures[0].shape
    with av.open(os.fspath(path), "w", options={"movflags": "+faststart"} if options is None else options) as out:
        quality = {"crf": "4", "x265-params": "log-level=none"} if "265" in codec else {"crf": "4"}
        stream = out.add_stream(codec, rate=25, options=quality)
        stream.width, stream.height, stream.pix_fmt = width, height, pixel_format
        stream.time_base = stream.codec_context.time_base = Fraction(1, 1000)
        if turn_deg:
            stream.set_display_rotation(turn_deg)
        for index, picture in enumerate(pictures):
            frame = av.VideoFrame(width, height, pixel_format)
            for number, plane in enumerate(frame.planes):
                kind = np.uint16 if "10" in pixel_format else np.uint8
                rows = np.frombuffer(plane, kind).reshape(plane.height, -1)
                rows[:] = 128 << (2 if "10" in pixel_format else 0)
                if number == 0:
                    rows[:, :width] = picture
            frame.pts = index * 40 if times_ms is None else times_ms[index]
            frame.time_base = Fraction(1, 1000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def grey(level: int, size: tuple[int, int] = (98, 54)) -> np.ndarray:
    return np.full((size[1], size[0]), level)


def half_bright(size: tuple[int, int] = (96, 64)) -> np.ndarray:
    """Bright on the left, dark on the right: shows which way a picture was turned."""
    picture = grey(40, size)
    picture[:, : size[0] // 2] = 200
    return picture


@pytest.mark.parametrize(
    ("codec", "pixel_format", "bits"),
    [
        ("libx264", "yuv420p", 8),
        ("libx264", "yuv420p10le", 10),
        ("libx265", "yuv420p", 8),
        ("libx265", "yuv420p10le", 10),
    ],
)
def test_luma_codes_of_8_and_10_bits_are_those_of_the_file(
    tmp_path: Path, codec: str, pixel_format: str, bits: int
) -> None:
    levels = list(range(16, 236, 20))
    pictures = [grey(level << (bits - 8)) for level in levels]
    path = film(tmp_path / "clip.mp4", pictures, codec=codec, pixel_format=pixel_format)
    with ClipReader(path) as clip:
        assert clip.info.bit_depth == bits
        assert clip.info.size == (98, 54)
        means = [picture.mean() for _, picture in clip.luma()]
    assert means == pytest.approx(levels, abs=0.6)


def test_luma_runs_above_nominal_white_as_stored(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mp4", [grey(250)] * 3)
    with ClipReader(path) as clip:
        assert (clip.info.luma_black, clip.info.luma_white) == (16, 235)
        assert next(iter(clip.luma()))[1].mean() == pytest.approx(250, abs=0.6)


def test_full_range_is_recognised(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mp4", [grey(200)] * 3, pixel_format="yuvj420p")
    with ClipReader(path) as clip:
        assert clip.info.full_range
        assert (clip.info.luma_black, clip.info.luma_white) == (0, 255)
        assert next(iter(clip.rgb()))[1].mean() == pytest.approx(200, abs=1.0)


def test_times_of_a_varying_frame_rate_are_the_files_own(tmp_path: Path) -> None:
    times_ms = [0, 33, 66, 133, 166, 233, 240, 300]
    path = film(tmp_path / "clip.mp4", [grey(100)] * 8, times_ms=times_ms)
    with ClipReader(path) as clip:
        assert [t for t, _ in clip.luma()] == pytest.approx([t / 1000 for t in times_ms], abs=5e-4)


def test_times_count_from_the_first_frame(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mkv", [grey(100)] * 4, times_ms=[500, 540, 580, 620], options={})
    with ClipReader(path) as clip:
        assert [t for t, _ in clip.luma()] == pytest.approx([0.0, 0.04, 0.08, 0.12], abs=5e-4)


@pytest.mark.parametrize(
    ("turn_deg", "size", "bright"),
    [
        (90, (64, 96), np.s_[60:, :]),  # counterclockwise: the left goes to the bottom
        (180, (96, 64), np.s_[:, 60:]),
        (-90, (64, 96), np.s_[:36, :]),  # clockwise, as of a phone held upright: the left goes to the top
    ],
)
def test_frames_come_upright(tmp_path: Path, turn_deg: int, size: tuple[int, int], bright: tuple[slice, slice]) -> None:
    path = film(tmp_path / "clip.mp4", [half_bright()] * 3, turn_deg=turn_deg)
    with ClipReader(path) as clip:
        assert clip.info.size == size
        luma = next(iter(clip.luma()))[1]
        colour = next(iter(clip.rgb()))[1]
    assert luma.shape == colour.shape[:2] == (size[1], size[0])
    assert luma[bright].min() > 190
    assert colour[bright].min() > 190
    assert luma.mean() == pytest.approx(120, abs=1.0)


def test_a_part_of_a_clip_holds_the_frames_of_that_time(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mp4", [grey(16 + 4 * index) for index in range(50)])
    with ClipReader(path) as clip:
        found = [(t, picture.mean()) for t, picture in clip.luma(0.6, 0.8)]
    assert [t for t, _ in found] == pytest.approx([0.6, 0.64, 0.68, 0.72, 0.76])
    assert [level for _, level in found] == pytest.approx([16 + 4 * index for index in range(15, 20)], abs=0.6)


def test_a_clip_can_be_read_twice_at_once(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mp4", [grey(16 + 4 * index) for index in range(10)])
    with ClipReader(path) as clip:
        pairs = [(a[1].mean(), b[1].mean()) for a, b in zip(clip.luma(), clip.luma(), strict=True)]
    assert len(pairs) == 10
    assert all(a == b for a, b in pairs)


@pytest.mark.parametrize(("pixel_format", "codec"), [("yuv420p", "libx264"), ("yuv420p10le", "libx265")])
def test_mean_of_frames_is_the_mean_of_their_pictures(tmp_path: Path, pixel_format: str, codec: str) -> None:
    rng, top = np.random.default_rng(3), 4 if "10" in pixel_format else 1
    pictures = [rng.integers(60 * top, 200 * top, (54, 98)) for _ in range(8)]
    path = film(tmp_path / "clip.mp4", pictures, pixel_format=pixel_format, codec=codec, turn_deg=90)
    with ClipReader(path) as clip:
        frames = [frame.astype(float) for _, frame in clip.rgb(0.08, 0.24)]
        mean = clip.mean_rgb(0.08, 0.24)
        assert len(frames) == 4
        assert mean.shape == frames[0].shape == (98, 54, 3)
        assert np.abs(mean - np.mean(frames, axis=0)).max() <= 1.5  # rounding, once there and four times here
        with pytest.raises(InputError, match="no picture between"):
            clip.mean_rgb(0.081, 0.082)


@pytest.mark.parametrize("pixel_format", ["uyvy422", "yuyv422", "rgb24", "bgr24"])
def test_colours_are_right_however_pixels_are_packed(tmp_path: Path, pixel_format: str) -> None:
    """Capture devices store the three parts of a pixel side by side, or two of them."""
    picture = np.empty((54, 96, 3), np.uint8)
    picture[..., 0] = np.linspace(30, 220, 96)
    picture[..., 1] = np.linspace(220, 30, 54)[:, None]
    picture[..., 2] = 90
    path = tmp_path / "clip.mov"
    with av.open(os.fspath(path), "w") as out:
        stream = out.add_stream("rawvideo", rate=25)
        stream.width, stream.height, stream.pix_fmt = 96, 54, pixel_format
        for _ in range(4):
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            out.mux(stream.encode(frame.reformat(format=pixel_format, dst_colorspace="ITU709")))
        out.mux(stream.encode())
    with ClipReader(path) as clip:
        mean = clip.mean_rgb(0.0, 1.0).astype(float)
        changes = list(clip.rgb_changes())
    assert len(changes) == 1
    for got in (mean, changes[0][1].astype(float)):
        # Untagged clips of this height may be read by the other matrix: a few codes; columns that are lost are tens.
        assert np.median(np.abs(got - picture)) < 14.0
        assert np.abs(got - picture).max() < 50.0
    assert np.abs(np.diff(mean[27, :, 0])).max() < 12.0, "one slope from left to right"


def test_rgb_follows_the_files_matrix(tmp_path: Path) -> None:
    # Green at 100 % is coded (173, 42, 26) in BT.709: check-values 7.4. BT.601's matrix would turn it yellowish.
    path = tmp_path / "clip.mp4"
    with VideoWriter(path, (64, 48), Fraction(25), crf=1) as out:
        for _ in range(3):
            out.write_rgb(np.broadcast_to(np.array([0, 255, 0], np.uint8), (48, 64, 3)))
    with ClipReader(path) as clip:
        _, picture = next(iter(clip.rgb()))
    assert np.abs(picture.astype(int) - [0, 255, 0]).max() <= 2


def test_a_missing_an_empty_and_a_foreign_file_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        ClipReader(tmp_path / "none.mp4")
    with pytest.raises(InputError, match="is a folder"):
        ClipReader(tmp_path)
    empty = tmp_path / "empty.mp4"
    empty.touch()
    with pytest.raises(InputError, match="empty"):
        ClipReader(empty)
    letter = tmp_path / "letter.mp4"
    letter.write_text("Dear neighbours, " * 100)
    with pytest.raises(InputError, match="something else"):
        ClipReader(letter)
    tune = tmp_path / "tune.wav"
    write_wav(tune, Sound(np.zeros((480, 2), np.float32), 48_000))
    with pytest.raises(InputError, match=r"no film \(only audio\)"):
        ClipReader(tune)


def test_a_clip_cut_short_says_how_much_was_readable(tmp_path: Path) -> None:
    noise = np.random.default_rng(5).integers(16, 236, (100, 54, 98))
    path = film(tmp_path / "clip.mp4", list(noise))
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    with ClipReader(path) as clip:
        found = []
        with pytest.raises(InputError, match=r"cut short: (1\.[5-9]|2\.[0-3]) s could be read of the 4\.0 s"):
            found.extend(clip.luma())
        assert 30 < len(found) < 60
        assert len(list(clip.luma(0.0, 1.0))) == 25  # what lies before the damage stays usable


def test_a_clip_without_its_index_is_refused(tmp_path: Path) -> None:
    path = film(tmp_path / "clip.mp4", [grey(100)] * 50, options={})
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    with pytest.raises(InputError, match="end is missing"):
        ClipReader(path)


def test_keyframes_end_where_another_kind_of_picture_follows(tmp_path: Path) -> None:
    parts = [film(tmp_path / f"{size[0]}.ts", [grey(40, size)] * 5, options={}) for size in ((96, 64), (128, 80))]
    joined = tmp_path / "joined.ts"
    joined.write_bytes(b"".join(part.read_bytes() for part in parts))
    with ClipReader(joined) as clip:
        shapes = [luma.shape for _, luma in clip.keyframes()]
    assert shapes
    assert set(shapes) == {(64, 96)}
