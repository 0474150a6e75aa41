"""The scan on the command line, from the pattern to the findings, as a person would go through it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from test_commands import run

from limewash.media.images import read_image
from limewash.scan.correspondence import load_correspondence


@pytest.mark.slow
def test_pattern_film_read_and_check(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def figures(*arguments: object) -> dict[str, Any]:
        capsys.readouterr()
        assert run(monkeypatch, *(str(argument) for argument in arguments)) == 0
        return dict(json.loads(capsys.readouterr().out))

    pattern, clip, house, frames = (tmp_path / name for name in ("p.mp4", "c.mp4", "house", "frames"))
    made = figures("scan", "pattern", pattern, "--size", "480x270", "--short", "--json")
    assert made["duration_s"] < 12.0
    filmed = figures("scan", "film", pattern, clip, "--size", "480x270", "--json")
    assert filmed["projector_size"] == [480, 270]
    assert run(monkeypatch, "new", str(house), "--size", "480x270") == 0
    read = figures("scan", "read", clip, "--project", house, "--keep-frames", frames, "--json")
    assert (frames / "holds.json").is_file()
    assert "coverage" in {item["code"] for item in read["findings"]}
    stored = house / "scans" / read["scan"] / "findings.png"
    before = read_image(stored)
    checked = figures("scan", "check", "--project", house, "--out", tmp_path / "again.png", "--json")
    assert checked["findings"] == read["findings"]
    assert read_image(tmp_path / "again.png").shape == before.shape
    capsys.readouterr()
    assert run(monkeypatch, "scan", "check", "--project", str(house)) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "What the scan found" in told
    assert "projector's picture" in told


def test_what_the_light_may_do_to_people_is_said_with_the_pattern(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(monkeypatch, "scan", "pattern", str(tmp_path / "p.mp4"), "--size", "480x270", "--short") == 0
    said = " ".join("".join(capsys.readouterr()).split())
    assert "Do not look into the lens" in said and "warn those who cannot bear flashing light" in said


@pytest.mark.parametrize(
    ("options", "said"),
    [((), "name either the video"), (("p.mp4", "--stills", "st"), "name either the video")],
)
def test_one_place_to_write_to_must_be_named(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    options: tuple[str, ...],
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(monkeypatch, "scan", "pattern", *options) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert list(tmp_path.iterdir()) == []


def test_frames_of_stills_are_not_kept_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    house = tmp_path / "house"
    run(monkeypatch, "new", str(house))
    arguments = ("scan", "read", str(tmp_path), "--project", str(house), "--pattern", "gray")
    assert run(monkeypatch, *arguments, "--keep-frames", str(tmp_path / "frames")) == 2
    assert "stills are kept already" in capsys.readouterr().err


def test_photos_are_read_from_a_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pictures, house = tmp_path / "pictures", tmp_path / "house"
    arguments = ("scan", "pattern", "--stills", str(pictures), "--short", "--size", "480x270", "--json")
    assert run(monkeypatch, *arguments) == 0
    made = json.loads(capsys.readouterr().out)
    assert sorted(made["pictures"]) == sorted(path.name for path in pictures.iterdir())
    assert run(monkeypatch, "new", str(house), "--size", "480x270") == 0
    capsys.readouterr()
    # A camera that sees the projector's picture itself: each pixel is found where it is.
    assert run(monkeypatch, "scan", "read", str(pictures), "--project", str(house), "--json") == 0
    read = json.loads(capsys.readouterr().out)
    assert {"photos", "coverage"} <= {item["code"] for item in read["findings"]}
    found = load_correspondence(house / "scans" / read["scan"] / "correspondence.npz")
    assert found.seen.mean() > 0.97
    y, x = np.nonzero(found.seen)
    off = np.hypot(found.camera_x[y, x] - x, found.camera_y[y, x] - y)
    assert np.median(off) < 0.1
    assert np.quantile(off, 0.99) < 0.2
    assert run(monkeypatch, "scan", "pattern", "--size", "480x270") == 2
    assert "--stills DIR" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--camera", "0", "HERE/clip.mp4"), "there is no camera 0"),
        (("--camera", "0"), "name just the clip to write"),
        (("HERE/clip.mp4",), "--camera 0"),
    ],
)
def test_filming_without_a_camera_says_what_to_do(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    said: str,
) -> None:
    monkeypatch.setattr("limewash.media.camera._opened", lambda _: cv2.VideoCapture())
    assert run(monkeypatch, "scan", "film", *(word.replace("HERE", str(tmp_path)) for word in arguments)) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert not (tmp_path / "clip.mp4").exists()


def test_no_cameras_are_listed_as_none(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("limewash.media.camera._opened", lambda _: cv2.VideoCapture())
    assert run(monkeypatch, "scan", "film", "--cameras", "--json") == 0
    assert json.loads(capsys.readouterr().out) == {"cameras": []}
