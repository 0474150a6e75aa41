"""`limewash site` as a person meets it."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from limewash.cli import main as cli
from limewash.project.folder import create_project, open_project
from limewash.project.models import House
from limewash.world.model import read_house
from limewash.world.sketch import facade_of, rig_of, site_of

Run = Callable[..., int]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """The exit code of `limewash site ...`, run in this process."""

    def call(*arguments: str) -> int:
        monkeypatch.setattr(sys, "argv", ["limewash", "site", *arguments])
        try:
            cli.main()
        except SystemExit as ended:
            assert ended.code is None or isinstance(ended.code, int)
            return ended.code or 0
        return 0

    return call


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project of the painted virtual house with a coarse search."""
    house = read_house("painted")
    site = site_of(house).model_dump(mode="json", exclude_none=True)
    site["search"] = {"step_m": 1.0, "heights_m": [1.0], "projectors": ["laser"], "need_contrast": 5}
    site["power"] = {"outlet_x_m": 7.0, "price_per_kwh": 0.3, "currency": "EUR"}
    described = House.model_validate(
        {"name": "Painted", "facade": facade_of(house), "site": site, "rig": (rig_of(house),)}
    )
    return create_project(tmp_path / "house", described).root


def test_check_reports_figures_as_json(run: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", "--project", str(folder), "--json") == 0
    figures = json.loads(capsys.readouterr().out)
    assert figures["front"]["coverage"] > 0.5
    assert 0.0 < figures["picture"]["wasted"] < 1.0
    assert sum(figures["contrast_classes"].values()) == pytest.approx(1.0)
    assert len(figures["check_points"]) == 4
    assert figures["power"]["season_cost"] > 0.0
    assert any("lens" in text for text in figures["cautions"])


def test_check_tells_a_person_and_draws(run: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    drawings = folder / "site"
    assert run("check", "--project", str(folder), "--drawings", str(drawings)) == 0
    out, err = capsys.readouterr()
    for words in ("throw distance", "contrast", "digital keystone", "main front", "cord"):
        assert words in out
    assert "Do not look into the lens" in err
    assert {path.name for path in drawings.iterdir()} == {
        "plan.svg", "front.svg", "section.svg", "projector-view.svg", "light.svg", "contrast.svg", "pixels.svg"
    }  # fmt: skip


def test_search_ranks_says_why_and_can_take_a_stand(run: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("search", "--project", str(folder), "--json", "--drawings", str(folder / "site")) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["evaluated"] > 500
    assert found["why"].startswith("The ")
    assert found["best"][0]["score"] >= found["best"][1]["score"] or found["best"][0]["meets"]
    assert (folder / "site" / "choices.svg").is_file()
    assert run("search", "--project", str(folder), "--take", "1") == 0
    assert "Wrote stand 1" in capsys.readouterr().err
    rigs = open_project(folder).house.rig
    best = found["best"][0]
    taken = next(rig for rig in rigs if rig.stand is not None and rig.stand.x_m == best["stand"]["x_m"])
    assert taken.projector.throw_ratio == pytest.approx(best["throw_ratio"])
    assert run("check", "--project", str(folder), "--rig", taken.name, "--json") == 0


def test_card_is_written_into_the_project(run: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("card", "--project", str(folder)) == 0
    assert (folder / "setup-card.pdf").read_bytes().startswith(b"%PDF")
    assert "Print it at 100 %" in capsys.readouterr().err
    elsewhere = folder / "letter.pdf"
    assert run("card", "--project", str(folder), "--paper", "letter", "--out", str(elsewhere), "--json") == 0
    listed = json.loads(capsys.readouterr().out)
    assert listed["card"] == str(elsewhere)
    assert any(thing["count"] == 4 for thing in listed["bring"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("check", "--rig", "second"), "has no rig 'second'"),
        (("card", "--paper", "a3"), "paper must be one of a4, letter"),
        (("search", "--take", "50"), "did not tell so many apart"),
    ],
)
def test_faults_are_one_line_and_exit_2(
    run: Run, folder: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    assert run(*arguments, "--project", str(folder)) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_a_project_without_a_site_says_what_to_add(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = create_project(tmp_path / "bare", House(name="Bare")).root
    assert run("check", "--project", str(root)) == 2
    assert "'facade' is missing; add" in " ".join(capsys.readouterr().err.split())
