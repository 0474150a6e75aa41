"""The proof: how the house will look from the street at night.

Through the virtual house, or for a real one through its photo and its scan: the photo was taken under the
projector's white light, so each of its pixels times the projected colour is what will be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.light.colour import LUMA_BT709, decode_srgb, encode_srgb
from limewash.media.sound import Sound
from limewash.media.writing import VideoWriter
from limewash.progress import Progress, silent
from limewash.scan.correspondence import Correspondence
from limewash.show.compositor import Compositor, Frame
from limewash.world.view import View

Picture = NDArray[np.float32]


class Street(Protocol):
    """A view of the house from the street; light 1 is what the projector's full white gives on the house."""

    size: tuple[int, int]

    def light(self, frame: Frame) -> Picture:
        """The house under a projected frame, linear, float32 (h, w, 3)."""
        ...


class WorldStreet:
    """The virtual house as its camera sees it."""

    def __init__(self, view: View) -> None:
        self.size = view.camera.size
        self._view = view
        width, height = view.projector.size
        white = view.picture(np.ones((height, width, 3), dtype=np.float32))
        self._white = float(np.percentile(white @ np.array(LUMA_BT709, dtype=np.float32), 97.0))

    def light(self, frame: Frame) -> Picture:
        """The house under a frame; a smaller one, from a preview, is enlarged."""
        if frame.shape[1::-1] != self._view.projector.size:
            size = self._view.projector.size
            frame = np.asarray(cv2.resize(frame, size, interpolation=cv2.INTER_LINEAR), dtype=np.float32)
        return self._view.picture(frame) * np.float32(1.0 / self._white)


