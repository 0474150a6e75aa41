"""What lies between a video and the wall: scaling, keystone correction, mirroring, other light."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest

from limewash.media.reading import ClipReader
from limewash.media.writing import VideoWriter
from limewash.world.display import Chain, under_video
from limewash.world.film import film
from limewash.world.phone import Phone
from limewash.world.street_light import StreetLight
from limewash.world.view import View
from limewash.world.virtual import VirtualHouse, load_world

SIZE = (320, 180)


@pytest.fixture(scope="module")
def house() -> VirtualHouse:
    return load_world("painted", camera_size=SIZE, projector_size=SIZE)


@pytest.fixture(scope="module")
def view(house: VirtualHouse) -> View:
    return house.view(samples=1)


def corners(chain: Chain) -> np.ndarray:
    (w, h) = SIZE
    rim = np.array([[[-0.5, -0.5]], [[w - 0.5, -0.5]], [[w - 0.5, h - 0.5]], [[-0.5, h - 0.5]]])
    return cv2.perspectiveTransform(rim, chain.to_panel(SIZE))[:, 0]


def test_overscan_pushes_the_rim_off_the_panel() -> None:
    found = corners(Chain(scale=(1.03, 1.01)))
    assert found[0] == pytest.approx([-0.5 - 0.015 * 320, -0.5 - 0.005 * 180])
    assert found[2] == pytest.approx([319.5 + 0.015 * 320, 179.5 + 0.005 * 180])


def test_keystone_narrows_the_upper_edge_alone() -> None:
    left_top, right_top, right_low, left_low = corners(Chain(keystone=0.1))
    assert right_top[0] - left_top[0] == pytest.approx(0.9 * 320)
    assert right_top[1] == pytest.approx(left_top[1])
    assert [*left_low, *right_low] == pytest.approx([-0.5, 179.5, 319.5, 179.5])


@pytest.mark.parametrize(
    ("chain", "turned"),
    [
        (Chain(), lambda p: p),
        (Chain(mirrored=True), np.fliplr),
        (Chain(upside_down=True), lambda p: p[::-1, ::-1]),
        (Chain(mirrored=True, upside_down=True), np.flipud),
    ],
    ids=["plain", "mirrored", "upside down", "both"],
)
def test_turned_pictures_arrive_turned(chain: Chain, turned: object) -> None:
    frame = np.random.default_rng(1).integers(0, 256, (180, 320, 3)).astype(np.uint8)
    assert np.array_equal(chain.on_panel(frame), turned(frame))  # type: ignore[operator]


def test_truth_is_that_of_the_videos_pixels(house: VirtualHouse) -> None:
    """Back from the camera by another way: its rays, cast onto the house, then into the projector."""
    chain = Chain(scale=(1.06, 1.02), keystone=0.07, mirrored=True)
    truth = house.truth(chain)
    v, u = np.nonzero(truth.seen)
    camera = np.column_stack([truth.camera_x[v, u], truth.camera_y[v, u]]).astype(np.float64)
    panel = house.projector_pixels(camera)
    there = np.isfinite(panel[:, 0])
    assert there.mean() > 0.98
    video = cv2.perspectiveTransform(panel[there][None], np.linalg.inv(chain.to_panel(SIZE)))[0]
    off = np.hypot(*(video - np.column_stack([u, v])[there]).T)
    assert np.quantile(off, 0.99) < 1e-2


def test_truth_grows_as_its_neighbours_say(house: VirtualHouse) -> None:
    truth = house.truth(Chain(scale=(1.04, 1.0), keystone=0.1))
    for axis, grid in ((0, truth.camera_x), (1, truth.camera_y)):
        step = 0.5 * (grid[:, 2:] - grid[:, :-2])
        grown = truth.growth[:, 1:-1, axis, 0]
        both = np.isfinite(step) & np.isfinite(grown)
        assert np.median(np.abs(step - grown)[both]) < 2e-3


def test_blur_and_bounce_reach_the_wall(view: View) -> None:
    lines = np.zeros((180, 320, 3), np.uint8)
    lines[:, ::8] = 255
    sharp, soft = (under_video(view, Chain(defocus_px=s))(lines) for s in (0.0, 2.0))
    assert soft.std() < 0.8 * sharp.std()
    half = np.zeros_like(lines)
    half[:, :160] = 255
    plain, bounced = (under_video(view, Chain(bounce=b))(half) for b in (0.0, 0.1))
    assert bounced.mean() > plain.mean()
    assert np.all(bounced >= plain - 1e-6)


def test_a_player_at_another_rate_shows_frames_late_never_early(tmp_path: Path) -> None:
    """30 frames/s at 50 Hz: pictures last 1 or 2 refreshes, so changes every fifteenth come at whole refreshes."""
    with VideoWriter(tmp_path / "p.mp4", SIZE, Fraction(30)) as out:
        for n in range(60):
            out.write_grey(np.full(SIZE[::-1], 255 * (n // 4 % 2), np.uint8))
    phone = Phone(rate=Fraction(240), exposure_s=1 / 1000, readout_s=0.0, jitter_s=0.0, clock_error=0.0, follow=0.0)

    def rises_s(refresh_hz: float | None) -> np.ndarray:
        film(tmp_path / "p.mp4", tmp_path / "c.mp4", lambda f: f / np.float32(2.0), phone, refresh_hz=refresh_hz)
        with ClipReader(tmp_path / "c.mp4") as clip:
            t, level = np.array([(t, luma.mean()) for t, luma in clip.luma()]).T
        return t[1:][(level[1:] > 120) & (level[:-1] < 60)]

    late = rises_s(50.0) - rises_s(None)
    assert np.ptp(late) > 0.009
    assert late.min() > -1 / 240 - 1e-9
    assert late.max() < 1 / 50 + 1 / 240


def test_lamp_and_cars_add_light(view: View, tmp_path: Path) -> None:
    light = StreetLight(view, lamp_cd_m2=3000.0, cars_s=(1.5,))
    assert light.steady.max() == pytest.approx(3000.0 * 1.25, rel=0.01)
    assert light.moving(1.0) is None
    assert light.moving(4.1) is None
    lit = light.moving(2.7)
    assert lit is not None
    assert lit.min() >= 0.0
    with VideoWriter(tmp_path / "p.mp4", SIZE, Fraction(30)) as out:
        for _ in range(90):
            out.write_grey(np.zeros(SIZE[::-1], np.uint8))
    phone = Phone(follow=0.0, drift=0.0, lead_s=0.5, tail_s=0.5)
    film(tmp_path / "p.mp4", tmp_path / "c.mp4", under_video(view), phone, other_light=light)
    with ClipReader(tmp_path / "c.mp4") as clip:
        t, level = np.array([(t, luma.mean()) for t, luma in clip.luma(1.0, 3.4)]).T
    before, during = level[t < 1.45].mean(), level[(t > 2.0) & (t < 3.3)]
    assert during.max() > before + 2.0
