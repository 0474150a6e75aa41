"""The command line as a person meets it: help with examples, faults in one line, exit codes."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.main import get_command

from limewash.cli import main as cli
from limewash.project.folder import open_project


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    """The exit code of `limewash ...`, run in this process."""
    monkeypatch.setattr(sys, "argv", ["limewash", *arguments])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    code = ended.value.code
    assert isinstance(code, int)
    return code


def leaves(command: object, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Every command without sub-commands, as its words."""
    children = getattr(command, "commands", None)
    if not children:
        return [path]
    return [leaf for name, child in children.items() for leaf in leaves(child, (*path, name))]


@pytest.mark.parametrize("words", leaves(get_command(cli.app)), ids=" ".join)
def test_every_command_has_help_with_an_example(
    words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(monkeypatch, *words, "--help") == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert f"limewash {' '.join(words)}" in shown.split("Example:")[1]


def test_new_makes_a_project_for_the_projector_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(monkeypatch, "new", str(tmp_path / "our-house"), "--size", "1280x800") == 0
    project = open_project(tmp_path / "our-house")
    assert project.house.name == "our-house"
    assert project.rig.projector.size == (1280, 800)


@pytest.mark.parametrize("folder", ["Haus Müller", "ours (old) & new", "our-house"])
def test_the_commands_after_new_can_be_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], folder: str
) -> None:
    root = tmp_path / folder
    assert run(monkeypatch, "new", str(root), "--size", "1280 X 800") == 0
    steps = re.findall(r"\d\. (limewash .*)", capsys.readouterr().err)
    assert [shlex.split(step) for step in steps] == [
        ["limewash", "scan", "pattern", "pattern.mp4", "--size", "1280x800"],
        ["limewash", "scan", "read", "CLIP.mp4", "--project", str(root)],
    ]


@pytest.mark.parametrize("verb", [("map", "export"), ("scan", "check")])
def test_a_folder_that_is_no_project_is_named_as_it_must_be_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], verb: tuple[str, str]
) -> None:
    folder = tmp_path / "Haus Müller"
    assert run(monkeypatch, *verb, "--project", str(folder)) == 2
    assert f"'limewash new \"{folder}\"'" in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["new", "HERE/x", "--size", "big"], "--size must be width x height"),
        (["new", "HERE/x", "--size", "10x10"], "size"),
        (["scan", "read", "HERE/none.mp4", "--project", "HERE"], "is not a Limewash project"),
        (["trace", "import", "HERE/none.svg", "--project", "HERE"], "is not a Limewash project"),
        (["map", "export", "--project", "HERE"], "is not a Limewash project"),
        (["show", "render", "evening", "--project", "HERE"], "is not a Limewash project"),
        (["scan", "film", "HERE/none.mp4", "HERE/out.mp4"], "none.mp4"),
        (["demo", "HERE", "--house", "castle"], "castle"),
    ],
)
def test_a_fault_is_told_without_a_traceback(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(monkeypatch, *[part.replace("HERE", str(tmp_path)) for part in arguments]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert "Traceback" not in told


def test_a_scan_of_a_missing_clip_leaves_the_project_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    house = tmp_path / "house"
    run(monkeypatch, "new", str(house))
    before = sorted(path.relative_to(house) for path in house.rglob("*"))
    assert run(monkeypatch, "scan", "read", str(tmp_path / "none.mp4"), "--project", str(house)) == 2
    assert "none.mp4" in capsys.readouterr().err
    assert sorted(path.relative_to(house) for path in house.rglob("*")) == before


def test_ctrl_c_ends_with_the_usual_code(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def interrupted() -> None:
        raise KeyboardInterrupt

    app = typer.Typer()
    app.command()(interrupted)
    monkeypatch.setattr(cli, "app", app)
    assert run(monkeypatch) == 130


def test_figures_come_as_json(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(monkeypatch, "show", "effects", "--json") == 0
    effects = json.loads(capsys.readouterr().out)
    assert len(effects) >= 8
    for effect in effects.values():
        assert effect["what"]


def test_it_starts_without_the_heavy_libraries() -> None:
    code = "import sys; import limewash.cli.main; print(sorted({'numba', 'cv2', 'av', 'scipy'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_ctrl_c_says_what_became_of_the_files(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted() -> None:
        raise KeyboardInterrupt

    app = typer.Typer()
    app.command()(interrupted)
    monkeypatch.setattr(cli, "app", app)
    monkeypatch.setattr("sys.argv", ["limewash"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 130
    assert "none was left half-written" in capsys.readouterr().err
