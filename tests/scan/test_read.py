"""Reading whole clips: accuracy against the street's exact truth, and clips that cannot be read."""

from __future__ import annotations

import io
import json
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from street import SIZE, Phone, Street, film, street

from limewash.errors import InputError
from limewash.geometry.homography import apply_homography
from limewash.media.reading import ClipReader
from limewash.media.writing import VideoWriter
from limewash.project.folder import Project, create_project
from limewash.project.models import House
from limewash.scan import read
from limewash.scan.clip import take_clip
from limewash.scan.correspondence import Correspondence, load_correspondence
from limewash.scan.findings import load_findings
from limewash.scan.pattern import plan_pattern
from limewash.scan.read import ScanResult, keep_scan, read_clip, save_scan


def coverage(found: Correspondence) -> float:
    truth = street().truth()
    return float((found.seen & truth.seen).sum() / truth.seen.sum())


def test_accuracy_reaches_the_goals(scan: ScanResult) -> None:
    errors = street().errors_px(scan.correspondence)
    assert np.median(errors) <= 0.15
    assert np.sqrt(np.mean(errors**2)) <= 0.4
    assert np.quantile(errors, 0.95) <= 0.6
    assert np.mean(errors > 3.0) <= 1e-3
    assert coverage(scan.correspondence) >= 0.98


def test_nothing_is_invented(scan: ScanResult) -> None:
    """Next to nothing is found that lands on the pane, or that the box hides or shades."""
    found, truth = scan.correspondence, street().truth()
    assert (found.seen & ~truth.seen).sum() <= 0.01 * found.seen.sum()
    left, top, right, bottom = (112, 67, 172, 127)
    inside = (found.camera_x > left + 1.5) & (found.camera_x < right - 1.5)
    inside &= (found.camera_y > top + 1.5) & (found.camera_y < bottom - 1.5)
    assert inside.sum() == 0


def test_flat_wall_follows_opencvs_homography(scan: ScanResult) -> None:
    """Source: cv2.findHomography on exact points of the wall, not on anything that was decoded."""
    scene = street()
    exact = np.array([[60, 40], [400, 45], [420, 240], [70, 230], [240, 130], [200, 60], [90, 150]], dtype=float)
    matrix, _ = cv2.findHomography(exact, apply_homography(scene.wall, exact))
    found = scan.correspondence
    v, u = np.nonzero(found.seen)
    camera = np.column_stack([found.camera_x[v, u], found.camera_y[v, u]]).astype(float)
    off = np.hypot(*(cv2.perspectiveTransform(camera[None], matrix)[0] - np.column_stack([u, v])).T)
    wall = off < 5.0  # the box is 11 px away
    assert wall.mean() > 0.7
    assert np.sqrt(np.mean(off[wall] ** 2)) < 0.2
    # No drift from corner to corner: the mean error vanishes.
    assert abs(np.mean((cv2.perspectiveTransform(camera[None], matrix)[0] - np.column_stack([u, v]))[wall])) < 0.02


@pytest.mark.parametrize(
    ("pattern_rate", "phone"),
    [
        (25, Phone(rate=Fraction(24), seed=2)),
        (30, Phone(rate=Fraction(60000, 1001), shutter=0.5, rolling=0.9, seed=3)),
        (60, Phone(rate=Fraction(25), curve="contrasty", phase_s=0.005, seed=4)),
        (24, Phone(rate=Fraction(30), clock=1.004, drift=0.2, seed=5)),
        (30, Phone(exposure=0.2, ambient=0.03, noise=0.01, seed=6)),
        (50, Phone(exposure=1.3, curve="contrasty", seed=7)),
    ],
    ids=["25-24", "rolling", "60-25 tone curve", "24-30 wrong clock, drift", "dark", "over-exposed"],
)
def test_short_pattern_at_other_rates(tmp_path: Path, pattern_rate: int, phone: Phone) -> None:
    film(tmp_path / "clip.mp4", plan_pattern(SIZE, pattern_rate, form="short"), street(), phone)
    result = read_clip(tmp_path / "clip.mp4", SIZE)
    errors = street().errors_px(result.correspondence)
    assert np.median(errors) <= 0.15
    assert np.sqrt(np.mean(errors**2)) <= 0.6
    assert np.mean(errors > 3.0) <= 2e-3
    assert coverage(result.correspondence) >= 0.95


def test_the_usual_pattern_gives_a_dozen_frames_of_a_hold(tmp_path: Path) -> None:
    clip, small = tmp_path / "clip.mp4", (320, 180)
    wall = Street(small, small, box=None, pane=None)
    film(clip, plan_pattern(small, 30), wall, Phone())
    takes = take_clip(clip, small)
    fringes = np.array([hold.kind in ("fringe", "code") for hold in takes.plan.body])
    assert takes.plan.form == "usual"
    # 14 frames a hold; the one in which the picture changes shows two, and a rolling shutter may spoil the next.
    assert takes.counts[fringes].min() >= 12
    errors = wall.errors_px(read_clip(clip, small).correspondence)
    assert np.median(errors) <= 0.15


