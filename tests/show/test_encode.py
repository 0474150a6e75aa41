"""Composed light becomes BT.709 video that gives the light back on the wall."""

from __future__ import annotations

import warnings
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.light.colour import decode_bt1886
from limewash.media.reading import ClipReader
from limewash.media.writing import VideoWriter
from limewash.media.yuv import plane_view
from limewash.show import encode
from limewash.show.encode import linear_to_yuv420, signal_of_light

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses matplotlib, which only its plots need
    import colour


def encoded(linear: np.ndarray) -> list[np.ndarray]:
    frame = av.VideoFrame(linear.shape[1], linear.shape[0], "yuv420p")
    linear_to_yuv420(np.asarray(linear, np.float32), frame)
    return [plane_view(frame, index).copy() for index in range(3)]


def flat(rgb: tuple[float, ...], size: tuple[int, int] = (64, 64)) -> np.ndarray:
    return np.broadcast_to(np.array(rgb, np.float32), (size[1], size[0], 3)).copy()


def light_of_codes(planes: list[np.ndarray]) -> np.ndarray:
    """What a projector makes of flat planes: mean codes to R'G'B' by BT.709, then Rec. ITU-R BT.1886."""
    signal = colour.YCbCr_to_RGB(
        np.array([plane.mean() for plane in planes]),
        K=colour.WEIGHTS_YCBCR["ITU-R BT.709"],
        in_bits=8,
        in_legal=True,
        in_int=True,
        out_legal=False,
    )
    return np.asarray(colour.models.eotf_BT1886(np.clip(signal, 0, 1)))


# Check-values 7.4 and 7.5 (Rec. ITU-R BT.709, 8-bit, limited range): bars of 100 and 75 %.
BARS = [
    ((1, 1, 1), (235, 128, 128)),
    ((1, 1, 0), (219, 16, 138)),
    ((0, 1, 1), (188, 154, 16)),
    ((0, 1, 0), (173, 42, 26)),
    ((1, 0, 1), (78, 214, 230)),
    ((1, 0, 0), (63, 102, 240)),
    ((0, 0, 1), (32, 240, 118)),
    ((0, 0, 0), (16, 128, 128)),
    ((0.75, 0.75, 0.75), (180, 128, 128)),
    ((0.75, 0.75, 0), (168, 44, 136)),
    ((0, 0.75, 0.75), (145, 147, 44)),
    ((0, 0.75, 0), (133, 63, 52)),
    ((0.75, 0, 0.75), (63, 193, 204)),
    ((0.75, 0, 0), (51, 109, 212)),
    ((0, 0, 0.75), (28, 212, 120)),
]


@pytest.mark.parametrize(("signal", "codes"), BARS)
def test_bars_have_the_codes_of_bt_709(signal: tuple[float, ...], codes: tuple[int, ...]) -> None:
    planes = encoded(flat(tuple(decode_bt1886(signal))))
    # Dither spreads a value between two codes; its mean is exact, and rounds to the printed code.
    assert tuple(round(plane.mean() + 1e-9) for plane in planes) == codes
    assert all(np.ptp(plane) <= 1 for plane in planes)


@settings(max_examples=60, deadline=None)
@given(st.tuples(*[st.floats(0.0, 1.0)] * 3))
def test_mean_codes_agree_with_colour_science(linear: tuple[float, float, float]) -> None:
    signal = colour.models.eotf_inverse_BT1886(np.array(linear))
    wanted = colour.RGB_to_YCbCr(
        signal, K=colour.WEIGHTS_YCBCR["ITU-R BT.709"], out_bits=8, out_legal=True, out_int=False
    )
    found = [plane.mean() / 255 for plane in encoded(flat(linear))]
    # 1/64 of a code is the finest step of the dither; 1/30 is the step of the table at its black end.
    assert np.abs(np.array(found) - wanted).max() * 255 < 0.05


@settings(max_examples=60, deadline=None)
@given(st.tuples(*[st.floats(0.02, 1.0)] * 3))
def test_the_wall_gets_the_light_that_was_composed(linear: tuple[float, float, float]) -> None:
    assert light_of_codes(encoded(flat(linear))) == pytest.approx(linear, rel=0.01, abs=1e-3)


