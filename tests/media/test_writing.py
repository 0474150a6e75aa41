"""Films as players want them, read back through PyAV, and nothing left behind when writing fails."""

from __future__ import annotations

import errno
import struct
import subprocess
import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.media.reading import ClipReader
from limewash.media.sound import Sound
from limewash.media.writing import VideoWriter, lowest_level
from limewash.media.yuv import fill_from_rgb, plane_view

RATE = Fraction(30000, 1001)


def tone(duration_s: float, rate_hz: int = 44_100) -> Sound:
    t = np.arange(int(duration_s * rate_hz)) / rate_hz
    return Sound(np.sin(2 * np.pi * 440 * t)[:, None].astype(np.float32) * 0.5, rate_hz)


def write_ramp(path: Path, *, frames: int = 75, audio: Sound | None = None) -> Path:
    with VideoWriter(path, (194, 108), RATE, audio=audio) as out:
        for index in range(frames):
            out.write_grey(np.full((108, 194), index * 3, np.uint8))
    return path


def boxes(data: bytes) -> Iterator[tuple[str, int]]:
    """Top-level boxes of an ISO base media file: type and place (ISO/IEC 14496-12, 4.2)."""
    place = 0
    while place < len(data):
        size, kind = struct.unpack(">I4s", data[place : place + 8])
        if size == 1:
            (size,) = struct.unpack(">Q", data[place + 8 : place + 16])
        yield kind.decode(), place
        place += size


def test_a_film_reads_back_as_it_should(tmp_path: Path) -> None:
    path = write_ramp(tmp_path / "film.mp4", audio=tone(5.0))
    with av.open(str(path)) as container:
        video, sound = container.streams.video[0], container.streams.audio[0]
        context = video.codec_context
        assert (context.name, context.profile, context.pix_fmt) == ("h264", "High", "yuv420p")
        # ITU-T H.273: code 1 is BT.709 in primaries, transfer and matrix; libavutil's range 1 is limited.
        assert (context.color_primaries, context.color_trc, context.colorspace) == (1, 1, 1)
        assert context.color_range == 1
        assert (video.average_rate, video.frames) == (RATE, 75)
        assert video.duration * video.time_base == 75 / RATE
        assert (sound.codec_context.name, sound.codec_context.profile) == ("aac", "LC")
        assert (sound.rate, sound.layout.name) == (48_000, "stereo")
        assert float(sound.duration * sound.time_base) == pytest.approx(75 / RATE, abs=1024 / 48_000)


def test_the_index_comes_before_the_pictures(tmp_path: Path) -> None:
    places = dict(boxes(write_ramp(tmp_path / "film.mp4").read_bytes()))
    assert places["ftyp"] < places["moov"] < places["mdat"]


def test_frames_keep_their_order_time_and_level(tmp_path: Path) -> None:
    with ClipReader(write_ramp(tmp_path / "film.mp4")) as clip:
        found = [(t, picture.mean()) for t, picture in clip.luma()]
    assert [t for t, _ in found] == pytest.approx([float(index / RATE) for index in range(75)], abs=1e-6)
    wanted = [16 + 219 * 3 * index / 255 for index in range(75)]  # BT.709's limited range
    assert [level for _, level in found] == pytest.approx(wanted, abs=1.0)


def test_groups_of_pictures_are_closed_and_last_a_second_at_most(tmp_path: Path) -> None:
    path = write_ramp(tmp_path / "film.mp4")
    with av.open(str(path)) as container:
        packets = [packet for packet in container.demux(video=0) if packet.size]
    keys = [index for index, packet in enumerate(packets) if packet.is_keyframe]
    assert len(keys) >= 3
    assert max(np.diff([*keys, len(packets)])) <= 29
    for key in keys:  # closed: nothing after a key frame in the file is shown before it
        assert all(packet.pts >= packets[key].pts for packet in packets[key:])


