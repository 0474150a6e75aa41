"""A phone that films: exposure, sensor and the phone's own developing, from luminance to video codes.

The model follows a picture through the phone in the order of nature: the lens blurs; the shutter, row by row,
adds up what was shown while it was open; photons become electrons with shot noise; reading adds noise; gain,
clipping, tone curve, 8 bits. Where a phone on a tripod, in video mode at dusk, differs from shop to shop,
the defaults take the inconvenient side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.light.colour import LUMA_BT709, encode_srgb
from limewash.media.yuv import plane_rows
from limewash.world.sensor import NOISE_LENGTH, TONE_STEPS, develop

Picture = NDArray[np.float32]

_PHOTONS_PER_LX_S_UM2 = 4090.0
"""Photons of 555 nm in 1 lx s on 1 square micrometre: 1e-12 m2 / (683 lm/W x 3.579e-19 J)."""


@dataclass(frozen=True)
class Phone:
    """What a phone does to a picture. All randomness comes from `seed`.

    Attributes
    ----------
    rate : Fraction
        Nominal frame rate, which is also that of the file [1/s].
    clock_error : float
        How much slower the phone's clock runs than the projector's player [-].
    jitter_s : float
        Standard deviation of the moment at which a frame's exposure starts [s].
    exposure_s, readout_s : float
        Time that a row is exposed, at the most, and time from the first row's start to the last row's [s].
    f_number, transmission, quantum_efficiency : float
        Of lens and sensor [-].
    sensor_width_mm : float
        Width of the part of the sensor that is read; a pixel of the film is that divided by the film's width.
    full_well_per_um2, read_noise_e : float
        Electrons that a pixel can hold per area [1/um2]; noise of reading one pixel [electrons].
    white_balance : (float, float, float)
        Gain of red, green and blue that makes white white: weak colours are the noisy ones [-].
    expose_to : float
        Where the 98th percentile under a full white picture comes to lie, 1 is clipping [-].
    max_gain : float
        Beyond it the film stays dark [-].
    follow, follow_s : float
        The exposure is locked, but imperfectly: share of a change of mean brightness that it takes back [-],
        and how fast [s].
    drift, drift_period_s : float
        Slow wandering of exposure, as an amplitude [-] and a period [s].
    contrast : float
        Share of an S-curve in the tone curve, 0 to 1 [-].
    blur_px, vibration_px : float
        Standard deviations of the lens's blur and of the tripod's trembling [px].
    shake_px : float
        How far the picture is off while a hand starts and stops the film [px].
    lead_s, tail_s : float
        How much is filmed before and after the show [s].
    crf, bit_rate : int
        Quality and limit of the phone's H.264 encoder; the limit is for 1920 x 1080 at 30 frames/s [bit/s].
    seed : int
        Another seed is another evening.
    """

    rate: Fraction = Fraction(30000, 1001)
    clock_error: float = 35e-6
    jitter_s: float = 2e-4
    exposure_s: float = 1 / 50
    readout_s: float = 0.014
    f_number: float = 1.8
    transmission: float = 0.9
    quantum_efficiency: float = 0.5
    sensor_width_mm: float = 5.6
    full_well_per_um2: float = 700.0
    read_noise_e: float = 3.0
    white_balance: tuple[float, float, float] = (1.9, 1.0, 1.6)
    expose_to: float = 0.8
    max_gain: float = 32.0
    follow: float = 0.12
    follow_s: float = 0.6
    drift: float = 0.03
    drift_period_s: float = 9.0
    contrast: float = 0.35
    blur_px: float = 0.7
    vibration_px: float = 0.04
    shake_px: float = 9.0
    lead_s: float = 1.2
    tail_s: float = 1.0
    crf: int = 20
    bit_rate: int = 18_000_000
    seed: int = 1


class _Shown(NamedTuple):
    start_s: float
    slot: int


class PhoneCamera:
    """A phone set up in front of one scene.

    Tell it what is to be seen from when on with `show`, then let it `shoot` frame after frame. Times count
    from the first row of frame 0 opening, give or take the phone's jitter.

    Parameters
    ----------
    phone : Phone
        The phone.
    white : ndarray of float32, shape (height, width, 3)
        The scene under a full white picture, by which the exposure is set [cd/m2; R, G, B such that their
        BT.709 weighted sum is luminance].
    end_s : float
        When the hand comes back to stop the film [s].
    """

    def __init__(self, phone: Phone, white: Picture, *, end_s: float = math.inf) -> None:
        self.phone = phone
        height, width = white.shape[:2]
        self.size = (width, height)
        self._end_s = end_s
        self._store = np.zeros((4, 3, height, width), np.float32)
        self._means = np.zeros(4)
        self._timeline: list[_Shown] = []
        self._expose(white)
        self._usual_mean = 0.5 * float(np.mean(luminance(white)))
        self._follow_log = 0.0
        self._random = np.random.default_rng([phone.seed, 1])
        self._noise = _noise_table(width)
        self._tone = tone_table(phone.contrast)

    def show(self, picture: Picture, start_s: float) -> None:
        """From `start_s` on, until the next call, the scene looks like `picture` (as `white` above)."""
        slot = self._free_slot()
        for channel in range(3):
            self._store[slot, channel] = _blurred(picture[..., channel], self.phone.blur_px)
        self._means[slot] = np.mean(luminance(picture))
        self._timeline.append(_Shown(start_s, slot))

    def shoot(self, index: int, frame: av.VideoFrame) -> None:
        """Expose and develop frame `index` into the planes of a yuv420p frame of the camera's size.

        What is shown up to the end of the last row's exposure must have been told; frames are shot in order.
        """
        start_s = self.start_s(index) + self._random.normal(0.0, 1.0) * self.phone.jitter_s
        self._forget_before(start_s)
        starts = np.array([shown.start_s for shown in self._timeline])
        shares = exposure_shares(starts, start_s, self.exposure_s, self.phone.readout_s, rows=self.size[1])
        weights = np.zeros((self.size[1], len(self._store)), np.float32)
        for column, shown in enumerate(self._timeline):
            weights[:, shown.slot] += shares[:, column]
        scale = self._scale(start_s, float(weights.mean(axis=0) @ self._means))
        per_electron = self.gain / self.full_well_e
        channels = np.array(self.phone.white_balance)
        develop(
            self._store,
            weights,
            np.array(self._shift_px(start_s)),
            np.array([[scale, b * per_electron, (b * per_electron * self.phone.read_noise_e) ** 2] for b in channels]),
            self._noise,
            self._tone,
            self.phone.seed * 1_000_003 + index,
            plane_rows(frame, 0),
            plane_rows(frame, 1),
            plane_rows(frame, 2),
        )

    def start_s(self, index: int) -> float:
        """When frame `index` is due to begin [s]."""
        return index / float(self.phone.rate) * (1.0 + self.phone.clock_error)

    def _expose(self, white: Picture) -> None:
        """Choose gain and exposure time: long exposure first, then gain."""
        phone = self.phone
        area_um2 = (phone.sensor_width_mm * 1000.0 / self.size[0]) ** 2
        self.full_well_e: float = phone.full_well_per_um2 * area_um2
        # Illuminance behind a lens focused far away is pi L T / (4 N^2).
        lx_per_cd_m2 = math.pi * phone.transmission / (4.0 * phone.f_number**2)
        electrons = lx_per_cd_m2 * _PHOTONS_PER_LX_S_UM2 * area_um2 * phone.quantum_efficiency
        bright = max(float(np.percentile(luminance(white[::4, ::4]), 98.0)), 1e-6)
        wanted = phone.expose_to * self.full_well_e / (electrons * phone.exposure_s * bright)
        self.exposure_s: float = phone.exposure_s * min(1.0, wanted)
        self.gain: float = min(max(1.0, wanted), phone.max_gain)
        self.electrons_per_cd_m2: float = electrons * self.exposure_s

    def _scale(self, t_s: float, mean: float) -> float:
        """Signal per cd/m2 at this moment, 1 being where the sensor clips."""
        phone = self.phone
        pull = -phone.follow * math.log(max(mean, 1e-6) / max(self._usual_mean, 1e-6))
        self._follow_log += (pull - self._follow_log) * min(1.0, 1.0 / (float(phone.rate) * phone.follow_s))
        wander = phone.drift * math.sin(2.0 * math.pi * (t_s / phone.drift_period_s + 0.618 * phone.seed))
        locked = self.electrons_per_cd_m2 * self.gain / self.full_well_e
        return locked * math.exp(self._follow_log + wander)

    def _shift_px(self, t_s: float) -> tuple[float, float]:
        """How far the picture is moved: trembling, and the hand at the start and at the end."""
        hand = self.phone.shake_px * (math.exp(-t_s / 0.2) + math.exp(-max(self._end_s - t_s, 0.0) / 0.2))
        sway = (math.sin(t_s * 31.0 + 1.0), 0.7 * math.sin(t_s * 23.0))
        tremble = self._random.normal(0.0, 1.0, 2) * self.phone.vibration_px
        if hand < 1e-3:
            hand = 0.0
        return hand * sway[0] + float(tremble[0]), hand * sway[1] + float(tremble[1])

    def _free_slot(self) -> int:
        used = {shown.slot for shown in self._timeline}
        for slot in range(len(self._store)):
            if slot not in used:
                return slot
        self._store = np.concatenate([self._store, np.zeros_like(self._store[:2])])
        self._means = np.concatenate([self._means, np.zeros(2)])
        return len(used)

    def _forget_before(self, start_s: float) -> None:
        while len(self._timeline) > 1 and self._timeline[1].start_s <= start_s:
            self._timeline.pop(0)


def exposure_shares(
    starts_s: NDArray[np.float64], open_s: float, exposure_s: float, readout_s: float, *, rows: int
) -> NDArray[np.float64]:
    """What share of each row's exposure each picture fills.

    Parameters
    ----------
    starts_s : ndarray of shape (n,)
        When each picture begins, in order; each lasts until the next, the last for ever, and the first
        since ever [s].
    open_s, exposure_s : float
        When the first row opens, and how long each is open [s].
    readout_s : float
        How much later the last row opens [s].
    rows : int
        Number of rows.

    Returns
    -------
    shares : ndarray of shape (rows, n)
        Each row sums to 1.
    """
    opens = open_s + readout_s * np.arange(rows)[:, None] / max(rows - 1, 1)
    edges = np.concatenate([[-np.inf], starts_s[1:], [np.inf]])
    reached = np.clip((edges[None, :] - opens) / exposure_s, 0.0, 1.0)
    return np.diff(reached, axis=1)


def _blurred(plane: Picture, sigma_px: float) -> Picture:
    if sigma_px <= 0.0:
        return plane
    source = np.ascontiguousarray(plane)
    return np.asarray(cv2.GaussianBlur(source, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE), np.float32)


def luminance(picture: Picture) -> NDArray[np.float32]:
    """BT.709 weighted sum of R, G, B, shape (height, width)."""
    return picture @ np.array(LUMA_BT709, np.float32)


def tone_table(contrast: float) -> NDArray[np.float32]:
    """The phone's tone curve, from 0 to 1 in `TONE_STEPS` equal steps of linear signal: sRGB bent to an S."""
    signal = encode_srgb(np.linspace(0.0, 1.0, TONE_STEPS + 1))
    bent = signal * signal * (3.0 - 2.0 * signal)
    return ((1.0 - contrast) * signal + contrast * bent).astype(np.float32)


def _noise_table(width: int) -> NDArray[np.float32]:
    """Standard normal numbers; a row of the picture takes a run of them from a place drawn for it."""
    return np.random.default_rng(20).standard_normal(NOISE_LENGTH + width).astype(np.float32)
