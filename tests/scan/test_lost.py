"""What could not be read is counted, and its cause named: places spoilt on purpose in the street of these tests."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from street import SIZE, Street
from test_shots import SHORT, photograph, put

from limewash.scan.findings import Finding
from limewash.scan.shots import read_shots

PATCH = (slice(60, 210), slice(60, 230))  # of the camera's picture, all of it on the wall


def plain() -> Street:
    return Street(SIZE, SIZE, box=None, pane=None)


def unread(folder: Path, spoil: Callable[[NDArray[np.uint8]], NDArray[np.uint8]]) -> tuple[Finding | None, float]:
    """The finding, if any, and the share of the wall that truly was lost."""
    put(folder, [spoil(photo) for photo in photograph(SHORT, plain(), noise=0.02).values()])
    scan, truth = read_shots(folder, SIZE), plain().truth()
    lost = 1.0 - (scan.correspondence.seen & truth.seen).sum() / truth.seen.sum()
    return next((item for item in scan.findings.items if item.code == "unread"), None), float(lost)


def in_patch(change: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> Callable[..., NDArray[np.uint8]]:
    def spoil(photo: NDArray[np.uint8]) -> NDArray[np.uint8]:
        spoilt = photo.astype(np.float64)
        spoilt[PATCH] = change(spoilt[PATCH])
        return np.clip(np.rint(spoilt), 0, 255).astype(np.uint8)

    return spoil


def test_nothing_is_said_where_all_is_read(tmp_path: Path) -> None:
    finding, lost = unread(tmp_path, np.asarray)
    assert lost < 0.03
    assert finding is None


def test_too_little_light_is_named(tmp_path: Path) -> None:
    # With 0.05 of the light and noise of 6 codes, four fifths of the patch are read, to 0.2 px.
    rng = np.random.default_rng(1)
    finding, lost = unread(tmp_path, in_patch(lambda p: 20 + 0.04 * p + 8.0 * rng.standard_normal(p.shape)))
    check(finding, lost, "faint")
    assert finding is not None
    assert "exposure" in finding.remedy


def test_washed_out_lines_are_named(tmp_path: Path) -> None:
    finding, lost = unread(tmp_path, in_patch(lambda p: cv2.GaussianBlur(p, (0, 0), 8.0)))
    check(finding, lost, "washed_out")
    assert finding is not None
    assert "Focus" in finding.remedy


def test_over_exposure_is_named(tmp_path: Path) -> None:
    finding, lost = unread(tmp_path, in_patch(lambda p: 5.0 * p))
    check(finding, lost, "clipped")


def check(finding: Finding | None, lost: float, cause: str) -> None:
    assert lost > 0.1
    assert finding is not None
    assert finding.numbers["unread_share"] == pytest.approx(lost, rel=0.4)
    causes = {name: share for name, share in finding.numbers.items() if name != "unread_share"}
    assert max(causes, key=lambda name: causes[name]) == f"{cause}_share"
