"""What scans find out about player and projector: scaling, keystone correction, focus, against what was put in.

The street here scales with a cubic filter, the virtual house (see tests/world) with a linear one.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from street import SIZE, Phone, Street, ThroughScaler, film

from limewash.scan.findings import Finding
from limewash.scan.judge_chain import chain_findings
from limewash.scan.pattern import plan_pattern
from limewash.scan.read import ScanResult, read_clip
from limewash.scan.scaling import AxisScaling

CORNERS = np.array([[0, 0], [SIZE[0], 0], [SIZE[0], SIZE[1]], [0, SIZE[1]]], np.float32) - 0.5


def grown(x: float, y: float) -> NDArray[np.float64]:
    """Matrix that enlarges the picture about its middle."""
    middle = 0.5 * (np.array(SIZE) - 1)
    return np.array([[x, 0, middle[0] * (1 - x)], [0, y, middle[1] * (1 - y)], [0, 0, 1.0]])


def trapezium(share: float) -> NDArray[np.float64]:
    """Matrix that narrows the upper edge by a share of its width."""
    narrow = CORNERS.copy()
    narrow[0, 0] += 0.5 * share * SIZE[0]
    narrow[1, 0] -= 0.5 * share * SIZE[0]
    return cv2.getPerspectiveTransform(CORNERS, narrow)


def scanned(folder: Path, matrix: NDArray[np.float64] | None, street: Street | None = None) -> ScanResult:
    """The scan of a street through a scaler."""
    plan = replace(plan_pattern(SIZE), title_frames=15)
    shown = plan if matrix is None else ThroughScaler(plan, matrix)
    film(folder / "clip.mp4", shown, street or Street(SIZE, SIZE, box=None, pane=None), Phone())
    return read_clip(folder / "clip.mp4", SIZE)


def named(result: ScanResult, code: str) -> Finding:
    by_code = {item.code: item for item in result.findings.items}
    assert code in by_code, sorted(by_code)
    return by_code[code]


@pytest.mark.slow
def test_overscan_is_found_and_measured(tmp_path: Path) -> None:
    found = named(scanned(tmp_path, grown(1.03, 1.02)), "overscan")
    assert found.severity == "warning"
    assert found.numbers["scaling_x"] == pytest.approx(0.03, abs=0.002)
    assert found.numbers["scaling_y"] == pytest.approx(0.02, abs=0.002)
    assert found.numbers["lost_each_side_px"] == pytest.approx(240 * (1 - 1 / 1.03), abs=0.5)
    assert "3.0 % across and 2.0 % down" in found.text


@pytest.mark.slow
def test_a_shrunk_picture_is_not_called_overscan(tmp_path: Path) -> None:
    found = named(scanned(tmp_path, grown(0.95, 0.95)), "scaled")
    assert found.numbers["scaling_x"] == pytest.approx(-0.05, abs=0.002)
    assert found.numbers["scaling_y"] == pytest.approx(-0.05, abs=0.002)


@pytest.mark.slow
def test_another_shape_in_the_chain_is_named(tmp_path: Path) -> None:
    found = named(scanned(tmp_path, grown(1.0, 10 / 9)), "aspect")
    assert found.numbers["scaling_x"] == 0.0
    assert found.numbers["scaling_y"] == pytest.approx(1 / 9, abs=0.002)
    assert "16:10 and 16:9" in found.text


@pytest.mark.slow
def test_keystone_correction_is_found_and_measured(tmp_path: Path) -> None:
    matrix = trapezium(0.08)
    found = named(scanned(tmp_path, matrix), "keystone-on")
    assert found.numbers["keystone"] == pytest.approx(_thirds_differ(matrix), abs=0.012)


def _thirds_differ(matrix: NDArray[np.float64]) -> float:
    """How much more the middle of the upper third is scaled across than that of the lower third."""
    scale = []
    for v in (SIZE[1] / 6, SIZE[1] * 5 / 6):
        ends = cv2.perspectiveTransform(np.array([[[0.0, v], [SIZE[0] - 1.0, v]]]), matrix)[0]
        scale.append(abs((ends[1, 0] - ends[0, 0]) / (SIZE[0] - 1) - 1))
    return abs(scale[0] - scale[1])


@pytest.mark.slow
@pytest.mark.parametrize("code", ["focus", "out-of-focus", "focus-uneven"])
def test_focus_is_measured(tmp_path: Path, code: str) -> None:
    left, right = {"focus": (0.0, 0.0), "out-of-focus": (2.2, 2.2), "focus-uneven": (0.0, 3.0)}[code]
    result = scanned(tmp_path, None, Street(SIZE, SIZE, box=None, pane=None, defocus_px=(left, right)))
    found = named(result, code)
    assert named(result, "pixel-for-pixel").severity == "good"  # blur behind the panel is no scaling
    assert found.numbers["sharpest_px"] == pytest.approx(5 / 6 * left + right / 6, abs=0.6)
    assert found.numbers["softest_px"] == pytest.approx(left / 6 + 5 / 6 * right, abs=0.6)
    if code == "focus-uneven":
        assert "right" in found.remedy.split("gains")[0]


def lines(kept: float, bands: float = np.nan, lost: float = 0.0) -> AxisScaling:
    return AxisScaling(kept, bands, bands, bands, lost, lost)


def test_a_clip_without_checks_says_nothing_about_the_chain() -> None:
    assert chain_findings((lines(np.nan), lines(np.nan)), (1920, 1080)) == []


def test_lines_that_fade_everywhere_are_told_from_bands() -> None:
    (found,) = chain_findings((lines(0.3), lines(0.9)), (1920, 1080))
    assert found.code == "lines-lost"
    assert "70 % of the contrast of upright lines" in found.text
    assert "level lines" not in found.text


def test_levels_say_nothing_where_the_exposure_hunts() -> None:
    """Lines that seem weak may only have been filmed darker; bands are seen all the same."""
    weak, banded = (lines(0.5), lines(0.5)), (lines(0.3, 0.03, 29.0), lines(0.3, 0.03, 16.0))
    assert chain_findings(weak, (1920, 1080), exposure_held=False) == []
    assert chain_findings(banded, (1920, 1080), exposure_held=False)[0].code == "overscan"
    few = (lines(0.7), lines(0.1, 2.0 / 1080))
    assert chain_findings(few, (1920, 1080), exposure_held=False) == [], "two bands may be the wall's own paint"
    assert chain_findings(few, (1920, 1080))[0].code == "scaled"


def test_direction_is_left_open_where_nothing_shows_it() -> None:
    """A house far smaller than the picture: the rim says nothing."""
    (found,) = chain_findings((lines(0.3, 0.03, 400.0), lines(0.3, 0.03, 300.0)), (1920, 1080))
    assert found.code == "scaled"
    assert "cannot be told" in found.text