def test_sound_starts_with_the_picture_and_stays_in_tune(tmp_path: Path) -> None:
    audio = tone(2.0)
    audio.samples[:22_050] = 0.0  # silence, then the tone at 0.5 s
    from limewash.media.sound import read_sound

    back = read_sound(write_ramp(tmp_path / "film.mp4", audio=audio))
    assert back.rate_hz == 48_000
    loud = np.abs(back.samples[:, 0]) > 0.2
    assert np.argmax(loud) / 48_000 == pytest.approx(0.5, abs=0.005)
    spectrum = np.abs(np.fft.rfft(back.samples[30_000:78_000, 1] * np.hanning(48_000)))
    assert np.argmax(spectrum) == pytest.approx(440, abs=1)


# Check-values 7.13: macroblocks a second against H.264 table A-1.
@pytest.mark.parametrize(
    ("size", "rate", "level"),
    [
        ((1920, 1080), 30, "4"),
        ((1920, 1080), 60, "4.2"),
        ((3840, 2160), 30, "5.1"),
        ((3840, 2160), 60, "5.2"),
        ((1280, 720), 60, "3.2"),
    ],
)
def test_the_lowest_level_of_table_a_1(size: tuple[int, int], rate: int, level: str) -> None:
    found = lowest_level(size, Fraction(rate))
    assert found is not None
    assert found[0] == level


# Check-values 7.14: the High profile's bit rates.
@pytest.mark.parametrize(
    ("size", "rate", "mbit_s"), [((1920, 1080), 30, 25), ((1920, 1080), 60, 62.5), ((3840, 2160), 30, 300)]
)
def test_bit_rate_limits_of_the_high_profile(size: tuple[int, int], rate: int, mbit_s: float) -> None:
    found = lowest_level(size, Fraction(rate))
    assert found is not None
    assert found[1] == mbit_s * 1e6


def test_the_level_is_declared_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "film.mp4"
    with VideoWriter(path, (1920, 1080), Fraction(30)) as out:
        out.write_grey(np.zeros((1080, 1920), np.uint8))
    with av.open(str(path)) as container:
        assert container.streams.video[0].codec_context.level == 40


# Check-values 7.4 (Rec. ITU-R BT.709, 8-bit, limited range): 100 % bars W Y C G M R B K.
BARS = {
    (255, 255, 255): (235, 128, 128),
    (255, 255, 0): (219, 16, 138),
    (0, 255, 255): (188, 154, 16),
    (0, 255, 0): (173, 42, 26),
    (255, 0, 255): (78, 214, 230),
    (255, 0, 0): (63, 102, 240),
    (0, 0, 255): (32, 240, 118),
    (0, 0, 0): (16, 128, 128),
}


@pytest.mark.parametrize(("rgb", "codes"), BARS.items())
def test_bars_have_the_codes_of_bt_709(rgb: tuple[int, ...], codes: tuple[int, ...]) -> None:
    frame = av.VideoFrame(18, 10, "yuv420p")
    fill_from_rgb(np.broadcast_to(np.array(rgb, np.uint8), (10, 18, 3)), frame)
    assert tuple(set(plane_view(frame, index).ravel().tolist()) for index in range(3)) == tuple(
        {code} for code in codes
    )


def test_chroma_sits_on_even_columns() -> None:
    # A ramp along x: a sample sited on column 2 j has that column's value, not that of 2 j + 1/2.
    ramp = np.zeros((4, 64, 3), np.uint8)
    ramp[..., 2] = np.arange(64) * 4
    frame = av.VideoFrame(64, 4, "yuv420p")
    fill_from_rgb(ramp, frame)
    blue = np.arange(2, 62, 2) * 4.0
    wanted = 128 + 224 * (blue - 0.0722 * blue) / 1.8556 / 255
    assert plane_view(frame, 1)[0, 1:31] == pytest.approx(wanted, abs=0.51)


