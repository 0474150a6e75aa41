"""The phone against what is known of shutters, photons and curves."""

from __future__ import annotations

from dataclasses import replace

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from limewash.light.colour import LUMA_BT709
from limewash.media.yuv import plane_rows, plane_view
from limewash.world.phone import Phone, PhoneCamera, exposure_shares, tone_table
from limewash.world.sensor import NOISE_LENGTH, TONE_STEPS, develop

STILL = Phone(
    jitter_s=0.0, readout_s=0.0, blur_px=0.0, vibration_px=0.0, shake_px=0.0, drift=0.0, follow=0.0, contrast=0.0
)
# A billion times the light and the room for it: no noise is left.
NOISELESS = replace(STILL, quantum_efficiency=5e8, full_well_per_um2=7e11, read_noise_e=0.0, max_gain=1e9)
EVER = -1e9


def flat(level: float, size: tuple[int, int] = (64, 48)) -> np.ndarray:
    return np.full((size[1], size[0], 3), level, np.float32)


def shot(camera: PhoneCamera, index: int = 0) -> list[np.ndarray]:
    frame = av.VideoFrame(*camera.size, "yuv420p")
    camera.shoot(index, frame)
    return [plane_view(frame, plane).copy() for plane in range(3)]


def linear_signal(luma: np.ndarray, contrast: float = 0.0) -> np.ndarray:
    """Undo the tone curve, as one does with a camera of known curve."""
    return np.interp((luma.astype(float) - 16) / 219, tone_table(contrast), np.linspace(0, 1, TONE_STEPS + 1))


@given(
    gaps=st.lists(st.floats(0.001, 0.05), min_size=1, max_size=5),
    open_s=st.floats(-0.02, 0.1),
    exposure_s=st.floats(0.001, 0.05),
    readout_s=st.floats(0.0, 0.03),
)
def test_shares_are_the_time_that_each_picture_was_seen(
    gaps: list[float], open_s: float, exposure_s: float, readout_s: float
) -> None:
    starts = np.concatenate([[-1.0], np.cumsum(gaps)])
    shares = exposure_shares(starts, open_s, exposure_s, readout_s, rows=5)
    instants = (np.arange(4000) + 0.5) / 4000 * exposure_s
    for row in range(5):
        shown = np.searchsorted(starts, open_s + readout_s * row / 4 + instants, side="right") - 1
        counted = np.bincount(shown, minlength=len(starts)) / 4000  # the integral, by brute force
        assert shares[row] == pytest.approx(counted, abs=1.1 / 4000)


def test_a_frame_between_two_pictures_mixes_them_row_by_row() -> None:
    phone = replace(NOISELESS, exposure_s=0.02, readout_s=0.01, expose_to=1.0)
    camera = PhoneCamera(phone, flat(10.0))
    camera.show(flat(10.0), EVER)
    camera.show(flat(2.0), 0.015)
    luma = shot(camera)[0]
    # Closed form: the row that opens at t sees the first picture for 15 ms - t of its 20 ms.
    opens = 0.01 * np.arange(48) / 47
    first = (0.015 - opens) / 0.02
    assert linear_signal(luma).mean(axis=1) == pytest.approx(first * 1.0 + (1 - first) * 0.2, abs=0.005)


def test_noise_follows_the_photon_transfer_law() -> None:
    # J. R. Janesick, Photon Transfer (SPIE 2007): in electrons, variance = mean + read noise squared (from
    # memory). Luma adds three independent channels, so its variance has the sum of the squared weights.
    phone = replace(STILL, white_balance=(1.0, 1.0, 1.0), full_well_per_um2=5.0, read_noise_e=8.0)
    camera = PhoneCamera(phone, flat(85.0, (320, 240)))
    electrons_per_signal = camera.full_well_e / camera.gain
    means, variances = [], []
    for level in (15.0, 30.0, 45.0, 60.0):
        camera.show(flat(level, (320, 240)), EVER)
        signal = linear_signal(shot(camera)[0])
        means.append(signal.mean() * electrons_per_signal)
        variances.append(signal.var() * electrons_per_signal**2 / np.sum(np.square(LUMA_BT709)))
        assert means[-1] == pytest.approx(level * camera.electrons_per_cd_m2, rel=0.02)
    slope, floor = np.polyfit(means, variances, 1)
    assert slope == pytest.approx(1.0, abs=0.05)
    assert floor == pytest.approx(64.0, rel=0.5)


def test_noise_of_neighbours_rows_and_frames_is_independent() -> None:
    phone = replace(STILL, white_balance=(1.0, 1.0, 1.0), full_well_per_um2=0.5)
    camera = PhoneCamera(phone, flat(85.0, (320, 240)))
    camera.show(flat(40.0, (320, 240)), EVER)
    one, two = (shot(camera, index)[0].astype(float) for index in range(2))
    pairs = [(one, two), (one[:, 1:], one[:, :-1]), (one[1:], one[:-1]), (one[2:], one[:-2])]
    for a, b in pairs:
        assert abs(np.corrcoef(a.ravel(), b.ravel())[0, 1]) < 0.02


