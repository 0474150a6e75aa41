"""Clips as phones really store them, and streets as they really are, against the street's exact truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from spoiled import frames_of, write_frames
from street import SIZE, Phone, Street, film, street

from limewash.scan.correspondence import Correspondence
from limewash.scan.pattern import plan_pattern
from limewash.scan.read import ScanResult, read_clip


def check(result: ScanResult, scene: Street, *, rmse_px: float = 0.4, coverage: float = 0.95) -> None:
    truth = scene.truth()
    errors = scene.errors_px(result.correspondence)
    assert np.median(errors) <= 0.15
    assert np.sqrt(np.mean(errors**2)) <= rmse_px
    assert (result.correspondence.seen & truth.seen).sum() >= coverage * truth.seen.sum()


def stored(
    clip: Path,
    out: Path,
    *,
    codec: str = "libx265",
    pixel_format: str = "yuv420p",
    recode: Callable[[NDArray[np.float64]], NDArray[np.float64]] | None = None,
    turn_deg: int = 0,
    drop: Callable[[int], bool] = lambda n: False,
    transfer: int = 1,
) -> Path:
    """A clip again, as another phone would have stored it."""
    bits = 10 if "10" in pixel_format else 8
    quality = {"crf": "16", "preset": "ultrafast"} | ({"x265-params": "log-level=none"} if "265" in codec else {})
    with av.open(str(clip)) as source, av.open(str(out), "w") as target:
        video = source.streams.video[0]
        stream = target.add_stream(codec, rate=video.average_rate, options=quality)
        quarter = turn_deg % 180 != 0
        stream.width, stream.height = (video.height, video.width) if quarter else (video.width, video.height)
        stream.pix_fmt = pixel_format
        stream.codec_context.color_trc = transfer
        stream.time_base = Fraction(1, 90_000)
        if turn_deg:
            stream.set_display_rotation(turn_deg)
        for n, frame in enumerate(source.decode(video)):
            if drop(n):
                continue
            codes = np.frombuffer(frame.planes[0], np.uint8).reshape(frame.height, -1)[:, : frame.width]
            signal = (codes.astype(np.float64) - 16) / 219
            # Lying in the file the way the sensor lay, to be turned upright by the player.
            signal = np.rot90(recode(signal) if recode else signal, -turn_deg // 90)
            luma = np.rint((16 + 219 * signal) * 2 ** (bits - 8)).astype("<u2" if bits > 8 else np.uint8)
            picture = av.VideoFrame(luma.shape[1], luma.shape[0], pixel_format)
            for index, plane in enumerate(picture.planes):
                rows = np.frombuffer(plane, luma.dtype).reshape(plane.height, -1)
                rows[:] = 128 * 2 ** (bits - 8)
                if index == 0:
                    rows[:, : luma.shape[1]] = luma
            picture.pts, picture.time_base = round(frame.time * 90_000), Fraction(1, 90_000)
            target.mux(stream.encode(picture))
        target.mux(stream.encode(None))
    return out


def to_pq(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """An ordinary phone's signal as the same light on the curve of SMPTE ST 2084, white at 600 cd/m2."""
    y = (np.clip(signal, 0, 1) ** 2.2 * 600 / 10_000) ** 0.1593017578125
    return ((0.8359375 + 18.8515625 * y) / (1 + 18.6875 * y)) ** 78.84375


