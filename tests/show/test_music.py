"""The demo's music: in time, in tune, as loud as it should be, and without clicks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, lfilter, sosfiltfilt

from limewash.errors import InputError
from limewash.show.music import BAR_S, BPM, DemoMusic, demo_music, music_of_bars
from limewash.show.synth import RATE_HZ, bell, brush, drum, low_string, pitch_hz, pluck, room, shaker, strings


@pytest.fixture(scope="module")
def piece() -> DemoMusic:
    return demo_music(32.0)


def loudness_lufs(samples: np.ndarray) -> float:
    """Rec. ITU-R BS.1770, annex 1, without gating: the filters' coefficients are the printed ones for 48 kHz."""
    shelf = lfilter(
        [1.53512485958697, -2.69169618940638, 1.19839281085285],
        [1.0, -1.69065929318241, 0.73248077421585],
        samples,
        axis=0,
    )
    weighted = lfilter([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621], shelf, axis=0)
    return float(-0.691 + 10 * np.log10(np.sum(np.mean(weighted**2, axis=0))))


def test_the_loudness_meter_shows_the_anchor() -> None:
    # Check-values 7.17: 997 Hz at full scale in one channel is -3.01 LKFS.
    t = np.arange(5 * RATE_HZ) / RATE_HZ
    assert loudness_lufs(np.sin(2 * np.pi * 997 * t)[:, None]) == pytest.approx(-3.01, abs=0.02)


def test_the_piece_is_as_loud_as_music_for_a_film(piece: DemoMusic) -> None:
    samples = piece.sound.samples.astype(float)
    assert loudness_lufs(samples) == pytest.approx(-16.0, abs=1.5)
    assert np.abs(samples).max() == pytest.approx(10 ** (-1 / 20), abs=1e-4)  # -1 dBFS
    sides = np.sqrt(np.mean(samples**2, axis=0))
    assert 20 * np.log10(sides[0] / sides[1]) == pytest.approx(0.0, abs=1.0)


def test_the_beats_are_where_the_drum_is_heard(piece: DemoMusic) -> None:
    low = sosfiltfilt(butter(4, 100, "low", fs=RATE_HZ, output="sos"), piece.sound.samples.mean(axis=1))
    power = low**2
    window = int(0.06 * RATE_HZ)
    for bar in range(7, 12):
        for beat in (1, 3):
            at = round(piece.beats.start_s(f"bar {bar} beat {beat}") * RATE_HZ)
            before, after = power[at - window : at].mean(), power[at : at + window].mean()
            assert after > 2 * before


def test_beats_are_steady_and_cover_the_sound(piece: DemoMusic) -> None:
    times = np.array(piece.beats.times_s)
    assert times[0] == 0.0
    assert np.diff(times) == pytest.approx(np.full(len(times) - 1, 60 / BPM))
    assert times[-1] < piece.sound.duration_s <= times[-1] + 60 / BPM + 1e-9
    assert piece.beats.time_s(1 + 4 * 2) == pytest.approx(2 * BAR_S)


def test_sections_follow_each_other(piece: DemoMusic) -> None:
    assert [section.name for section in piece.sections] == ["opening", "verse", "answer", "close", "last chord"]
    assert [section.bar for section in piece.sections] == [1, 3, 7, 11, 13]


@settings(max_examples=5, deadline=None)
@given(st.floats(4.4, 24.0))
def test_any_length_is_filled_and_ends_in_silence(length_s: float) -> None:
    piece = demo_music(length_s)
    samples = piece.sound.samples
    assert len(samples) == round(length_s * RATE_HZ)
    assert piece.bars * BAR_S + 1.8 <= length_s + 1e-6 < (piece.bars + 1) * BAR_S + 1.8 + 1e-3
    starts = [section.bar for section in piece.sections]
    assert starts == sorted(set(starts))
    assert (starts[0], starts[-1]) == (1, piece.bars + 1)
    assert np.abs(samples[[0, -1]]).max() < 1e-4
    assert np.all(np.isfinite(samples))


def test_length_by_bars() -> None:
    assert music_of_bars(5).bars == 5


def test_too_short_a_length_is_refused() -> None:
    with pytest.raises(InputError, match=r"at least 4\.3 s for the demo music, got 2"):
        demo_music(2.0)


def test_playing_twice_gives_the_same_samples() -> None:
    assert np.array_equal(demo_music(6.0).sound.samples, demo_music(6.0).sound.samples)


@pytest.mark.parametrize(
    ("voice", "note"),
    [(bell, 81), (pluck, 69), (lambda n: low_string(n, 1.0), 45), (lambda n: strings(n, 2.0, 0.0), 62)],
)
def test_voices_are_in_tune(voice: Callable[[int], np.ndarray], note: int) -> None:
    # ISO 16: A4 is 440 Hz; equal temperament from there.
    wave = voice(note)
    spectrum = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), 16 * len(wave)))
    frequency = np.fft.rfftfreq(16 * len(wave), 1 / RATE_HZ)
    near = (frequency > 0.9 * pitch_hz(note)) & (frequency < 1.1 * pitch_hz(note))
    found = frequency[near][np.argmax(spectrum[near])]
    assert 1200 * abs(np.log2(found / (440.0 * 2 ** ((note - 69) / 12)))) < 5  # cents


@pytest.mark.parametrize(
    "wave", [bell(81), pluck(62), low_string(38, 1.5), strings(62, 2.5, 4.0), drum(), brush(), shaker()]
)
def test_voices_start_and_end_in_silence(wave: np.ndarray) -> None:
    peak = np.abs(wave).max()
    assert abs(wave[0]) < 1e-3 * peak
    assert abs(wave[-1]) < 1e-3 * peak


def test_nothing_clicks_before_the_brushes_come_in(piece: DemoMusic) -> None:
    # A click is a jump: energy at all frequencies at once, also where strings and bells have none.
    quiet = piece.sound.samples[: int(4 * BAR_S * RATE_HZ)].mean(axis=1)
    high = sosfiltfilt(butter(6, 16_000, "high", fs=RATE_HZ, output="sos"), quiet)
    assert np.abs(high).max() < 2e-3


def test_the_room_fades_by_60_db_in_its_time() -> None:
    impulse = np.zeros((2, 3 * RATE_HZ), np.float32)
    impulse[:, 0] = 1.0
    wet = room(impulse, decay_s=1.5).astype(float)
    # ISO 3382: backward integration of the squared response, slope taken from -5 to -35 dB.
    left = np.cumsum(wet[0, ::-1] ** 2)[::-1]
    level_db = 10 * np.log10(left / left[0])
    t = np.arange(len(left)) / RATE_HZ
    straight = (level_db < -5) & (level_db > -35)
    slope_db_s, _ = np.polyfit(t[straight], level_db[straight], 1)
    assert -60 / slope_db_s == pytest.approx(1.5, rel=0.05)
    assert abs(np.corrcoef(wet)[0, 1]) < 0.1  # left and right differ: it sounds wide
