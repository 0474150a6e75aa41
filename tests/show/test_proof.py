from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from invented_house import CAMERA_SIZE, camera_to_wall, invented_correspondence, wall_to_projector

from limewash.errors import InputError
from limewash.geometry.homography import apply_homography
from limewash.light.colour import decode_srgb
from limewash.media.reading import ClipReader
from limewash.show.compositor import Compositor
from limewash.show.fields import Fields
from limewash.show.proof import Look, PhotoStreet, develop, projector_pixels, proof_picture, write_proof
from limewash.show.score import parse_score


def photo() -> np.ndarray:
    """A wall of one colour with a darker right half."""
    picture = np.full((CAMERA_SIZE[1], CAMERA_SIZE[0], 3), (200, 180, 150), dtype=np.uint8)
    picture[:, 320:] = (100, 90, 75)
    return picture


def exact_projector_pixels() -> np.ndarray:
    x, y = np.meshgrid(np.arange(CAMERA_SIZE[0]), np.arange(CAMERA_SIZE[1]))
    wall = apply_homography(camera_to_wall(), np.stack([x, y], axis=-1))
    return apply_homography(wall_to_projector((480, 270)), wall)


def test_the_inverse_map_agrees_with_the_exact_one() -> None:
    x, y, lit = projector_pixels(invented_correspondence(glass=False), CAMERA_SIZE)
    exact = exact_projector_pixels()
    inside = ((exact > 2) & (exact < [477, 267])).all(axis=-1)
    error = np.hypot(x - exact[..., 0], y - exact[..., 1])[inside]
    assert (lit[inside] > 0.9).mean() > 0.999
    assert np.sqrt(np.mean(error**2)) < 0.3
    assert error.max() < 1.5
    outside = ((exact < -3) | (exact > [482, 272])).any(axis=-1)
    assert lit[outside].max() == 0.0


def test_light_is_the_photo_times_what_is_projected() -> None:
    street = PhotoStreet(photo(), invented_correspondence(glass=False), night=0.0)
    red = np.zeros((270, 480, 3), dtype=np.float32)
    red[..., 0] = 0.5
    seen = street.light(red)
    assert seen[180, 200, 1:].max() == 0.0
    ratio = seen[180, 450, 0] / seen[180, 200, 0]
    assert ratio == pytest.approx(decode_srgb(100 / 255) / decode_srgb(200 / 255), rel=1e-3)
    assert seen[180, 200, 0] == pytest.approx(0.5 * street.light(np.ones_like(red))[180, 200, 0], rel=1e-3)


def test_light_falls_where_the_scan_says() -> None:
    street = PhotoStreet(photo(), invented_correspondence(glass=False), night=0.0)
    frame = np.zeros((270, 480, 3), dtype=np.float32)
    frame[118:123, 298:303] = 1.0
    seen = street.light(frame)[..., 1]
    rows, columns = np.indices(seen.shape)
    centre = np.array([(seen * columns).sum(), (seen * rows).sum()]) / seen.sum()
    wall = apply_homography(np.linalg.inv(wall_to_projector((480, 270))), [300.0, 120.0])
    expected = apply_homography(np.linalg.inv(camera_to_wall()), wall)
    assert np.abs(centre - expected).max() < 0.2


def test_a_preview_frame_gives_the_same_street() -> None:
    street = PhotoStreet(photo(), invented_correspondence(glass=False))
    ramp = np.linspace(0, 1, 480, dtype=np.float32)[None, :, None] * np.ones((270, 1, 3), dtype=np.float32)
    half = ramp.reshape(135, 2, 240, 2, 3).mean(axis=(1, 3))
    difference = np.abs(street.light(ramp) - street.light(half))
    # A bilinear read darkens the outermost pixel, which is wider in the preview.
    assert np.quantile(difference, 0.98) < 0.01


def test_developing_keeps_order_and_stays_in_range() -> None:
    steps = np.linspace(0.0, 3.0, 40, dtype=np.float32)
    light = np.repeat(steps[None, :, None], 40, axis=0) * np.ones(3, dtype=np.float32)
    picture = develop(light, Look(glare=0.0))
    assert picture.dtype == np.uint8
    assert picture[0, 0].max() == 0
    assert (np.diff(picture[0, :, 0].astype(int)) >= 0).all()
    assert picture[0, -1, 0] > 245


def test_glare_spreads_light_but_makes_none() -> None:
    light = np.zeros((120, 160, 3), dtype=np.float32)
    light[50:70, 70:90] = 0.2
    clear, glary = (develop(light, Look(exposure=0.01, glare=g)).astype(float) for g in (0.0, 0.3))
    assert clear[60, 100].max() == 0.0
    assert develop(light, Look(glare=0.3))[60, 94].max() > 5
    assert glary.max() <= clear.max()


def test_a_proof_film_can_be_read_back(fields: Fields, tmp_path: Path) -> None:
    data = {
        "format": 1,
        "show": {"title": "T", "length_s": 1.0},
        "cue": [{"effect": "hearth glow", "where": "windows"}],
    }
    compositor = Compositor(parse_score(data, where="x"), fields)
    street = PhotoStreet(photo(), invented_correspondence(), size=(320, 180))
    still = proof_picture(compositor, street, 0.8)
    assert still.shape == (180, 320, 3)
    assert still.max() > 100
    write_proof(tmp_path / "proof.mp4", compositor, street, rate=Fraction(10))
    with ClipReader(tmp_path / "proof.mp4") as clip:
        frames = [frame for _, frame in clip.rgb()]
    assert len(frames) == 10
    assert frames[8].mean() == pytest.approx(still.mean(), abs=3.0)


def test_another_photo_is_refused() -> None:
    with pytest.raises(InputError, match="take the scan's own photo"):
        PhotoStreet(photo()[:100], invented_correspondence())
