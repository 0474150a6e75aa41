"""A small street of our tests' own: a wall, a step in front of it, a pane, and a phone that films it.

Independent of `limewash.world` on purpose: it maps planes by homographies instead of casting rays, so that a
mistake of one simulator does not hide in the other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.geometry.homography import apply_homography
from limewash.media.writing import VideoWriter
from limewash.scan.correspondence import Correspondence
from limewash.scan.pattern import PatternPlan

SIZE = (480, 270)
FINE = 3  # samples per camera pixel along each side


@dataclass
class Street:
    """A wall (homography from camera to projector pixels), a box that stands out, a pane without diffuse light.

    The box and the pane are rectangles in camera pixels (left, top, right, bottom); `box_shift` says by how
    many projector pixels the box's depth moves what lands on it.
    """

    camera_size: tuple[int, int] = (640, 360)
    projector_size: tuple[int, int] = (640, 360)
    box: tuple[float, float, float, float] | None = (390.0, 150.0, 500.0, 330.0)
    box_shift: tuple[float, float] = (14.0, -2.0)
    pane: tuple[float, float, float, float] | None = (150.0, 90.0, 230.0, 170.0)
    zoom: float = 1.06
    defocus_px: tuple[float, float] = (0.0, 0.0)  # of the projector at the left and at the right edge
    wall: NDArray[np.float64] = field(init=False)
    front: NDArray[np.float64] = field(init=False)

    def __post_init__(self) -> None:
        (cw, ch), (pw, ph) = self.camera_size, self.projector_size
        inner = np.array([[0.08, 0.1], [0.93, 0.06], [0.9, 0.95], [0.1, 0.9]])
        camera = ((inner - 0.5) * self.zoom + 0.5) * (cw, ch)
        projector = np.array([[0, 0], [pw, 0], [pw, ph], [0, ph]]) - 0.5
        self.wall = cv2.getPerspectiveTransform(camera.astype(np.float32), projector.astype(np.float32))
        shift = np.array([[1, 0.01, self.box_shift[0]], [0, 1, self.box_shift[1]], [0, 0, 1]])
        self.front = shift @ self.wall

    def truth(self) -> Correspondence:
        """Exact correspondence of the diffuse surfaces that the camera sees."""
        pw, ph = self.projector_size
        grid = np.stack(np.meshgrid(np.arange(pw), np.arange(ph)), axis=-1).astype(float)
        on_wall = apply_homography(np.linalg.inv(self.wall), grid)
        camera = on_wall.copy()
        hidden = np.zeros((ph, pw), bool)
        if self.box is not None:
            on_box = apply_homography(np.linalg.inv(self.front), grid)
            hits_box = _inside(on_box, self.box)
            hidden = _inside(on_wall, self.box) & ~hits_box
            camera[hits_box] = on_box[hits_box]
        if self.pane is not None:
            hidden |= _inside(camera, self.pane)
        cw, ch = self.camera_size
        hidden |= ~_inside(camera, (-0.5, -0.5, cw - 0.5, ch - 0.5))
        camera[hidden] = np.nan
        found = camera.astype(np.float32)
        return Correspondence(
            camera_x=np.ascontiguousarray(found[..., 0]),
            camera_y=np.ascontiguousarray(found[..., 1]),
            confidence=(~hidden).astype(np.float32),
            camera_size=self.camera_size,
            projector_size=self.projector_size,
        )

    def errors_px(self, found: Correspondence) -> NDArray[np.float64]:
        """Error of each projector pixel that is found and can be seen, in projector pixels, shape (N,)."""
        truth = self.truth()
        both = found.seen & truth.seen
        camera = np.stack([found.camera_x, found.camera_y], axis=-1)[both].astype(float)
        exact = np.stack([truth.camera_x, truth.camera_y], axis=-1)[both].astype(float)
        v, u = np.nonzero(both)
        wall, front = (
            np.hypot(*(apply_homography(m, exact) - np.column_stack([u, v])).T) for m in (self.wall, self.front)
        )
        on_wall, on_front = (
            np.hypot(*(apply_homography(m, camera) - np.column_stack([u, v])).T) for m in (self.wall, self.front)
        )
        return np.where(wall < front, on_wall, on_front)

    def scene(self, seed: int = 0) -> Scene:
        """What light needs to travel: where each sample's light comes from and how much of it returns."""
        cw, ch = self.camera_size
        fine_x = (np.arange(cw * FINE) + 0.5) / FINE - 0.5
        fine_y = (np.arange(ch * FINE) + 0.5) / FINE - 0.5
        at = np.stack(np.meshgrid(fine_x, fine_y), axis=-1)
        source = apply_homography(self.wall, at)
        rng = np.random.default_rng(seed)
        albedo = 0.55 + 0.1 * cv2.GaussianBlur(rng.standard_normal(at.shape[:2]), (0, 0), 2.0) * 7.0
        albedo -= 0.25 * ((at[..., 1] % 23.0) < 2.5)  # boards with dark joints
        albedo = np.clip(albedo, 0.08, 0.95)
        if self.box is not None:
            shadow = _inside(apply_homography(np.linalg.inv(self.front), source), self.box)
            albedo[shadow] = 0.0
            on_box = _inside(at, self.box)
            source[on_box] = apply_homography(self.front, at[on_box])
            albedo[on_box] = 0.4
        if self.pane is not None:
            albedo[_inside(at, self.pane)] = 0.0
        return Scene(source.astype(np.float32), albedo.astype(np.float32), self.defocus_px)


