"""Errors in projector pixels: known shifts must come back as what they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare import small_world
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.scan.correspondence import Correspondence
from limewash.world.accuracy import accuracy, errors_px
from limewash.world.model import HOUSES
from limewash.world.truth import true_correspondence


def plain(truth: Correspondence, **changes: object) -> Correspondence:
    names = ("camera_x", "camera_y", "confidence", "camera_size", "projector_size")
    return Correspondence(**{**{name: getattr(truth, name) for name in names}, **changes})  # type: ignore[arg-type]


def test_truth_against_itself_is_without_error() -> None:
    truth = small_world("painted").truth()
    result = accuracy(truth, truth)
    assert (result.median_px, result.rmse_px, result.p95_px, result.over3_share) == (0.0, 0.0, 0.0, 0.0)
    assert (result.coverage, result.false_coverage) == (1.0, 0.0)


@pytest.mark.parametrize("name", HOUSES)
@settings(max_examples=3, deadline=None)
@given(dx=st.floats(-0.8, 0.8), dy=st.floats(-0.8, 0.8))
def test_a_shift_in_the_projector_is_measured_as_that_shift(name: str, dx: float, dy: float) -> None:
    world = small_world(name)
    truth = world.truth()
    # Exact: cast the shifted projector pixels themselves, on the same surfaces.
    moved = replace(world.projector, centre_px=(world.projector.centre_px[0] - dx, world.projector.centre_px[1] - dy))
    found = true_correspondence(world.scene, moved, world.camera)
    error = errors_px(found, truth)
    assert np.nanmedian(error) == pytest.approx(np.hypot(dx, dy), abs=0.01)


@pytest.mark.parametrize("name", HOUSES)
def test_the_error_is_how_far_the_camera_pixel_s_own_light_is_off(name: str) -> None:
    world = small_world(name)
    truth = world.truth()
    rng = np.random.default_rng(3)
    shift = rng.normal(0.0, 0.2, (2, *truth.camera_x.shape)).astype(np.float32)
    found = plain(truth, camera_x=truth.camera_x + shift[0], camera_y=truth.camera_y + shift[1])
    error = errors_px(found, truth)
    rows, columns = np.nonzero(truth.seen)
    back = world.projector_pixels(np.stack([found.camera_x, found.camera_y], -1)[rows, columns])
    exact = np.hypot(back[:, 0] - columns, back[:, 1] - rows)
    # The two differ only where the shifted camera pixel slipped over an edge onto another surface.
    assert np.mean(np.abs(error[rows, columns] - exact) < 0.02) > 0.85
    assert np.nanmedian(np.abs(error[rows, columns] - exact)) < 2e-3


def test_a_far_miss_on_a_slanted_strip_is_counted_by_the_usual_size_of_a_pixel() -> None:
    truth = small_world("painted").truth()
    g = truth.growth.astype(np.float64)
    area = np.abs(g[..., 0, 0] * g[..., 1, 1] - g[..., 0, 1] * g[..., 1, 0])
    usual = float(np.median(area[truth.seen]))
    slanted = truth.seen & (area < 0.2 * usual) & (area > 0.05 * usual)
    assert slanted.any()
    found = plain(truth, camera_x=truth.camera_x + np.float32(40.0))
    error = errors_px(found, truth)[slanted]
    assert error.max() <= 40.0 / np.sqrt(usual) * (1.0 + 1e-6)
    # Where there is no closer surface to be taken for, it is just that.
    assert np.quantile(error, 0.9) == pytest.approx(40.0 / np.sqrt(usual), rel=1e-6)


def test_a_truth_without_slopes_gives_the_same_within_a_per_cent() -> None:
    truth = small_world("painted").truth()
    found = plain(truth, camera_x=truth.camera_x + np.float32(0.3))
    exact, differenced = accuracy(found, truth), accuracy(found, plain(truth))
    assert differenced.median_px == pytest.approx(exact.median_px, rel=0.01)


def test_coverage_and_false_coverage_are_shares_of_what_is_seen_and_found() -> None:
    truth = small_world("painted").truth()
    camera_x = truth.camera_x.copy()
    seen_rows, seen_columns = np.nonzero(truth.seen)
    dark_rows, dark_columns = np.nonzero(~truth.seen)
    camera_x[seen_rows[::4], seen_columns[::4]] = np.nan
    camera_y = truth.camera_y.copy()
    camera_x[dark_rows[:500], dark_columns[:500]] = 1.0
    camera_y[dark_rows[:500], dark_columns[:500]] = 1.0
    result = accuracy(plain(truth, camera_x=camera_x, camera_y=camera_y), truth)
    kept = len(seen_rows) - len(seen_rows[::4])
    assert result.coverage == pytest.approx(kept / len(seen_rows), abs=1e-12)
    assert result.false_coverage == pytest.approx(500 / (kept + 500), abs=1e-12)


def test_wild_pixels_are_counted_as_wild() -> None:
    truth = small_world("painted").truth()
    camera_x = truth.camera_x.copy()
    rows, columns = np.nonzero(truth.seen)
    camera_x[rows[::100], columns[::100]] += 40.0
    result = accuracy(plain(truth, camera_x=camera_x), truth)
    assert result.over3_share == pytest.approx(len(rows[::100]) / len(rows), abs=1e-6)
    assert result.median_px == 0.0
    assert result.rmse_px > 1.0


def test_nothing_found_has_no_error_and_no_coverage() -> None:
    truth = small_world("painted").truth()
    nothing = np.full_like(truth.camera_x, np.nan)
    result = accuracy(plain(truth, camera_x=nothing, camera_y=nothing), truth)
    assert np.isnan(result.median_px)
    assert (result.coverage, result.false_coverage) == (0.0, 0.0)
    assert dict(result.table())["coverage of what the camera sees"] == "0.0 %"


def test_other_sizes_are_refused() -> None:
    truth = small_world("painted").truth()
    with pytest.raises(InputError, match="camera_size differs"):
        accuracy(plain(truth, camera_size=(100, 100)), truth)
