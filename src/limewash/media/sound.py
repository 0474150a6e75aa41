"""Sound in memory and on disk."""

from __future__ import annotations

import io
import wave
from dataclasses import dataclass
from pathlib import Path

import av
import av.error
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.files import write_bytes
from limewash.media.opening import opened


@dataclass(frozen=True)
class Sound:
    """Samples from -1 to 1.

    Attributes
    ----------
    samples : ndarray of float32, shape (n, channels)
        1 or 2 channels, left first.
    rate_hz : int
        Samples per second.
    """

    samples: NDArray[np.float32]
    rate_hz: int

    def __post_init__(self) -> None:
        if self.samples.ndim != 2 or self.samples.shape[1] not in (1, 2):
            raise InputError(f"samples must have shape (n, 1) or (n, 2), got {self.samples.shape}")
        if self.rate_hz <= 0:
            raise InputError(f"rate_hz must be > 0, got {self.rate_hz}")

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.samples) / self.rate_hz

    def stereo(self, rate_hz: int) -> Sound:
        """The same sound with two channels at another rate."""
        samples = np.repeat(self.samples, 2, axis=1) if self.samples.shape[1] == 1 else self.samples
        if rate_hz == self.rate_hz:
            return Sound(samples, rate_hz)
        from scipy.signal import resample_poly

        changed = resample_poly(samples, rate_hz, self.rate_hz, axis=0)
        return Sound(np.asarray(changed, dtype=np.float32), rate_hz)


def read_sound(path: Path) -> Sound:
    """Read a sound file, or the sound of a film, at its own rate, in one or two channels.

    Raises
    ------
    InputError
        If the file is missing, empty, or holds no sound.
    """
    with opened(path) as container:
        if not container.streams.audio:
            raise InputError(f"{path} holds no sound; choose a music file (WAV, FLAC, MP3, M4A, OGG)")
        stream = container.streams.audio[0]
        layout = "mono" if stream.codec_context.channels == 1 else "stereo"
        resampler = av.AudioResampler(format="fltp", layout=layout, rate=stream.codec_context.sample_rate)
        pieces: list[NDArray[np.float32]] = []
        try:
            for frame in container.decode(stream):
                pieces += _arrays(resampler.resample(frame))
            pieces += _arrays(resampler.resample(None))
        except (av.error.InvalidDataError, av.error.EOFError) as error:
            read_s = sum(piece.shape[1] for piece in pieces) / stream.codec_context.sample_rate
            raise InputError(f"{path} is damaged after {read_s:.1f} s; copy it again") from error
    if not pieces:
        raise InputError(f"{path} holds no readable sound; copy it again")
    samples = np.ascontiguousarray(np.concatenate(pieces, axis=1).T, dtype=np.float32)
    return Sound(samples, stream.codec_context.sample_rate)


def _arrays(frames: list[av.AudioFrame]) -> list[NDArray[np.float32]]:
    return [np.asarray(frame.to_ndarray(), dtype=np.float32) for frame in frames]


def write_wav(path: Path, sound: Sound) -> None:
    """Write 16-bit PCM WAV, atomically; samples beyond -1 to 1 are clipped.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    codes = np.clip(np.rint(sound.samples * 32767.0), -32768, 32767).astype("<i2")
    data = io.BytesIO()
    with wave.open(data, "wb") as out:
        out.setnchannels(sound.samples.shape[1])
        out.setsampwidth(2)
        out.setframerate(sound.rate_hz)
        out.writeframes(codes.tobytes())
    write_bytes(path, data.getvalue())
