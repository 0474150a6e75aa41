"""Surfaces whose fringe is below a pixel's noise: found where they are, and not where they are not."""

import numpy as np
import pytest
from numpy.typing import NDArray

from limewash.scan.decode import Decoded, decode_stack
from limewash.scan.pattern import PatternPlan, plan_pattern

SIZE = (240, 160)  # columns and rows of the camera
SCALE = 100.0  # sums are whole numbers: so many to a code
BRIGHT, FAINT, DARK = slice(0, 60), slice(60, 200), slice(200, 240)  # columns
NOISE = 2.0  # [codes]
AMPLITUDE = 1.4  # of the faint part: its noise is half as much again [codes]


@pytest.fixture(scope="module")
def plan() -> PatternPlan:
    return plan_pattern((640, 360))


@pytest.fixture(scope="module")
def truth() -> NDArray[np.float64]:
    """Where each pixel looks, (2, rows, columns): a plane whose fringes run askew, as on a roof."""
    row, col = np.mgrid[: SIZE[1], : SIZE[0]].astype(float)
    return np.stack([90.0 + 1.1 * col + 0.7 * row, 40.0 - 0.25 * col + 1.2 * row])


@pytest.fixture(scope="module")
def decoded(plan: PatternPlan, truth: NDArray[np.float64]) -> Decoded:
    rng = np.random.default_rng(4)
    amplitude = np.zeros(SIZE[::-1])
    amplitude[:, BRIGHT], amplitude[:, FAINT] = 25.0, AMPLITUDE
    pictures = []
    for hold in plan.body:
        light = np.full(amplitude.shape, 2.0 * amplitude if hold.kind == "white" else 0.0 * amplitude)
        if hold.kind in ("fringe", "code"):
            axis = plan.axes[hold.axis]
            wave = np.cos(2.0 * np.pi * truth[hold.axis] / axis.period_px - hold.phase_rad)
            if hold.kind == "code":
                cell = np.floor(2.0 * truth[hold.axis] / axis.period_px).astype(int)
                wave = np.where((cell ^ cell >> 1) >> hold.bit & 1, -wave, wave)
            light = amplitude * (1.0 + wave)
        codes = 20.0 + light + NOISE * rng.standard_normal(light.shape)
        pictures.append(np.rint(SCALE * codes))
    sums = np.clip(np.stack(pictures), 0, 65535).astype(np.uint16)
    return decode_stack(sums, np.full(len(sums), 1.0 / SCALE), plan)


def test_a_fringe_below_the_noise_is_found(decoded: Decoded) -> None:
    found = np.isfinite(decoded.x) & np.isfinite(decoded.y)
    assert found[:, BRIGHT].mean() > 0.999
    assert found[:, FAINT].mean() > 0.93


def test_it_is_as_exact_as_theory_allows(decoded: Decoded, plan: PatternPlan, truth: NDArray[np.float64]) -> None:
    # Phase of a sinusoid of amplitude A in N pictures of noise s: sigma = sqrt(2/N) s/A, the Cramer-Rao bound for a
    # phase alone (Kay, Fundamentals of Statistical Signal Processing, vol. 1, example 3.4; from memory).
    inner = np.s_[:, FAINT.start + 10 : FAINT.stop - 10]
    for axis, place in enumerate((decoded.x, decoded.y)):
        off = (place - truth[axis])[inner]
        holds = sum(hold.kind in ("fringe", "code") and hold.axis == axis for hold in plan.body)
        alone = plan.axes[axis].period_px / (2.0 * np.pi) * np.sqrt(2.0 / holds) * NOISE / AMPLITUDE
        rms = float(np.sqrt(np.nanmean(off**2)))
        assert rms < 0.45 * alone, "25 pixels together know better than one by up to five times"
        assert rms > 0.9 * alone / 5.0, "better than theory: the test does not test"
        assert abs(float(np.nanmedian(off))) < 0.02


def test_nothing_is_found_in_the_dark(decoded: Decoded) -> None:
    found = np.isfinite(decoded.x) & np.isfinite(decoded.y)
    assert found[:, DARK.start + 3 :].mean() < 0.003
    # The windows of the last pixels reach over the edge, but those pixels object.
    assert found[:, DARK.start + 1 : DARK.start + 3].mean() < 0.35