def test_exposure_is_set_on_the_white_picture() -> None:
    for white in (2.0, 30.0, 400.0):
        camera = PhoneCamera(replace(NOISELESS, expose_to=0.8), flat(white))
        camera.show(flat(white), EVER)
        assert linear_signal(shot(camera)[0]).mean() == pytest.approx(0.8, abs=0.005)


def test_a_bright_house_shortens_the_exposure_and_a_dim_one_raises_the_gain() -> None:
    dim, bright = PhoneCamera(Phone(), flat(5.0)), PhoneCamera(Phone(), flat(500.0))
    assert dim.gain > 5.0
    assert dim.exposure_s == Phone().exposure_s
    assert bright.gain == 1.0
    assert bright.exposure_s < Phone().exposure_s / 3
    assert PhoneCamera(Phone(), flat(1e-3)).gain == Phone().max_gain


def test_light_beyond_the_full_well_clips_to_nominal_white() -> None:
    camera = PhoneCamera(NOISELESS, flat(10.0))
    camera.show(flat(50.0), EVER)
    y, cb, cr = shot(camera)
    assert set(y.ravel().tolist()) == {235}
    assert set(cb.ravel().tolist()) == set(cr.ravel().tolist()) == {128}


def test_colours_follow_the_bt_709_matrix() -> None:
    # Check-values 7.4: red at 100 % is (63, 102, 240).
    red = flat(0.0)
    red[..., 0] = 10.0
    camera = PhoneCamera(replace(NOISELESS, expose_to=1.0), flat(10.0))
    camera.show(red, EVER)
    assert [plane[4, 4] for plane in shot(camera)] == [63, 102, 240]


def test_locked_exposure_yields_a_little_to_a_bright_picture() -> None:
    phone = replace(NOISELESS, follow=0.12, follow_s=0.3)
    camera = PhoneCamera(phone, flat(100.0))
    camera.show(flat(50.0), EVER)
    usual = [linear_signal(shot(camera, index)[0]).mean() for index in range(60)]
    camera.show(flat(90.0), 0.0)
    bright = [linear_signal(shot(camera, index)[0]).mean() / 1.8 for index in range(60)]
    assert usual == pytest.approx([0.4] * 60, abs=0.005)
    assert bright[-1] == pytest.approx(0.4 * 1.8**-0.12, abs=0.005)  # the law of the loop, settled
    assert np.all(np.diff(bright) < 0.004)


@settings(max_examples=25, deadline=None)
@given(dx=st.floats(-9.0, 9.0), dy=st.floats(-9.0, 9.0))
def test_a_moved_picture_agrees_with_scipy(dx: float, dy: float) -> None:
    width, height = 32, 24
    light = np.random.default_rng(4).uniform(0.1, 0.9, (height, width)).astype(np.float32)
    store = np.broadcast_to(light, (1, 3, height, width)).copy()
    frame = av.VideoFrame(width, height, "yuv420p")
    develop(
        store,
        np.ones((height, 1), np.float32),
        np.array([dx, dy]),
        np.array([[1.0, 0.0, 0.0]] * 3),
        np.zeros(NOISE_LENGTH + width, np.float32),
        np.linspace(0, 1, TONE_STEPS + 1, dtype=np.float32),
        7,
        *(plane_rows(frame, index) for index in range(3)),
    )
    wanted = ndimage.shift(light.astype(float), (dy, dx), order=1, mode="nearest")
    assert np.abs(plane_view(frame, 0) - (16.0 + 219.0 * wanted)).max() < 0.53


def test_the_lens_blurs_as_far_as_it_says() -> None:
    edge = flat(0.0)
    edge[:, 32:] = 1.0
    camera = PhoneCamera(replace(NOISELESS, blur_px=1.5, expose_to=1.0), flat(1.0))
    camera.show(edge, EVER)
    spread = np.clip(np.diff(linear_signal(shot(camera)[0])[20]), 0, None)
    place = np.arange(len(spread))
    mean = np.average(place, weights=spread)
    assert np.sqrt(np.average((place - mean) ** 2, weights=spread)) == pytest.approx(1.5, abs=0.1)


def test_more_pictures_than_slots_are_kept_apart() -> None:
    phone = replace(NOISELESS, exposure_s=0.012, expose_to=1.0)
    camera = PhoneCamera(phone, flat(1.0))
    levels = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
    for index, level in enumerate(levels):
        camera.show(flat(level), EVER if index == 0 else 0.002 * index)
    assert linear_signal(shot(camera)[0]).mean() == pytest.approx(np.mean(levels), abs=0.005)


def test_the_same_seed_is_the_same_evening() -> None:
    def evening(seed: int) -> bytes:
        camera = PhoneCamera(Phone(seed=seed), flat(40.0))
        camera.show(flat(20.0), EVER)
        return b"".join(plane.tobytes() for index in range(3) for plane in shot(camera, index))

    assert evening(3) == evening(3)
    assert evening(3) != evening(4)


@given(st.floats(0.0, 1.0))
def test_the_tone_curve_rises_from_black_to_white(contrast: float) -> None:
    tone = tone_table(contrast)
    assert (tone[0], tone[-1]) == (0.0, pytest.approx(1.0))
    assert np.all(np.diff(tone) >= 0.0)
