"""`limewash trace` as a person meets it."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from test_commands import run

from limewash.facade.propose import Proposal
from limewash.facade.tracing import Kind, Traced
from limewash.geometry.path import polyline
from limewash.project.folder import Project

Scanned = Callable[..., Project]
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="640" height="480">
<rect id="window-1" x="100" y="90" width="80" height="60"/>
<rect id="door-1" x="300" y="200" width="70" height="150"><title>Door [left] [/b]</title></rect>
<path id="squiggle" d="M 20 20 H 200"/>
</svg>"""


def drawn(tmp_path: Path) -> Path:
    file = tmp_path / "drawing.svg"
    file.write_text(SVG, encoding="utf-8")
    return file


def test_import_says_what_it_was_not_sure_of(
    scanned: Scanned, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ("trace", "import", str(drawn(tmp_path)), "--project", str(scanned().root), "--json")
    assert run(monkeypatch, *arguments) == 0
    out, err = capsys.readouterr()
    assert [item["kind"] for item in json.loads(out)] == ["window", "door", "other"]
    assert "squiggle" in err
    assert "taken as 'other'" in err
    assert err.count("nothing says what it is") == 1


def test_a_title_in_brackets_is_listed_as_it_is_and_the_next_command_can_be_typed(
    scanned: Scanned, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    root = scanned(folder="Haus Müller").root
    assert run(monkeypatch, "trace", "import", str(drawn(tmp_path)), "--project", str(root)) == 0
    out, err = capsys.readouterr()
    assert "Door [left] [/b]" in out
    assert shlex.split(err.split("Next: ")[1]) == ["limewash", "map", "export", "--project", str(root)]


def test_proposals_come_with_numbers_in_json(
    scanned: Scanned, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def found(*_: Any) -> list[Proposal]:
        box = polyline([(10.0, 10.0), (50.0, 10.0), (50.0, 40.0)], closed=True)
        return [Proposal(Traced("window-1", Kind.WINDOW, box), 0.87654321)]

    monkeypatch.setattr("limewash.facade.propose.propose", found)
    assert run(monkeypatch, "trace", "propose", "--project", str(scanned().root), "--json") == 0
    (proposal,) = json.loads(capsys.readouterr().out)
    assert (proposal["id"], proposal["kind"]) == ("window-1", "window")
    assert proposal["confidence"] == pytest.approx(0.8765, abs=1e-4)


def test_a_map_of_nothing_says_how_to_begin(
    scanned: Callable[..., Project], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    project = scanned()
    assert run(monkeypatch, "map", "export", "--project", str(project.root)) == 2
    told = " ".join(capsys.readouterr().err.split())
    assert "has no tracing yet" in told and f"limewash trace import FILE.svg --project {project.root}" in told
