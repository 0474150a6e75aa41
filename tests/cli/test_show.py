"""`limewash show` as a person meets it: the film, the proof, and what is kept when something goes wrong."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import pytest
from test_commands import run

from limewash.project.folder import Project

Scanned = Callable[..., Project]
SCORE = """
format = 1
[show]
title = "Trial"
length_s = 0.5
rate = 10
[[cue]]
effect = "hearth glow"
where = "windows"
"""


def with_show(project: Project, score: str = SCORE) -> Path:
    """The folder of the show "evening"."""
    folder = project.show_folder("evening")
    folder.mkdir(parents=True)
    (folder / "score.toml").write_text(score, encoding="utf-8")
    return folder


def copies(project: Project) -> list[bytes]:
    """What the project's history holds."""
    return [path.read_bytes() for path in (project.root / "history").rglob("*") if path.is_file()]


def video_size(film: Path) -> tuple[int, int]:
    with av.open(str(film)) as container:
        frame = next(container.decode(video=0))
        return frame.width, frame.height


def test_the_film_that_is_replaced_is_kept_once(scanned: Scanned, monkeypatch: pytest.MonkeyPatch) -> None:
    project = scanned()
    film = with_show(project) / "show.mp4"
    film.write_bytes(b"the old film")
    assert run(monkeypatch, "show", "render", "evening", "--project", str(project.root)) == 0
    assert video_size(film) == (240, 240)
    assert copies(project) == [b"the old film"]


def test_a_film_that_cannot_be_made_leaves_no_copy_of_the_old_one(
    scanned: Scanned, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    project = scanned()
    film = with_show(project, SCORE.replace('"windows"', '"door"')) / "show.mp4"
    film.write_bytes(b"the old film")
    assert run(monkeypatch, "show", "render", "evening", "--project", str(project.root)) == 2
    assert "cue 1, where" in capsys.readouterr().err
    assert film.read_bytes() == b"the old film"
    assert copies(project) == []


def test_ctrl_c_half_way_through_a_film_leaves_no_copy_of_the_old_one(
    scanned: Scanned, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: Any) -> Any:
        raise KeyboardInterrupt

    project = scanned()
    film = with_show(project) / "show.mp4"
    film.write_bytes(b"the old film")
    monkeypatch.setattr("limewash.show.render.drawn_ahead", interrupted)
    assert run(monkeypatch, "show", "render", "evening", "--project", str(project.root)) == 130
    assert [path.name for path in film.parent.iterdir() if path.suffix == ".mp4"] == ["show.mp4"]
    assert film.read_bytes() == b"the old film"
    assert copies(project) == []


@pytest.mark.parametrize(
    ("photo_size", "shown"),
    [((640, 480), (640, 480)), ((480, 640), (480, 640)), ((1600, 1200), (1280, 960)), ((401, 299), (400, 300))],
    ids=["4 to 3", "upright", "large", "odd"],
)
def test_the_proof_has_the_shape_of_the_photo(
    scanned: Scanned, monkeypatch: pytest.MonkeyPatch, photo_size: tuple[int, int], shown: tuple[int, int]
) -> None:
    project = scanned(photo_size)
    folder = with_show(project)
    assert run(monkeypatch, "show", "proof", "evening", "--project", str(project.root), "--rate", "5") == 0
    assert video_size(folder / "proof.mp4") == pytest.approx(shown, abs=2)


@pytest.mark.parametrize("at", ["-1", "0.6", "99", "nan"])
def test_a_still_outside_of_the_show_is_refused_and_the_old_one_left(
    scanned: Scanned, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], at: str
) -> None:
    project = scanned()
    still = with_show(project) / "proof.png"
    still.write_bytes(b"the old still")
    assert run(monkeypatch, "show", "proof", "evening", "--project", str(project.root), f"--at={at}") == 2
    assert "--at must be from 0 to 0.5 s" in capsys.readouterr().err
    assert still.read_bytes() == b"the old still"


@pytest.mark.parametrize("at", ["0", "0.5"])
def test_a_still_is_taken_from_the_start_to_the_end(scanned: Scanned, monkeypatch: pytest.MonkeyPatch, at: str) -> None:
    project = scanned()
    folder = with_show(project)
    assert run(monkeypatch, "show", "proof", "evening", "--project", str(project.root), "--at", at) == 0
    assert (folder / "proof.png").read_bytes().startswith(b"\x89PNG")


def test_the_commands_after_a_new_show_can_be_typed(
    scanned: Scanned, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    project = scanned(folder="Haus Müller")
    assert run(monkeypatch, "show", "new", "first evening", "--project", str(project.root)) == 0
    told = re.findall(r"^ *limewash (.*)$", capsys.readouterr().err, flags=re.MULTILINE)
    assert [shlex.split(line) for line in told] == [
        ["show", verb, "first evening", "--project", str(project.root)] for verb in ("proof", "render")
    ]
