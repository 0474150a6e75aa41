"""Surfaces whose fringe is below a pixel's noise: found where they are, and not where they are not."""

import numpy as np
import pytest
from numpy.typing import NDArray

from limewash.scan.decode import AxisHolds, Decoded, decode_stack
from limewash.scan.faint import follow_faint
from limewash.scan.patch import fit_patch, pool
from limewash.scan.pattern import PatternPlan, plan_pattern

SIZE = (240, 160)  # columns and rows of the camera
SCALE = 100.0  # sums are whole numbers: so many to a code
BRIGHT, FAINT, DARK = slice(0, 60), slice(60, 200), slice(200, 240)  # columns
FAINTER = slice(130, 200)  # of the faint ones
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


def pictures(plan: PatternPlan, truth: NDArray[np.float64], faint: float, fainter: float) -> NDArray[np.uint16]:
    """What the camera sees, (holds, rows, columns), with faint parts of these amplitudes. [1/SCALE codes]"""
    rng = np.random.default_rng(4)
    amplitude = np.zeros(SIZE[::-1])
    amplitude[:, BRIGHT], amplitude[:, FAINT], amplitude[:, FAINTER] = 25.0, faint, fainter
    seen = []
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
        seen.append(np.rint(SCALE * codes))
    return np.clip(np.stack(seen), 0, 65535).astype(np.uint16)


def decode(plan: PatternPlan, truth: NDArray[np.float64], fainter: float = AMPLITUDE) -> Decoded:
    sums = pictures(plan, truth, AMPLITUDE, fainter)
    return decode_stack(sums, np.full(len(sums), 1.0 / SCALE), plan)


@pytest.fixture(scope="module")
def decoded(plan: PatternPlan, truth: NDArray[np.float64]) -> Decoded:
    return decode(plan, truth)


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
        # The plane that foretells is fitted to 256 pixels at most, and has three unknowns.
        assert rms > 0.9 * alone * np.sqrt(3.0 / 256.0), "better than theory: the test does not test"
        assert abs(float(np.nanmedian(off))) < 0.02


def test_nothing_is_found_in_the_dark(decoded: Decoded) -> None:
    found = np.isfinite(decoded.x) & np.isfinite(decoded.y)
    assert found[:, DARK.start + 3 :].mean() < 0.003
    # The windows of the last pixels reach over the edge, but those pixels object.
    assert found[:, DARK.start + 1 : DARK.start + 3].mean() < 0.35


def test_fainter_still_is_found_in_wider_windows(plan: PatternPlan, truth: NDArray[np.float64]) -> None:
    # Five standard deviations of the mean of 25 pixels are 0.6 codes: more than there is.
    faded = decode(plan, truth, 0.45)
    found = np.isfinite(faded.x) & np.isfinite(faded.y)
    assert found[:, FAINTER].mean() > 0.8
    assert found[:, DARK.start + 6 :].mean() < 0.003
    off = np.hypot(faded.x - truth[0], faded.y - truth[1])[:, FAINTER]
    assert float(np.sqrt(np.nanmean(off**2))) < 1.0
    assert float(np.nanmax(off)) < 0.5 * plan.axes[0].period_px


@pytest.mark.parametrize(("periods", "followed"), [((0, 0), True), ((1, 0), False), ((0, -1), False)])
def test_a_surface_numbered_a_period_off_is_not_followed(
    plan: PatternPlan, truth: NDArray[np.float64], periods: tuple[int, int], followed: bool
) -> None:
    sums = pictures(plan, truth, AMPLITUDE, AMPLITUDE)
    weights = np.full(len(sums), 1.0 / SCALE)
    axes = (AxisHolds.of(plan, weights, 0).carriers(), AxisHolds.of(plan, weights, 1).carriers())
    found = np.full((5, *SIZE[::-1]), np.nan, dtype=np.float32)
    for axis in range(2):
        found[axis, :, BRIGHT] = truth[axis][:, BRIGHT] + periods[axis] * axes[axis].period_px
    found[2:4, :, BRIGHT], found[4] = 0.05, 0.0
    follow_faint(sums, axes, np.full(SIZE[::-1], NOISE, dtype=np.float32), found)
    share = np.isfinite(found[0])[:, FAINT].mean()
    assert share > 0.9 if followed else share < 0.01


@pytest.mark.parametrize("extent_rad", [0.5, 9.0], ids=["much smaller than a period", "larger"])
def test_a_patch_is_fitted_as_least_squares_has_it(extent_rad: float) -> None:
    """Against NumPy's least squares, on the model that the kernel states."""
    rng = np.random.default_rng(3)
    holds, cells = 22, 64
    hold_rad, cell_rad = rng.uniform(0.0, 2.0 * np.pi, holds), 1.0 + np.linspace(0.0, extent_rad, cells)
    seen = (
        3.0 * np.cos(cell_rad + 0.3 - hold_rad[:, None])
        + rng.standard_normal((holds, 1))
        + rng.standard_normal((holds, cells))
    )
    ones = np.ones((1, cells), dtype=np.float32)
    waves = np.column_stack([np.cos(hold_rad), np.sin(hold_rad)])
    turn = [part(cell_rad).astype(np.float32) for part in (np.cos, np.sin)]
    sums = np.empty((3, holds))
    pool(seen.astype(np.float32), np.full(holds, -1), ones, *turn, False, sums)
    rest, clear = fit_patch(sums, waves, ones[0], *turn)

    pooled = (seen * np.exp(-1j * cell_rad)).mean(axis=1)
    q = np.exp(-2j * cell_rad).mean()
    columns = [(a * np.exp(-1j * hold_rad) + np.conj(a) * np.exp(1j * hold_rad) * q) / 2.0 for a in (1.0, 1.0j)]
    design, wanted = (np.concatenate([z.real, z.imag]) for z in (np.column_stack(columns), pooled))
    (a, b), (left,), *_ = np.linalg.lstsq(design, wanted, rcond=None)
    assert rest == pytest.approx(left / holds, rel=1e-3)
    spread = left / (2 * holds - 2) * (1.0 + abs(q) ** 2)
    explained = float(np.sum((design @ [a, b]) ** 2))
    assert clear == pytest.approx(np.sqrt(explained / (2.0 * spread)), rel=1e-3)