def test_photo_is_the_scene_in_white_light(scan: ScanResult) -> None:
    expected = street().scene().light(np.full(SIZE[::-1], 255, np.uint8))
    assert scan.photo.shape == (SIZE[1], SIZE[0], 3)
    assert scan.photo.dtype == np.uint8
    likeness = np.corrcoef(scan.photo[..., 1].ravel() ** 2.2, expected.ravel())[0, 1]
    assert likeness > 0.97


def test_photo_is_the_mean_of_the_longest_white(clip: Path) -> None:
    takes = take_clip(clip, SIZE)
    white = max((n for n, hold in enumerate(takes.plan.body) if hold.kind == "white"), key=lambda n: takes.counts[n])
    first_s, last_s = takes.spans_s[white]
    with ClipReader(clip) as reader:
        np.testing.assert_array_equal(takes.photo, reader.mean_rgb(first_s - 1e-4, last_s + 1e-4))


def test_findings_of_a_good_clip_hold_no_warning(scan: ScanResult) -> None:
    assert scan.findings.warnings == ()
    by_code = {item.code: item for item in scan.findings.items}
    assert by_code["timing"].numbers["beat_s"] == pytest.approx(7 / 30 / 1.0003, rel=2e-4)
    assert by_code["coverage"].numbers["seen_share"] == pytest.approx(scan.correspondence.seen.mean())


def test_saved_scan_can_be_read_back(tmp_path: Path, scan: ScanResult) -> None:
    save_scan(tmp_path / "scan-1", scan)
    assert sorted(p.name for p in (tmp_path / "scan-1").iterdir()) == [
        "correspondence.npz",
        "findings.json",
        "findings.png",
        "photo.png",
    ]
    again = load_correspondence(tmp_path / "scan-1" / "correspondence.npz")
    assert np.array_equal(again.camera_x, scan.correspondence.camera_x, equal_nan=True)
    assert load_findings(tmp_path / "scan-1" / "findings.json") == scan.findings
    with pytest.raises(InputError, match="exists already"):
        save_scan(tmp_path / "scan-1", scan)


