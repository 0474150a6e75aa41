"""Voices of the demo music: each a few sums of sines or a burst of shaped noise, mono, at 48 kHz.

Voices give float32 samples that start and end in silence, so that nothing clicks.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 48_000

Samples = NDArray[np.float64]
Voice = NDArray[np.float32]


def pitch_hz(note: float) -> float:
    """Frequency of a note by its MIDI number, A4 = 69 = 440 Hz [Hz]."""
    return float(440.0 * 2.0 ** ((note - 69.0) / 12.0))


@cache
def bell(note: int) -> Voice:
    """A small bell: partials slightly out of tune with each other, the high ones short."""
    t = _times(2.8)
    base = pitch_hz(note)
    partials = ((1.0, 1.0, 1.1), (2.003, 0.32, 0.6), (3.012, 0.22, 0.35), (4.166, 0.12, 0.2), (5.43, 0.07, 0.12))
    wave = sum(
        (level * _sine(base * ratio, t) * np.exp(-t / decay_s) for ratio, level, decay_s in partials), np.zeros_like(t)
    )
    return _eased(wave, 0.002, 0.3)


@cache
def pluck(note: int) -> Voice:
    """A plucked string, taken at a sixth of its length; high partials fade first."""
    t = _times(1.6)
    base = pitch_hz(note)
    wave = np.zeros_like(t)
    for k in range(1, 13):
        if k * base < 12_000.0:
            strength = np.sin(np.pi * k / 6.0) / k**1.15
            stretched = k * base * np.sqrt(1.0 + 1.2e-4 * k * k)  # stiffness of the string
            wave += strength * _sine(stretched, t) * np.exp(-t * (1.6 + 0.9 * k))
    return _eased(wave, 0.0015, 0.2)


@cache
def low_string(note: int, length_s: float) -> Voice:
    """A soft bass that lasts as long as it is told, and a moment more."""
    t = _times(length_s + 0.15)
    base = pitch_hz(note)
    wave = _sine(base, t) + 0.45 * _sine(2 * base, t) * np.exp(-t / 0.5) + 0.2 * _sine(3 * base, t) * np.exp(-t / 0.2)
    return _eased(wave * np.exp(-t / 1.6), 0.012, 0.18)


@cache
def strings(note: int, length_s: float, detune_cents: float) -> Voice:
    """A slow, soft ensemble note; two of them, detuned apart, make it wide."""
    t = _times(length_s + 0.9)
    base = pitch_hz(note + detune_cents / 100.0)
    phase = 2 * np.pi * base * t + 0.042 * np.sin(2 * np.pi * 4.7 * t)
    # sin((k + 1) x) = 2 cos(x) sin(k x) - sin((k - 1) x): a fraction of the time of one sine per partial.
    below, this, twice_cos = np.zeros_like(t), np.sin(phase), 2.0 * np.cos(phase)
    wave = np.zeros_like(t)
    for level in (1.0, 0.45, 0.28, 0.14, 0.08):
        wave += level * this
        below, this = this, twice_cos * this - below
    return _eased(wave, min(0.55, length_s / 2), 0.9)


@cache
def drum() -> Voice:
    """A soft low drum: its pitch falls as it sounds."""
    t = _times(0.4)
    phase = 2 * np.pi * (46.0 * t + 62.0 * 0.045 * (1.0 - np.exp(-t / 0.045)))
    return _eased(np.sin(phase) * np.exp(-t / 0.13), 0.003, 0.1)


@cache
def brush() -> Voice:
    """A brush on a snare drum."""
    t = _times(0.28)
    noise = _band_noise(len(t), 900.0, 6_500.0, seed=2)
    return _eased(noise * np.exp(-t / 0.06) * (1.0 - np.exp(-t / 0.004)), 0.004, 0.08)


@cache
def shaker() -> Voice:
    """One move of a shaker."""
    t = _times(0.12)
    noise = _band_noise(len(t), 5_000.0, 13_000.0, seed=3)
    return _eased(noise * np.sin(np.pi * t / t[-1]) ** 2 * np.exp(-t / 0.05), 0.006, 0.03)


def room(dry: NDArray[np.float32], *, decay_s: float = 1.5) -> NDArray[np.float32]:
    """Reverberation of a friendly hall: shape (2, n) in, the same out, without the dry sound."""
    length = int(1.8 * decay_s * RATE_HZ)
    t = np.arange(length) / RATE_HZ
    wet = np.empty_like(dry)
    count = dry.shape[1]
    size = 1 << math.ceil(math.log2(count + length))
    band = _band(np.fft.rfftfreq(size, 1 / RATE_HZ), 180.0, 4_500.0)
    for side in range(2):
        echoes = np.random.default_rng([7, side]).standard_normal(length) * np.exp(-6.9 * t / decay_s)
        echoes[: int(0.012 * RATE_HZ)] = 0.0
        echoes *= (1.0 - np.exp(-t / 0.02)) / np.sqrt(np.sum(echoes**2))
        spectrum = np.fft.rfft(echoes.astype(np.float32), size)
        spectrum *= np.fft.rfft(dry[side], size)
        spectrum *= band
        wet[side] = np.fft.irfft(spectrum, size)[:count]
    return wet


def _times(length_s: float) -> Samples:
    return np.arange(round(length_s * RATE_HZ)) / RATE_HZ


def _sine(frequency_hz: float, t: Samples) -> Samples:
    wave: Samples = np.sin(2 * np.pi * frequency_hz * t)
    return wave


def _eased(wave: Samples, rise_s: float, fall_s: float) -> Voice:
    """Let a wave rise from and fall to silence along half cosines."""
    rise, fall = int(rise_s * RATE_HZ), int(fall_s * RATE_HZ)
    eased = wave.astype(np.float32)
    eased[:rise] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    eased[-fall:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, fall + 1) / fall)
    return eased


def _band_noise(count: int, low_hz: float, high_hz: float, *, seed: int) -> Samples:
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(count))
    noise: Samples = np.fft.irfft(spectrum * _band(np.fft.rfftfreq(count, 1 / RATE_HZ), low_hz, high_hz), count)
    noise /= np.max(np.abs(noise))
    return noise


def _band(frequency_hz: NDArray[np.floating], low_hz: float, high_hz: float) -> NDArray[np.float32]:
    """Gain that lets a band pass, with gentle flanks."""
    low = (low_hz / np.maximum(frequency_hz, 1.0)) ** 4
    high = (frequency_hz / high_hz) ** 4
    return np.asarray(1.0 / np.sqrt((1.0 + low) * (1.0 + high)), dtype=np.float32)
