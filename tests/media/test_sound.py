"""Sound survives the way to disk and back."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.media.sound import Sound, read_sound, write_wav


@settings(max_examples=20, deadline=None)
@given(
    channels=st.sampled_from([1, 2]),
    rate_hz=st.sampled_from([22_050, 44_100, 48_000]),
    seed=st.integers(0, 99),
)
def test_wav_keeps_samples_to_half_a_step(
    tmp_path_factory: pytest.TempPathFactory, channels: int, rate_hz: int, seed: int
) -> None:
    samples = np.random.default_rng(seed).uniform(-1, 1, (1000, channels)).astype(np.float32)
    path = tmp_path_factory.mktemp("wav") / "s.wav"
    write_wav(path, Sound(samples, rate_hz))
    back = read_sound(path)
    assert back.rate_hz == rate_hz
    assert back.samples.shape == samples.shape
    assert np.abs(back.samples - samples).max() <= 1.6 / 32768  # half a step, and 32767 against 32768


def test_wav_is_plain_for_another_reader(tmp_path: Path) -> None:
    write_wav(tmp_path / "s.wav", Sound(np.full((480, 2), 0.5, np.float32), 48_000))
    with wave.open(str(tmp_path / "s.wav")) as back:
        assert back.getparams()[:4] == (2, 2, 48_000, 480)


def test_another_rate_keeps_pitch_and_length() -> None:
    t = np.arange(44_100) / 44_100
    sound = Sound(np.sin(2 * np.pi * 1000 * t)[:, None].astype(np.float32), 44_100).stereo(48_000)
    assert sound.samples.shape == (48_000, 2)
    wanted = np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000)
    assert np.abs(sound.samples[500:-500, 1] - wanted[500:-500]).max() < 5e-3


def test_what_is_no_sound_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_sound(tmp_path / "none.wav")
    (tmp_path / "letter.wav").write_text("Dear neighbours")
    with pytest.raises(InputError, match="cannot be read"):
        read_sound(tmp_path / "letter.wav")
    with pytest.raises(InputError, match=r"shape \(n, 1\) or \(n, 2\)"):
        Sound(np.zeros(10, np.float32), 48_000)