def test_stopping_while_saving_leaves_nothing(
    tmp_path: Path, scan: ScanResult, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(path: Path, picture: NDArray[np.uint8]) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(read, "write_image", stop)
    with pytest.raises(KeyboardInterrupt):
        save_scan(tmp_path / "scan-1", scan)
    assert list(tmp_path.iterdir()) == []


def test_stopping_while_reading_passes_through(clip: Path) -> None:
    def stop(share: float, doing: str) -> None:
        if share > 0.1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        read_clip(clip, SIZE, stop)


def test_progress_runs_from_start_to_end(tmp_path: Path) -> None:
    film(tmp_path / "clip.mp4", plan_pattern(SIZE, form="short"), street(), Phone(noise=0.0))
    told: list[float] = []
    read_clip(tmp_path / "clip.mp4", SIZE, lambda share, doing: told.append(share))
    assert told == sorted(told)
    assert told[0] == pytest.approx(0.0)
    assert told[-1] == 1.0


def steady(path: Path, level: float, seconds: float = 20.0, *, noise: float = 2.0, move_px: float = 0.0) -> None:
    """A clip that shows a textured wall at one level, still or moving, and no pattern."""
    rng = np.random.default_rng(1)
    wall = cv2.GaussianBlur(rng.standard_normal((270, 700)), (0, 0), 6.0)
    wall = level * (1.0 + 0.5 * wall / np.abs(wall).max())
    with VideoWriter(path, SIZE, Fraction(30)) as writer:
        for n in range(round(seconds * 30)):
            x = round(110 + 100 * np.sin(n * move_px / 100))
            grey = wall[:, x : x + SIZE[0]] + noise * rng.standard_normal(SIZE[::-1])
            writer.write_grey(np.clip(grey, 0, 255).astype(np.uint8))


@pytest.mark.parametrize(
    ("clip_of", "message"),
    [
        (lambda path: steady(path, 2.0, noise=1.0), "shows no pattern: the clip is too dark"),
        (lambda path: steady(path, 600.0), "shows no pattern: the clip is over-exposed: .* % of the frame"),
        (lambda path: steady(path, 120.0), "shows no pattern: nothing in the clip turns bright and dark"),
        (lambda path: steady(path, 120.0, move_px=5.0), "shows no pattern: the camera moves"),
        (lambda path: steady(path, 120.0, 6.0), "shows no pattern: the clip is too short: it lasts 6 s"),
    ],
    ids=["dark", "over-exposed", "still", "moving", "short"],
)
def test_clip_without_pattern_is_told_why(tmp_path: Path, clip_of: object, message: str) -> None:
    clip_of(tmp_path / "clip.mp4")  # type: ignore[operator]
    with pytest.raises(InputError, match=message):
        read_clip(tmp_path / "clip.mp4", SIZE)


def test_other_light_is_no_pattern(tmp_path: Path) -> None:
    """Something flashes, but not the start mark."""
    with VideoWriter(tmp_path / "clip.mp4", SIZE, Fraction(30)) as writer:
        for n in range(600):
            writer.write_grey(np.full(SIZE[::-1], 60 + 100 * (n // 11 % 2), np.uint8))
    with pytest.raises(InputError, match="its brightness changes, but not as a start mark does"):
        read_clip(tmp_path / "clip.mp4", SIZE)


@pytest.mark.parametrize(
    ("content", "message"),
    [(None, "does not exist"), (b"", "empty"), (b"not a film " * 500, "cannot be read as a film")],
    ids=["missing", "empty", "text"],
)
def test_what_is_no_film_is_refused(tmp_path: Path, content: bytes | None, message: str) -> None:
    path = tmp_path / "clip.mp4"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_clip(path, SIZE)


def test_truncated_file_is_refused(tmp_path: Path, clip: Path) -> None:
    data = io.BytesIO(clip.read_bytes())
    (tmp_path / "cut.mp4").write_bytes(data.read(len(data.getvalue()) * 6 // 10))
    with pytest.raises(InputError, match=r"cut short|too short"):
        read_clip(tmp_path / "cut.mp4", SIZE)


def test_clip_that_ends_early_is_refused(tmp_path: Path) -> None:
    plan = plan_pattern(SIZE, form="short")
    film(tmp_path / "clip.mp4", plan, street(), Phone(), last_s=plan.duration_s - 3.0)
    with pytest.raises(InputError, match=r"is too short: it ends 1\.\d s before the pattern does"):
        read_clip(tmp_path / "clip.mp4", SIZE)


def test_wrong_projector_size_is_named(clip: Path) -> None:
    with pytest.raises(InputError, match="the projector of this project has 1280x720"):
        read_clip(clip, (1280, 720))


def test_two_readings_at_once_keep_both_scans(
    tmp_path: Path, scan: ScanResult, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = create_project(tmp_path / "house", House(name="House"))
    taken = project.root / "scans" / "scan-1"
    first = [taken]
    number = Project.next_scan
    monkeypatch.setattr(Project, "next_scan", lambda self: first.pop() if first else number(self))
    save_scan(taken, scan)  # the other one, a moment after this one has looked for a free number
    assert keep_scan(project, scan).name == "scan-2"
    assert project.scans() == ["scan-1", "scan-2"]
    assert not list((project.root / "scans").glob(".*"))


@pytest.mark.parametrize(
    "data",
    [b"", b"no archive", b"PK\x03\x04 and no more"],
)
def test_a_damaged_correspondence_is_told(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "correspondence.npz"
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"damaged|empty"):
        load_correspondence(path)
    np.save(tmp_path / "other.npy", np.zeros(3))
    with pytest.raises(InputError, match="is not a correspondence file"):
        load_correspondence(tmp_path / "other.npy")


@pytest.mark.parametrize("faulty", [{"format": "x"}, {"findings": [{"code": "a", "severity": "bad", "text": "t"}]}])
def test_damaged_findings_are_told_with_their_file(tmp_path: Path, faulty: dict[str, object]) -> None:
    path = tmp_path / "findings.json"
    path.write_text(json.dumps({"format": 1, "findings": [], **faulty}))
    with pytest.raises(InputError, match=r"findings\.json: these are no findings"):
        load_findings(path)


def test_bumped_camera_is_refused(tmp_path: Path) -> None:
    plan = plan_pattern(SIZE, form="short")
    film(tmp_path / "clip.mp4", plan, street(), Phone(bump_px=6.0, bump_s=0.5 * plan.duration_s))
    with pytest.raises(InputError, match=r"moved by .* px while the pattern played"):
        read_clip(tmp_path / "clip.mp4", SIZE)


def test_slight_movement_is_a_warning(tmp_path: Path) -> None:
    plan = plan_pattern(SIZE, form="short")
    film(tmp_path / "clip.mp4", plan, street(), Phone(bump_px=0.4, bump_s=0.8 * plan.duration_s))
    findings = read_clip(tmp_path / "clip.mp4", SIZE).findings
    moved = next(item for item in findings.warnings if item.code == "camera-moved")
    assert moved.numbers["moved_px"] == pytest.approx(0.4, abs=0.15)


def test_lost_fringes_are_told(tmp_path: Path) -> None:
    """The start mark comes through, but nothing is in focus."""
    film(tmp_path / "clip.mp4", plan_pattern(SIZE, form="short"), street(), Phone(blur_px=9.0))
    with pytest.raises(InputError, match=r"pattern was found but only .* fine lines are lost; focus"):
        read_clip(tmp_path / "clip.mp4", SIZE)
