"""Filming with a camera of the computer: a camera that is played by a clip stands for the device."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from street import SIZE, street

from limewash.errors import InputError
from limewash.media import camera
from limewash.media.reading import ClipReader
from limewash.scan.filming import Light, film_live, light_of, look
from limewash.scan.read import read_clip


class Device:
    """What OpenCV gives for a camera; its pictures come from a list, by and by failing."""

    def __init__(self, pictures: list[np.ndarray | None]) -> None:
        self.pictures = iter(pictures)
        self.asked: dict[int, float] = {}
        self.open = True

    def isOpened(self) -> bool:  # noqa: N802
        return self.open

    def read(self) -> tuple[bool, np.ndarray | None]:
        picture = next(self.pictures, None)
        return picture is not None, picture

    def set(self, what: int, value: float) -> bool:
        self.asked[what] = value
        return True

    def get(self, what: int) -> float:
        return {cv2.CAP_PROP_FRAME_WIDTH: 64.0, cv2.CAP_PROP_FRAME_HEIGHT: 48.0}[what]

    def release(self) -> None:
        self.open = False


def plug_in(monkeypatch: pytest.MonkeyPatch, devices: dict[int | str, Device]) -> None:
    missing: Callable[[int | str], Device] = lambda _: Device([])  # noqa: E731
    monkeypatch.setattr(cv2, "VideoCapture", lambda source: devices.get(source) or missing(source))


def test_a_filmed_pattern_is_read_like_any_clip(tmp_path: Path, clip: Path) -> None:
    """Frames come at odd times, and some are lost: the clip keeps the times."""
    rng = np.random.default_rng(2)

    def frames() -> Iterator[tuple[float, np.ndarray]]:
        with ClipReader(clip) as reader:
            for t_s, picture in reader.rgb():
                if rng.uniform() > 0.03:
                    yield 5.0 + t_s + rng.uniform(0.0, 0.004), picture

    with ClipReader(clip) as reader:
        length_s = reader.info.duration_s
    count, rate = film_live(frames(), tmp_path / "live.mp4", length_s)
    assert rate == pytest.approx(29.97 * 0.97, rel=0.02)
    with ClipReader(tmp_path / "live.mp4") as reader:
        assert sum(1 for _ in reader.luma()) == count
    scan = read_clip(tmp_path / "live.mp4", SIZE)
    errors = street().errors_px(scan.correspondence)
    assert np.sqrt(np.mean(errors**2)) < 0.4
    assert np.mean(errors > 3.0) < 0.002


def test_a_slow_camera_and_a_dead_one_are_told(tmp_path: Path) -> None:
    slow = ((n / 7.0, np.full((48, 64, 3), n, np.uint8)) for n in range(30))
    with pytest.raises(InputError, match=r"only 7\.0 frames a second"):
        film_live(slow, tmp_path / "slow.mp4", 3.0)
    assert (tmp_path / "slow.mp4").is_file()
    with pytest.raises(InputError, match="sends no picture"):
        film_live(iter(()), tmp_path / "none.mp4", 3.0)
    with pytest.raises(InputError, match="sends no picture"):
        look(iter(()))
    assert not (tmp_path / "none.mp4").exists()


def test_a_camera_that_stops_sending_is_told(tmp_path: Path) -> None:
    frames = ((n / 30.0, np.full((48, 64, 3), n, np.uint8)) for n in range(60))
    with pytest.raises(InputError, match=r"stopped sending after 2\.0 s of 40 s"):
        film_live(frames, tmp_path / "a.mp4", 40.0)
    assert (tmp_path / "a.mp4").is_file()


def test_ctrl_c_ends_the_clip_and_keeps_it(tmp_path: Path) -> None:
    def frames() -> Iterator[tuple[float, np.ndarray]]:
        for n in range(90):
            if n == 60:
                raise KeyboardInterrupt
            yield n / 30.0, np.full((48, 64, 3), n, np.uint8)

    assert film_live(frames(), tmp_path / "a.mp4", 100.0)[0] == 60
    with ClipReader(tmp_path / "a.mp4") as reader:
        times = [t_s for t_s, _ in reader.luma()]
    assert np.allclose(times, np.arange(60) / 30.0, atol=1e-3)


@pytest.mark.parametrize(("level", "lamp", "said"), [(10, 0, "Dark"), (150, 0, "good"), (150, 20, "Over-exposed")])
def test_the_light_is_judged_before_filming(level: int, lamp: int, said: str) -> None:
    picture = np.full((96, 128, 3), level, np.uint8)
    picture[:lamp, :lamp] = 255
    light = light_of(picture)
    assert said in str(light)
    assert light.fit is (said == "good")
    assert light.clipped == pytest.approx(lamp**2 / (96 * 128), abs=0.003)
    later = ((n / 10.0, picture if n > 12 else picture // 9) for n in range(40))  # its automatics settle at first
    seen, rest = look(later)
    assert seen == light
    assert next(rest)[0] == pytest.approx(1.5)
    assert isinstance(seen, Light)


def test_cameras_are_listed_and_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    picture = np.zeros((48, 64, 3), np.uint8)
    picture[..., 0] = 200  # blue: OpenCV's order is B, G, R
    device = Device([picture, picture, None, picture])
    plug_in(monkeypatch, {1: Device([picture]), 2: device})
    assert [(one.number, one.size) for one in camera.cameras()] == [(1, (64, 48)), (2, (64, 48))]
    device.open, device.pictures = True, iter([picture, picture, None, picture])
    with camera.Camera("2", (1280, 720), 30.0) as source:
        assert device.asked[cv2.CAP_PROP_FRAME_WIDTH] == 1280
        seen = list(source.frames())
    assert len(seen) == 2  # one was taken to see whether it is alive, one was lost
    assert seen[0][0] == 0.0
    assert seen[0][1][0, 0].tolist() == [0, 0, 200]
    assert not device.open


def test_no_camera_is_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    plug_in(monkeypatch, {})
    assert camera.cameras() == []
    with pytest.raises(InputError, match=r"no camera 0 .*scan film --cameras.*A phone does as well"):
        camera.Camera("0")
    with pytest.raises(InputError, match="check the address"):
        camera.Camera("rtsp://192.0.2.1/a")
