"""Robust planes and the lens, against OpenCV's homographies and an exact device."""

import cv2
import numpy as np
import pytest
from flat_scene import CAMERA, SIZE, flat_scene, noisy
from numpy.typing import NDArray

from limewash.facade.lens import PhotoLens, find_lens
from limewash.facade.plane_fit import fit_plane, with_bend
from limewash.facade.samples import gather
from limewash.geometry.device import undistort

Array = NDArray[np.float64]

FIRST = np.array([[1.02, 0.03, 12.0], [-0.02, 0.97, -8.0], [2e-5, -3e-5, 1.0]])
SECOND = np.array([[1.02, 0.03, 25.0], [-0.02, 0.97, -3.0], [2e-5, -3e-5, 1.0]])


def points(count: int, seed: int = 0) -> Array:
    rng = np.random.default_rng(seed)
    return np.sort(rng.uniform(0.0, 1.0, (count, 2)), axis=0)[:, :1] * [600.0, 0.0] + rng.uniform(
        0, [1, 200], (count, 2)
    )


def mapped(matrix: Array, source: Array) -> Array:
    """By OpenCV."""
    return np.asarray(cv2.perspectiveTransform(source[None], matrix)[0])


def test_the_plane_of_most_samples_is_found_among_others() -> None:
    source = points(2000)
    target = mapped(FIRST, source)
    rng = np.random.default_rng(1)
    target[700:1300] = mapped(SECOND, source[700:1300])  # a stretch on another surface
    target += rng.normal(0.0, 0.2, target.shape)
    wrong = rng.random(2000) < 0.1
    target[wrong] = rng.uniform(0.0, 600.0, (int(wrong.sum()), 2))
    fit = fit_plane(source, target, np.ones(2000), noise_px=0.2, rng=np.random.default_rng(2))
    assert fit is not None
    inliers = np.concatenate([np.arange(700), np.arange(1300, 2000)])
    inliers = inliers[~wrong[inliers]]
    reference, _ = cv2.findHomography(source[inliers], target[inliers])
    probe = points(200, seed=3)
    assert np.hypot(*(fit.map(probe) - mapped(reference, probe)).T).max() < 0.05
    assert fit.noise_px == pytest.approx(0.2, rel=0.15)


def test_too_little_or_degenerate_data_give_no_plane() -> None:
    rng = np.random.default_rng(0)
    few = points(8)
    assert fit_plane(few, few, np.ones(8), noise_px=0.1, rng=rng) is None
    line = np.column_stack([np.linspace(0.0, 100.0, 60), np.linspace(0.0, 50.0, 60)])
    assert fit_plane(line, line, np.ones(60), noise_px=0.0, rng=rng) is None


@pytest.mark.parametrize("seed", [2, 3, 5, 8])
def test_samples_of_one_projector_column_end_in_no_horizon(seed: int) -> None:
    """As on a post seen edge-on: all but two share a column, and the best guess has its horizon among them."""
    rng = np.random.default_rng(seed)
    rows = np.arange(33.0)
    source = np.column_stack([800.0 + rng.uniform(-1.5, 1.5, 33), 600.0 - rows])
    target = np.column_stack([np.full(33, 50.0), rows[::-1]])
    target[:2] = [(51.0, 32.0), (49.0, 32.0)]
    fit = fit_plane(source, target, np.ones(33), noise_px=1e-6, rng=np.random.default_rng(seed))
    assert fit is None or np.isfinite(fit.matrix).all()


def test_a_large_plane_bends_where_the_samples_ask_for_it_and_a_thin_one_does_not() -> None:
    source = points(3000)
    bent = mapped(FIRST, source) + np.column_stack([0.4 * ((source[:, 0] - 300.0) / 300.0) ** 2, np.zeros(3000)])
    fit = fit_plane(source, bent, np.ones(3000), noise_px=0.1, rng=np.random.default_rng(0))
    assert fit is not None
    best = with_bend(fit, source, bent, np.ones(3000))
    assert float(np.sqrt(np.mean(best.residual(source, bent) ** 2))) < 0.03
    few = np.arange(0, 3000, 60)
    noise = np.random.default_rng(4).normal(0.0, 0.3, (len(few), 2))
    stiff = with_bend(fit, source[few], mapped(FIRST, source[few]) + noise, np.ones(len(few)))
    assert np.abs(stiff.bend).max() < 0.1


@pytest.mark.parametrize("noise_px", [0.0, 0.3])
def test_the_lens_is_found_from_what_it_does_to_flat_walls(noise_px: float) -> None:
    scene = flat_scene()
    scan = noisy(scene.correspondence, noise_px=noise_px, outliers=0.01 if noise_px else 0.0)
    lens, wall = find_lens(gather(scan, stride=3), SIZE, np.random.default_rng(0))
    assert wall is not None
    grid = np.stack(np.meshgrid(np.linspace(250, 800, 12), np.linspace(60, 480, 9)), axis=-1).reshape(-1, 2)
    xy = undistort((grid - CAMERA.centre_px) / np.array(CAMERA.focal_px), CAMERA.distortion)
    ideal = xy * np.array(CAMERA.focal_px) + CAMERA.centre_px
    straight = lens.straighten(grid)
    matrix, _ = cv2.findHomography(straight, ideal)
    left = np.hypot(*(mapped(matrix, straight) - ideal).T)
    untouched, _ = cv2.findHomography(grid, ideal)
    before = np.hypot(*(mapped(untouched, grid) - ideal).T)
    assert before.max() > 0.8
    assert left.max() < (0.02 if noise_px == 0.0 else 0.2)


def test_a_perfect_lens_is_left_alone() -> None:
    scene = flat_scene(lens=False)
    lens, _ = find_lens(gather(scene.correspondence, stride=3), SIZE, np.random.default_rng(0))
    grid = np.stack(np.meshgrid(np.linspace(0, 959, 9), np.linspace(0, 539, 7)), axis=-1).reshape(-1, 2)
    assert np.abs(lens.straighten(grid) - grid).max() < 0.02
    assert PhotoLens.straight(SIZE).straighten(grid) is grid


def test_samples_know_their_noise_and_scale() -> None:
    scene = flat_scene()
    exact = gather(scene.correspondence)
    rough = gather(noisy(scene.correspondence, noise_px=0.3, outliers=0.01))
    assert exact.noise_px < 1e-3
    assert rough.noise_px * rough.scale == pytest.approx(0.3, rel=0.1)
    assert rough.scale == pytest.approx(exact.scale, rel=0.01)


def test_samples_are_found_by_their_place_on_the_photo() -> None:
    samples = gather(flat_scene().correspondence)
    chain = np.array([(300.0, 200.0), (500.0, 220.0)])
    found = set(samples.along(chain, closed=False, band_px=12.0).tolist())
    way = (chain[1] - chain[0]) / np.hypot(*(chain[1] - chain[0]))
    offset = samples.photo - chain[0]
    along = np.clip(offset @ way, 0.0, np.hypot(*(chain[1] - chain[0])))
    near = np.flatnonzero(np.hypot(*(offset - along[:, None] * way).T) <= 12.0)
    assert len(near) > 1000
    assert set(near.tolist()) <= found
    assert len(found) < 4 * len(near)