@settings(max_examples=50, deadline=None)
@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_grey_and_colour_agree_with_the_formula(rgb: tuple[int, int, int]) -> None:
    frame = av.VideoFrame(4, 4, "yuv420p")
    fill_from_rgb(np.broadcast_to(np.array(rgb, np.uint8), (4, 4, 3)), frame)
    r, g, b = (value / 255 for value in rgb)
    y = 0.2126 * r + 0.7152 * g + 0.0722 * b
    wanted = (16 + 219 * y, 128 + 224 * (b - y) / 1.8556, 128 + 224 * (r - y) / 1.5748)
    assert [float(plane_view(frame, index)[0, 0]) for index in range(3)] == pytest.approx(wanted, abs=0.501)


def test_an_odd_size_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="even in width and height, got 101 x 100"):
        VideoWriter(tmp_path / "film.mp4", (101, 100), RATE)


def test_a_wrong_suffix_rate_size_or_picture_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"\.mp4, got '\.avi'"):
        VideoWriter(tmp_path / "film.avi", (100, 100), RATE)
    with pytest.raises(InputError, match="rate must be > 0"):
        VideoWriter(tmp_path / "film.mp4", (100, 100), Fraction(0))
    with pytest.raises(InputError, match=r"no H\.264 level"):
        VideoWriter(tmp_path / "film.mp4", (16_000, 16_000), RATE)
    with (
        pytest.raises(InputError, match=r"uint8 of shape \(100, 100\), got float64"),
        VideoWriter(tmp_path / "film.mp4", (100, 100), RATE) as out,
    ):
        out.write_grey(np.zeros((100, 100)))  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("failure", [KeyboardInterrupt, RuntimeError])
def test_a_failed_film_leaves_the_old_one_and_nothing_else(tmp_path: Path, failure: type[BaseException]) -> None:
    path = tmp_path / "film.mp4"
    path.write_bytes(b"the old film")
    with pytest.raises(failure), VideoWriter(path, (64, 48), RATE, audio=tone(1.0)) as out:
        for _ in range(40):
            out.write_grey(np.zeros((48, 64), np.uint8))
        raise failure
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_bytes() == b"the old film"


def test_a_film_without_frames_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no frame"), VideoWriter(tmp_path / "film.mp4", (64, 48), RATE):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with (
        pytest.raises(InputError, match="check that its folder exists"),
        VideoWriter(tmp_path / "nowhere" / "film.mp4", (64, 48), RATE),
    ):
        pass


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on file size to stand in for a full disk")
def test_a_full_disk_is_told_and_leaves_nothing(tmp_path: Path) -> None:
    # A limit on the size of files makes the kernel refuse to write on, as a full disk does.
    program = f"""
import resource, signal, numpy as np
from fractions import Fraction
from pathlib import Path
from limewash.errors import InputError
from limewash.media.writing import VideoWriter
noise = np.random.default_rng(1).integers(0, 256, (30, 240, 320), dtype=np.uint8)
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
try:
    with VideoWriter(Path({str(tmp_path / "film.mp4")!r}), (320, 240), Fraction(30)) as out:
        for picture in noise:
            out.write_grey(picture)
except InputError as error:
    print("InputError", error)
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.startswith(f"InputError cannot write {tmp_path / 'film.mp4'}: "), done.stdout + done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_at_any_frame_says_to_free_space(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "film.mp4"
    with (
        pytest.raises(InputError, match="free some space"),
        VideoWriter(path, (64, 48), RATE) as out,
    ):
        monkeypatch.setattr(out, "_container", _FullDisk(out._container))
        out.write_grey(np.zeros((48, 64), np.uint8))
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_place_of_a_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "film").write_text("no folder")
    with pytest.raises(InputError, match="check that its folder exists"):
        VideoWriter(tmp_path / "film" / "a.mp4", (64, 48), RATE).__enter__()
    assert [path.name for path in tmp_path.iterdir()] == ["film"]


class _FullDisk:
    def __init__(self, container: av.container.OutputContainer) -> None:
        self.close = container.close

    def mux(self, _packets: object) -> None:
        raise av.error.OSError(errno.ENOSPC, "No space left on device")