@dataclass
class Scene:
    """Projector pixel and share of light returned, for every camera sample."""

    source: NDArray[np.float32]
    albedo: NDArray[np.float32]
    defocus_px: tuple[float, float] = (0.0, 0.0)

    def paint(self) -> NDArray[np.float32]:
        """Share of light returned, per camera pixel."""
        h, w = self.albedo.shape
        return self.albedo.reshape(h // FINE, FINE, w // FINE, FINE).mean(axis=(1, 3), dtype=np.float32)

    def light(self, shown: NDArray[np.uint8], *, gamma: float = 2.4) -> NDArray[np.float32]:
        """Linear picture of the camera under a projected frame; full white on white paint is 1."""
        projected = (shown / 255.0).astype(np.float32) ** np.float32(gamma)
        if any(self.defocus_px):
            left, right = (cv2.GaussianBlur(projected, (0, 0), max(s, 0.01)) for s in self.defocus_px)
            share = np.linspace(0.0, 1.0, projected.shape[1], dtype=np.float32)
            projected = (1 - share) * left + share * right
        # Projector pixels are little squares: nearest neighbour on the fine raster, black outside.
        fine = cv2.remap(projected, self.source, None, cv2.INTER_NEAREST, borderValue=0.0) * self.albedo
        h, w = fine.shape
        return fine.reshape(h // FINE, FINE, w // FINE, FINE).mean(axis=(1, 3), dtype=np.float32)


class ThroughScaler:
    """A plan as a player shows it that maps the video's pixels to the panel's by a matrix (3, 3)."""

    def __init__(self, plan: PatternPlan, matrix: NDArray[np.float64]) -> None:
        self._plan, self._matrix = plan, matrix
        self.rate, self.duration_s, self.frame_count = plan.rate, plan.duration_s, plan.frame_count
        self._last: tuple[NDArray[np.uint8], NDArray[np.uint8]] | None = None

    def frame(self, index: int) -> NDArray[np.uint8]:
        shown = self._plan.frame(index)
        if self._last is None or self._last[0] is not shown:
            size = shown.shape[::-1]
            self._last = (shown, cv2.warpPerspective(shown, self._matrix, size, flags=cv2.INTER_CUBIC))
        return self._last[1]


@dataclass
class Phone:
    """How the clip comes about; light of 1 fills the picture to `exposure` before the tone curve."""

    rate: Fraction = Fraction(30000, 1001)
    exposure: float = 0.8
    shutter: float = 0.9
    ambient: float = 0.01
    blur_px: float = 0.7
    noise: float = 0.012
    drift: float = 0.06
    rolling: float = 0.0
    before_s: float = 0.7
    after_s: float = 0.4
    skip_s: float = 0.0
    phase_s: float = 0.0117
    clock: float = 1.0003
    bump_px: float = 0.0
    bump_s: float = 0.0
    lamp_px: float = 0.0  # radius of a lamp that is far brighter than white, in the left half of the picture
    slide_px: tuple[float, float] = (0.0, 0.0)  # how far a sinking tripod has moved the picture by the clip's end
    car_s: float = float("inf")  # when headlights begin to sweep over the wall, for 1.5 s
    car_light: float = 0.25
    curve: str = "plain"
    crf: int = 20
    seed: int = 1


def film(
    path: Path, plan: PatternPlan | ThroughScaler, street: Street, phone: Phone, *, last_s: float | None = None
) -> None:
    """Film the playing pattern: exposures straddle the projector's frames, levels drift, noise, 8 bits, H.264."""
    rng = np.random.default_rng(phone.seed)
    with VideoWriter(path, street.camera_size, phone.rate, crf=phone.crf) as writer:
        for linear in _exposures(plan, street, phone, rng, last_s):
            writer.write_grey(_develop(linear, phone, rng))


def _exposures(
    plan: PatternPlan | ThroughScaler, street: Street, phone: Phone, rng: np.random.Generator, last_s: float | None
) -> Iterator[NDArray[np.float32]]:
    scene = street.scene()
    light: dict[int, NDArray[np.float32]] = {}
    pictures: list[NDArray[np.uint8]] = []

    def lit(index: int) -> NDArray[np.float32]:
        shown = plan.frame(min(max(index, 0), plan.frame_count - 1))
        if not pictures or pictures[-1] is not shown:
            pictures.append(shown)
            light[len(pictures) - 1] = cv2.GaussianBlur(scene.light(shown), (0, 0), max(phone.blur_px, 0.01))
            light.pop(len(pictures) - 4, None)
        return light[len(pictures) - 1]

    total_s = plan.duration_s if last_s is None else last_s
    count = int((phone.before_s + total_s + phone.after_s - phone.skip_s) * phone.rate)
    previous = (-1, lit(0))
    frame_s = 1.0 / float(plan.rate)
    for n in range(count):
        start_s = (n / float(phone.rate)) * phone.clock - phone.before_s + phone.skip_s + phone.phase_s
        stop_s = start_s + phone.shutter / float(phone.rate)
        first, last = int(np.floor(start_s / frame_s)), int(np.floor(stop_s / frame_s))
        share = 1.0 if last == first else (last * frame_s - start_s) / (stop_s - start_s)
        early = previous[1] if previous[0] == first else lit(first)
        late = early if last == first else lit(last)
        previous = (last, late)
        weight = np.float32(share)
        if phone.rolling and last != first:
            rows = np.linspace(-0.5, 0.5, early.shape[0], dtype=np.float32)[:, None] * phone.rolling
            weight = np.clip(weight - rows, 0.0, 1.0)
        picture = weight * early + (1 - weight) * late
        if phone.bump_px and start_s > phone.bump_s:
            move = np.array([[1, 0, phone.bump_px], [0, 1, 0.0]], dtype=np.float32)
            picture = cv2.warpAffine(picture, move, picture.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        if phone.lamp_px:
            picture = picture.copy()
            cv2.circle(picture, (picture.shape[1] // 4, picture.shape[0] // 2), round(phone.lamp_px), 6.0, -1)
        if any(phone.slide_px):
            sunk = n / count
            move = np.array([[1, 0, sunk * phone.slide_px[0]], [0, 1, sunk * phone.slide_px[1]]], dtype=np.float32)
            picture = cv2.warpAffine(
                picture, move, picture.shape[::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
            )
        swept = (start_s - phone.car_s) / 1.5
        if 0.0 <= swept < 1.0:
            x = np.linspace(0.0, 1.0, picture.shape[1], dtype=np.float32)
            beam = np.exp(-0.5 * ((x - 1.4 * swept + 0.2) / 0.12) ** 2) * phone.car_light
            picture = picture + scene.paint() * beam.astype(np.float32)
        gain = 1.0 + phone.drift * np.sin(2 * np.pi * n / float(phone.rate) / 5.0)
        yield (picture + np.float32(phone.ambient)) * np.float32(phone.exposure * gain)


def _develop(linear: NDArray[np.float32], phone: Phone, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Shot and read noise, tone curve, 8 bits."""
    spread = phone.noise * np.sqrt(np.maximum(linear, 0.0) + 0.02)
    noisy = np.clip(linear + spread * rng.standard_normal(linear.shape, dtype=np.float32), 0.0, 1.0)
    signal = noisy ** (1 / 2.2)
    if phone.curve == "contrasty":  # a strong S on top, as phones like it
        signal = 0.5 * signal + 0.5 * (3.0 * signal**2 - 2.0 * signal**3)
    return np.rint(255.0 * signal).astype(np.uint8)


def _inside(points: NDArray[np.float64], box: tuple[float, float, float, float]) -> NDArray[np.bool_]:
    left, top, right, bottom = box
    x, y = points[..., 0], points[..., 1]
    return (x >= left) & (x <= right) & (y >= top) & (y <= bottom)


def street() -> Street:
    """A wall with a box in front of it and a pane, 480 x 270 in the clip and in the projector."""
    return Street(
        SIZE, SIZE, box=(292.0, 112.0, 375.0, 248.0), box_shift=(11.0, -2.0), pane=(112.0, 67.0, 172.0, 127.0)
    )
