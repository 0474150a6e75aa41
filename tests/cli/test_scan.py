"""The scan on the command line, from the pattern to the findings, as a person would go through it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from test_commands import run

from limewash.media.images import read_image


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


def test_frames_of_stills_are_not_kept_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    house = tmp_path / "house"
    run(monkeypatch, "new", str(house))
    arguments = ("scan", "read", str(tmp_path), "--project", str(house), "--pattern", "gray")
    assert run(monkeypatch, *arguments, "--keep-frames", str(tmp_path / "frames")) == 2
    assert "stills are kept already" in capsys.readouterr().err