def to_hlg(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same on the hybrid log-gamma curve of Rec. ITU-R BT.2100."""
    light = np.clip(signal, 0, 1) ** 2.2
    high = 0.17883277 * np.log(np.maximum(12 * light - 0.28466892, 1e-9)) + 0.55991073
    return np.where(light <= 1 / 12, np.sqrt(3 * light), high)


@pytest.mark.slow
@pytest.mark.parametrize(
    "kind",
    [
        {"pixel_format": "yuv420p10le"},
        {"pixel_format": "yuv420p10le", "recode": to_pq, "transfer": 16},
        {"pixel_format": "yuv420p10le", "recode": to_hlg, "transfer": 18},
        {"codec": "libx264", "drop": lambda n: n % 7 == 3 or n % 11 == 5},
    ],
    ids=["HEVC 10 bits", "HDR PQ", "HDR HLG", "varying frame rate"],
)
def test_clips_as_phones_store_them(tmp_path: Path, clip: Path, kind: dict[str, object]) -> None:
    again = stored(clip, tmp_path / "clip.mp4", **kind)  # type: ignore[arg-type]
    check(read_clip(again, SIZE), street())


@pytest.mark.slow
def test_clip_that_asks_to_be_turned(tmp_path: Path, clip: Path) -> None:
    """The other angles are those of tests/media/test_reading.py."""
    again = stored(clip, tmp_path / "clip.mp4", codec="libx264", turn_deg=90)
    check(read_clip(again, SIZE), street())


@pytest.mark.slow
@pytest.mark.parametrize("rate", [24, Fraction(60000, 1001), 240])
def test_frame_rates_from_24_to_240(tmp_path: Path, rate: Fraction | int) -> None:
    """Faster cameras see less light in each frame: more noise, but more frames."""
    fast = float(rate) / 30
    phone = Phone(rate=Fraction(rate), noise=0.012 * max(fast, 1.0) ** 0.5, drift=0.03)
    film(tmp_path / "clip.mp4", plan_pattern(SIZE, form="short"), street(), phone)
    check(read_clip(tmp_path / "clip.mp4", SIZE), street(), rmse_px=0.6)


@pytest.mark.slow
def test_clip_of_720_rows_of_a_projector_of_1080(tmp_path: Path) -> None:
    scene = Street((1280, 720), (1920, 1080), box=None, pane=None)
    film(tmp_path / "clip.mp4", plan_pattern((1920, 1080), form="short"), scene, Phone())
    check(read_clip(tmp_path / "clip.mp4", (1920, 1080)), scene, rmse_px=0.6)


@pytest.mark.slow
def test_headlights_are_taken_off_and_told(tmp_path: Path) -> None:
    plan = replace(plan_pattern(SIZE), title_frames=15)
    film(tmp_path / "clip.mp4", plan, street(), Phone(car_s=6.5))
    result = read_clip(tmp_path / "clip.mp4", SIZE)
    check(result, street())
    found = next(item for item in result.findings.items if item.code == "passing-light")
    assert 0.05 < found.numbers["touched_share"] < 0.3


@pytest.mark.slow
def test_somebody_who_walks_through_the_picture_is_told(tmp_path: Path, clip: Path) -> None:
    """Hides a fifth of the width and two thirds of the height, and crosses in four seconds in the middle of it all."""
    frames = frames_of(clip)
    for n, frame in enumerate(frames):
        left = round((n - 0.5 * len(frames)) * 5)
        frame[SIZE[1] // 3 :, max(left, 0) : max(left + SIZE[0] // 5, 0)] = 12
    write_frames(tmp_path / "walked.mp4", frames)
    result = read_clip(tmp_path / "walked.mp4", SIZE)
    assert "passer-by" in {item.code for item in result.findings.warnings}
    errors = street().errors_px(result.correspondence)
    sure = result.correspondence.confidence[result.correspondence.seen & street().truth().seen] > 0.5
    assert np.mean(errors[sure] > 3.0) <= 0.005
    # The upper third was never hidden.
    truth, third = street().truth().seen, slice(20, 70)
    assert (result.correspondence.seen & truth)[third].sum() >= 0.95 * truth[third].sum()


def _off(found: Correspondence, axis: int) -> NDArray[np.float64]:
    """Camera pixels by which a correspondence is off, NaN where unseen."""
    truth = street().truth()
    return (found.camera_x - truth.camera_x, found.camera_y - truth.camera_y)[axis]


@pytest.mark.slow
def test_a_sinking_tripod_is_put_right(tmp_path: Path) -> None:
    """The truth is where the camera stood for the photo, by the last white hold."""
    plan = replace(plan_pattern(SIZE), title_frames=15)
    slide, phone = np.array([0.9, -0.6]), Phone(crf=12)
    phone.slide_px = (slide[0], slide[1])
    film(tmp_path / "clip.mp4", plan, street(), phone)
    result = read_clip(tmp_path / "clip.mp4", SIZE)
    # The first white hold comes a beat after the mark; the last one takes the body's last three beats.
    whole_s = phone.before_s + plan.duration_s + phone.after_s
    begin_s = phone.before_s + plan.title_frames / float(plan.rate)
    first, last = (
        slide * (begin_s + beat * plan.beat_s) / whole_s
        for beat in (len(plan.chips) + 1.5, len(plan.chips) + plan.body_beats - 1.5)
    )
    moved = next(item for item in result.findings.items if item.code == "camera-moved")
    assert moved.numbers["moved_px"] == pytest.approx(np.hypot(*(last - first)), abs=0.15)
    found = result.correspondence
    found.camera_x[:] -= last[0]
    found.camera_y[:] -= last[1]
    errors = street().errors_px(found)
    assert np.hypot(*[np.nanmean(_off(found, axis)) for axis in (0, 1)]) < 0.1
    assert np.median(errors) <= 0.15
    check(result, street())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("phone", "code"),
    [(Phone(lamp_px=4.0), "lamp"), (Phone(ambient=0.5, exposure=0.5), "other-light")],
    ids=["lamp", "ambient"],
)
def test_light_that_is_always_there_is_told(tmp_path: Path, phone: Phone, code: str) -> None:
    film(tmp_path / "clip.mp4", plan_pattern(SIZE, form="short"), street(), phone)
    result = read_clip(tmp_path / "clip.mp4", SIZE)
    assert code in {item.code for item in result.findings.warnings}
    check(result, street(), rmse_px=0.6)


@pytest.mark.slow
def test_hunting_exposure_is_taken_out(tmp_path: Path) -> None:
    plan = replace(plan_pattern(SIZE), title_frames=15)
    film(tmp_path / "clip.mp4", plan, street(), Phone(drift=0.35))
    result = read_clip(tmp_path / "clip.mp4", SIZE)
    check(result, street())
    assert "exposure-drift" in {item.code for item in result.findings.items}