class PhotoStreet:
    """A real house, from its white-light photo and its scan.

    Parameters
    ----------
    photo : ndarray of uint8 and shape (h, w, 3)
        Taken by the scan under full white.
    correspondence : Correspondence
        Of the same scan.
    size : (int, int), optional
        Of the proof; the photo's own if left out. [px]
    night : float
        What is left of the photo's light where the projector does not reach. [-]
    """

    def __init__(
        self,
        photo: NDArray[np.uint8],
        correspondence: Correspondence,
        *,
        size: tuple[int, int] | None = None,
        night: float = 0.035,
    ) -> None:
        if photo.shape[1::-1] != correspondence.camera_size:
            raise InputError(
                f"the photo is {photo.shape[1]} x {photo.shape[0]} pixels, but the scan's camera had "
                f"{correspondence.camera_size[0]} x {correspondence.camera_size[1]}; take the scan's own photo"
            )
        self.size = correspondence.camera_size if size is None else size
        self._projector_size = correspondence.projector_size
        small = cv2.resize(photo, self.size, interpolation=cv2.INTER_AREA)
        self._x, self._y, lit = projector_pixels(correspondence, self.size)
        linear = decode_srgb(small / 255.0).astype(np.float32)
        luma = linear @ np.array(LUMA_BT709, dtype=np.float32)
        bright = float(np.percentile(luma[lit > 0.5], 97.0)) if (lit > 0.5).any() else 1.0
        self._reflected = linear * np.float32(1.0 / max(bright, 1e-3)) * lit[..., None]
        moonlight = np.array([0.62, 0.78, 1.25], dtype=np.float32) * np.float32(night)
        self._ambient = linear * np.float32(1.0 / max(bright, 1e-3)) * moonlight

    def light(self, frame: Frame) -> Picture:
        """The photo under a frame, which may be a smaller one from a preview."""
        scale = frame.shape[1] / self._projector_size[0]
        x = (self._x + np.float32(0.5)) * np.float32(scale) - np.float32(0.5)
        y = (self._y + np.float32(0.5)) * np.float32(scale) - np.float32(0.5)
        seen = cv2.remap(frame, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        lit: Picture = self._ambient + self._reflected * seen
        return lit


@dataclass(frozen=True)
class Look:
    """How the street's light becomes a picture.

    Attributes
    ----------
    exposure : float
        1 shows the projector's full white as almost full; larger is brighter. [-]
    glare : float
        Share of the light that the eye scatters around bright places. [-]
    """

    exposure: float = 1.7
    glare: float = 0.10


def develop(light: Picture, look: Look = Look()) -> NDArray[np.uint8]:
    """Linear light to an sRGB picture for people, uint8 (h, w, 3): glare, exposure, a soft shoulder."""
    glowing = _with_glare(np.maximum(light, np.float32(0.0)), look.glare)
    shown = np.float32(1.0) - np.exp(np.float32(-look.exposure) * glowing)
    codes = np.rint(shown * np.float32(len(_SRGB) - 1)).astype(np.uint16)
    picture: NDArray[np.uint8] = _SRGB[codes]
    return picture


def proof_picture(compositor: Compositor, street: Street, t_s: float, look: Look = Look()) -> NDArray[np.uint8]:
    """A still of the show at a time, uint8 sRGB (h, w, 3)."""
    return develop(street.light(compositor.draw(t_s)), look)


def write_proof(
    path: Path,
    compositor: Compositor,
    street: Street,
    *,
    rate: Fraction = Fraction(25),
    sound: Sound | None = None,
    look: Look = Look(),
    progress: Progress = silent,
) -> None:
    """Film the whole show from the street; drawn no larger than the street's picture can show.

    Raises
    ------
    InputError
        If the film cannot be written.
    """
    factor = compositor.fields.size[0] // street.size[0]
    artist = compositor.reduced(factor) if factor > 1 else compositor
    frames = max(1, round(compositor.score.show.length_s * rate))
    buffer: Frame | None = None
    with VideoWriter(path, street.size, rate, crf=20, audio=sound) as writer:
        for k in range(frames):
            buffer = artist.draw(float(k / rate), out=buffer)
            artist.forget_before(float(k / rate))
            writer.write_rgb(develop(street.light(buffer), look))
            progress((k + 1) / frames, "Filming the proof")


def projector_pixels(correspondence: Correspondence, size: tuple[int, int]) -> tuple[Picture, Picture, Picture]:
    """For each pixel of a camera picture of `size`: the projector pixel that lights it.

    Returns
    -------
    x, y : ndarray of float32 and shape (h, w)
        Projector pixel; -10 where none lights it. [px]
    lit : ndarray of float32 and shape (h, w)
        Share of the camera pixel that the projector reaches, 0 to 1.
    """
    width, height = size
    rows, columns = np.nonzero(correspondence.seen)
    scale_x, scale_y = width / correspondence.camera_size[0], height / correspondence.camera_size[1]
    cx = (correspondence.camera_x[rows, columns].astype(np.float64) + 0.5) * scale_x - 0.5
    cy = (correspondence.camera_y[rows, columns].astype(np.float64) + 0.5) * scale_y - 0.5
    # Each projector pixel is spread over its four neighbours, so that none is missed where it is coarser.
    weight, sum_x, sum_y = (np.zeros(width * height) for _ in range(3))
    x0, y0 = np.floor(cx).astype(np.int64), np.floor(cy).astype(np.int64)
    for dx in (0, 1):
        for dy in (0, 1):
            x, y = x0 + dx, y0 + dy
            share = (1.0 - np.abs(cx - x)) * (1.0 - np.abs(cy - y))
            inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
            place = (y * width + x)[inside]
            weight += np.bincount(place, share[inside], width * height)
            sum_x += np.bincount(place, (share * columns)[inside], width * height)
            sum_y += np.bincount(place, (share * rows)[inside], width * height)
    known = weight > 1e-3
    x, y = (np.where(known, s / np.maximum(weight, 1e-9), 0.0).reshape(height, width) for s in (sum_x, sum_y))
    return _closed(x.astype(np.float32), y.astype(np.float32), known.reshape(height, width))


def _closed(x: Picture, y: Picture, known: NDArray[np.bool_]) -> tuple[Picture, Picture, Picture]:
    """Fill gaps of a pixel or two between known ones, and soften the border of what is lit."""
    weight = known.astype(np.float32)
    near = cv2.GaussianBlur(weight, (5, 5), 1.0)
    fill = (near > 0.3) & ~known
    for grid in (x, y):
        mean = cv2.GaussianBlur(grid * weight, (5, 5), 1.0) / np.maximum(near, 1e-6)
        grid[fill] = mean[fill]
    lit = (known | fill).astype(np.float32)
    x[lit == 0.0] = -10.0
    y[lit == 0.0] = -10.0
    return x, y, cv2.GaussianBlur(lit, (3, 3), 0.7) * lit


def _with_glare(light: Picture, share: float) -> Picture:
    """Add the light that an eye or a lens scatters: a tight halo and a wide one."""
    if share <= 0.0:
        return light
    height, width = light.shape[:2]
    small = cv2.resize(light, (max(2, width // 4), max(2, height // 4)), interpolation=cv2.INTER_AREA)
    tight = cv2.GaussianBlur(small, (0, 0), width / 4 * 0.006)
    wide = cv2.GaussianBlur(small, (0, 0), width / 4 * 0.03)
    halo = cv2.resize(0.6 * tight + 0.4 * wide, (width, height), interpolation=cv2.INTER_LINEAR)
    mixed: Picture = light * np.float32(1.0 - share) + halo.astype(np.float32) * np.float32(share)
    return mixed


_SRGB = np.rint(encode_srgb(np.linspace(0.0, 1.0, 4096)) * 255.0).astype(np.uint8)