def test_half_the_light_is_half_the_light() -> None:
    assert decode_bt1886(signal_of_light([0.0, 0.25, 0.5, 1.0])) == pytest.approx([0.0, 0.25, 0.5, 1.0])


def test_grey_stays_free_of_colour() -> None:
    ramp = flat((1, 1, 1), (256, 64)) * np.linspace(0, 1, 256, dtype=np.float32)[None, :, None]
    _, cb, cr = encoded(ramp)
    assert set(cb.ravel().tolist()) == set(cr.ravel().tolist()) == {128}


def test_luma_rises_along_a_dark_ramp_in_steps_below_a_code() -> None:
    ramp = flat((1, 1, 1), (1024, 64)) * np.linspace(0, 0.002, 1024, dtype=np.float32)[None, :, None]
    luma = cv2.blur(encoded(ramp)[0].astype(np.float32), (8, 64))[32, 8:-8]
    wanted = cv2.blur(16 + 219 * signal_of_light(ramp[..., 0]), (8, 64))[32, 8:-8]
    assert np.abs(luma - wanted).max() < 0.12
    assert len(np.unique(luma)) > 200


def test_chroma_sits_on_even_columns() -> None:
    signal = np.linspace(0.1, 0.9, 128)
    blue = flat((0, 0, 0), (128, 64))
    blue[..., 2] = decode_bt1886(signal)
    cb = encoded(blue)[1].mean(axis=0)[1:-1]
    wanted = 128 + 224 * (signal - 0.0722 * signal)[2:-2:2] / 1.8556
    assert abs(np.mean(cb - wanted)) < 0.05  # half a pixel off would be 0.35


@pytest.mark.parametrize("bad", [np.nan, -1.0, np.inf, 1e9])
def test_light_out_of_range_is_clipped(bad: float) -> None:
    limit = 1.0 if bad > 1.0 else 0.0
    spoiled, clean = flat((0.3, 0.3, 0.3)), flat((0.3, 0.3, 0.3))
    spoiled[10:20, 10:20] = bad
    clean[10:20, 10:20] = limit
    assert all(np.array_equal(a, b) for a, b in zip(encoded(spoiled), encoded(clean), strict=True))


def test_the_same_light_gives_the_same_bytes_in_any_order_and_thread() -> None:
    pictures = [np.random.default_rng(seed).random((54, 98, 3), np.float32) for seed in range(8)]
    alone = [encoded(picture) for picture in pictures]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(encoded, reversed(pictures)))[::-1]
    assert all(
        np.array_equal(a, b) for one, two in zip(alone, together, strict=True) for a, b in zip(one, two, strict=True)
    )


def test_another_shape_or_type_is_refused() -> None:
    frame = av.VideoFrame(64, 48, "yuv420p")
    with pytest.raises(InputError, match=r"float32 of shape \(48, 64, 3\), got float64"):
        linear_to_yuv420(np.zeros((48, 64, 3)), frame)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"got float32 \(64, 48, 3\)"):
        linear_to_yuv420(np.zeros((64, 48, 3), np.float32), frame)


def band_error(path: Path, light: np.ndarray) -> float:
    """What is left of an encoded gradient's error when single pixels are blurred away [codes, RMS]."""
    with VideoWriter(path, (light.shape[1], light.shape[0]), Fraction(30)) as out:
        for _ in range(12):
            frame = out.new_frame()
            linear_to_yuv420(light, frame)
            out.write(frame)
    with ClipReader(path) as clip:
        luma = [picture for _, picture in clip.luma()][8].astype(np.float32)
    wanted = (16 + 219 * signal_of_light(light[..., 0])).astype(np.float32)
    inside = np.s_[20:-20, 20:-20]
    return float(np.sqrt(np.mean((cv2.blur(luma, (33, 33)) - cv2.blur(wanted, (33, 33)))[inside] ** 2)))


def test_a_very_dark_gradient_keeps_its_dither_through_the_encoder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    light = flat((1, 1, 1), (640, 360)) * np.linspace(0.0005, 0.002, 640, dtype=np.float32)[None, :, None]
    dithered = band_error(tmp_path / "a.mp4", light)
    monkeypatch.setattr(encode, "_thresholds", lambda width: np.full((8, width), 0.5, np.float32))
    plain = band_error(tmp_path / "b.mp4", light)
    assert plain > 0.15
    assert dithered < 0.06
