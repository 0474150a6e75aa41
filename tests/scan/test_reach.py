"""What the light reaches and what not, against a street whose shadow and pane are known; the findings picture."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from street import FINE, SIZE, street

from limewash.errors import InputError
from limewash.media.images import read_image
from limewash.scan.correspondence import Correspondence
from limewash.scan.findings import Finding, Findings
from limewash.scan.overlay import WIDTH_PX, findings_picture
from limewash.scan.reach import DARK, SHADOW, SURE, Labels, find_reach
from limewash.scan.read import ScanResult, read_clip


def labels_of(scan: ScanResult) -> Labels:
    """A label for each camera pixel."""
    reach = find_reach(scan.correspondence)
    full = np.repeat(np.repeat(reach.labels, reach.cell, axis=0), reach.cell, axis=1)
    return full[: SIZE[1], : SIZE[0]]


def unlit() -> NDArray[np.bool_]:
    """Camera pixels from which no light comes back: the shadow of the box, and the pane."""
    albedo = street().scene().albedo
    return albedo.reshape(SIZE[1], FINE, SIZE[0], FINE).max(axis=(1, 3)) == 0.0


def test_the_shadow_of_a_box_and_a_pane_are_told_apart(scan: ScanResult) -> None:
    labels, dark = labels_of(scan), unlit()
    left, top, right, bottom = 112, 67, 172, 127
    pane = np.zeros_like(dark)
    pane[top + 4 : bottom - 3, left + 4 : right - 3] = True
    assert np.mean(labels[pane] == DARK) > 0.9
    assert np.mean(labels[pane] == SHADOW) < 0.02
    shadow = dark.copy()
    shadow[top - 2 : bottom + 3, left - 2 : right + 3] = False
    assert shadow.sum() > 800
    assert np.mean(labels[shadow] == SHADOW) > 0.6
    assert np.mean(labels[shadow] == DARK) < 0.1


def test_shares_are_those_of_the_correspondence(scan: ScanResult) -> None:
    reach, found = find_reach(scan.correspondence), scan.correspondence
    assert reach.seen_share == pytest.approx(found.seen.mean())
    assert reach.sure_share == pytest.approx((found.confidence > 0.5).mean())
    # Nothing lies outside the picture's lit part here: the two may be equal.
    assert 0.0 < reach.inside_share < 1.0 - reach.seen_share + 1e-6
    shares = next(item for item in scan.findings.items if item.code == "light-shares").numbers
    assert shares["seen_share"] + shares["inside_share"] + shares["outside_share"] == pytest.approx(1.0)


def test_nothing_seen_is_no_fault() -> None:
    none = np.full((90, 160), np.nan, np.float32)
    reach = find_reach(Correspondence(none, none, np.zeros((90, 160), np.float32), (320, 180), (160, 90)))
    assert reach.seen_share == reach.shadow_share == reach.dark_share == reach.inside_share == 0.0


def test_findings_picture_shows_labels_and_words(scan: ScanResult) -> None:
    long = "A very long sentence that has to be broken into lines because no picture is as wide as it is. " * 4
    many = Findings((Finding("made-up", "warning", long, long), *scan.findings.items))
    picture = findings_picture(scan.photo, scan.correspondence, many)
    few = findings_picture(scan.photo, scan.correspondence, Findings())
    assert picture.shape[1] == few.shape[1] == WIDTH_PX
    assert picture.shape[0] > few.shape[0] + 200
    scale = WIDTH_PX / SIZE[0]
    label = labels_of(scan)
    # Green is the strongest colour where light arrives, blue on the pane, and nothing is coloured outside.
    for wanted, strongest in ((SURE, 1), (DARK, 2)):
        inner = cv2.erode((label == wanted).astype(np.uint8), np.ones((7, 7), np.uint8))
        v, u = (np.rint((a + 0.5) * scale).astype(int) for a in np.nonzero(inner))
        assert len(v) > 500
        assert np.mean(np.argmax(picture[v, u], axis=1) == strongest) > 0.9
    rightmost = picture[int((picture.shape[0] - 400) * 0.5), -1].astype(int)
    assert np.ptp(rightmost) < 12


def test_frames_are_kept_for_diagnosis(tmp_path: Path, clip: Path) -> None:
    read_clip(clip, SIZE, keep=tmp_path / "frames")
    entries = json.loads((tmp_path / "frames" / "holds.json").read_text())["holds"]
    assert [entry["hold"] for entry in entries] == list(range(len(entries)))
    times = [entry["start_s"] for entry in entries if "start_s" in entry]
    assert times == sorted(times)
    names = {path.name for path in (tmp_path / "frames").glob("*.png")}
    assert names == {entry["file"] for entry in entries}
    means = {e["shows"]: read_image(tmp_path / "frames" / e["file"]).mean() for e in entries}
    assert means["black"] < means["grey"] < means["white"]
    assert "lines-rows-180deg" in means
    with pytest.raises(InputError, match="not an empty folder"):
        read_clip(clip, SIZE, keep=tmp_path / "frames")
