"""`limewash site` as a person meets it."""

from __future__ import annotations

import json
import shlex
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from limewash.cli import main as cli
from limewash.project.folder import create_project, open_project
from limewash.project.models import House
from limewash.project.site_models import Box
from limewash.site.projector_classes import PROJECTOR_CLASSES
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


def test_check_says_when_the_box_gets_too_hot(run: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    house = open_project(folder).house
    assert house.site is not None
    tight = Box(wall_m2=0.8, air_flow_m3_h=5.0)
    open_project(folder).with_house(site=house.site.model_copy(update={"box": tight}))
    assert run("check", "--project", str(folder)) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "! Inside it would get" in said
    assert "! Never run it with the openings shut" in said


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


BY_HAND = """# Measured on Sunday.
format = 1
name = "Ours"

[facade]
width_m = "26 ft"   # with the long tape
height_m = 5
reflectance = 0.5

[site.ambient]
wall_lx = 3  # the lamp at the gate

[[site.zone]]
name = "lawn"
kind = "lawn"
ground_m = [[0, "6 m"], [8, "6 m"], [8, 12], [0, 12]]

[site.search]
step_m = "1 m"
heights_m = [1]
projectors = ["laser"]  # the club has one
need_contrast = 2

[[rig]]  # the one from the attic
video_cable_m = "32 ft"  # the long one

[rig.projector]
name = "attic"
throw_ratio = 1.40  # wide
light_lm = 3200     # in the bright mode
feet = { front_to_rear_m = "25 cm" }  # with a ruler

[rig.stand]
x_m = "13 ft"  # from the left corner
height_m = 1
distance_m = "9.5 m"
roll_deg = 1.5  # the bench is not level
"""


@pytest.fixture
def by_hand(tmp_path: Path) -> Path:
    """A project whose house file was written by hand; its name must be typed in quotes."""
    root = tmp_path / "Haus Müller"
    root.mkdir()
    (root / "house.toml").write_text(BY_HAND, encoding="utf-8")
    return root


def found_by(run: Run, capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    """What `site search ... --json` gives."""
    capsys.readouterr()
    assert run("search", *arguments, "--json") == 0
    return dict(json.loads(capsys.readouterr().out))


def number_of(found: dict[str, Any], projector: str) -> int:
    """Which of the best uses a projector, counted from one."""
    return 1 + next(n for n, stand in enumerate(found["best"]) if stand["projector"] == projector)


def taken_back(text: str) -> set[str]:
    """Lines of `BY_HAND` that are no longer there."""
    return set(BY_HAND.splitlines()) - set(text.splitlines())


def test_taking_a_stand_for_a_rig_changes_that_stand_alone(
    run: Run, by_hand: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    project = ("--project", str(by_hand))
    found = found_by(run, capsys, *project)
    number = number_of(found, "attic")
    before = open_project(by_hand).house
    assert run("search", *project, "--take", f"{number}") == 0
    after = open_project(by_hand).house
    (rig,) = after.rig
    assert rig.stand is not None
    assert rig.stand.model_dump() == found["best"][number - 1]["stand"]
    assert rig.stand.roll_deg == 0.0  # as it was searched, not as the bench was
    settings = {"throw_ratio": rig.projector.throw_ratio, "lens_shift": rig.projector.lens_shift}
    assert rig == before.rig[0].model_copy(
        update={"stand": rig.stand, "projector": before.rig[0].projector.model_copy(update=settings)}
    )
    assert after.model_copy(update={"rig": before.rig}) == before
    text = (by_hand / "house.toml").read_text("utf-8")
    at = BY_HAND.index("[rig.stand]")
    stand = set(BY_HAND[at:].splitlines())
    assert taken_back(text) <= stand | {"throw_ratio = 1.40  # wide"}
    added = set(tomllib.loads(text)["rig"][0]["projector"]) - set(tomllib.loads(BY_HAND)["rig"][0]["projector"])
    assert added <= {"lens_shift"}


def test_taking_a_class_adds_a_rig_of_what_is_known_of_it(
    run: Run, by_hand: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    project = ("--project", str(by_hand))
    found = found_by(run, capsys, *project, "--count", "20")
    number = number_of(found, "laser")
    assert run("search", *project, "--take", f"{number}") == 0
    said = capsys.readouterr().err
    look = shlex.split(said.split("Look at it: ")[1].splitlines()[0])
    assert look == ["limewash", "site", "check", "--project", str(by_hand), "--rig", "laser"]
    assert run(*look[2:], "--json") == 0
    text = (by_hand / "house.toml").read_text("utf-8")
    assert taken_back(text) == set()
    first, taken = tomllib.loads(text)["rig"]
    assert first == tomllib.loads(BY_HAND)["rig"][0]
    assert set(taken) == {"name", "projector", "stand"}
    known = PROJECTOR_CLASSES["laser"].model_dump(exclude_unset=True)
    assert set(taken["projector"]) == {*known, "throw_ratio", "lens_shift"}
    # The next search tries the attic's projector and this one, each once.
    again = found_by(run, capsys, *project, "--count", "20")
    assert again["evaluated"] == found["evaluated"]
    assert {stand["projector"] for stand in again["best"]} == {"attic", "laser"}


def test_a_stand_beyond_those_that_are_shown_can_be_taken(
    run: Run, by_hand: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    project = ("--project", str(by_hand))
    third = found_by(run, capsys, *project)["best"][2]
    assert run("search", *project, "--count", "1", "--take", "3") == 0
    assert "Wrote stand 3" in capsys.readouterr().err
    stands = [rig.stand.model_dump() for rig in open_project(by_hand).house.rig if rig.stand is not None]
    assert third["stand"] in stands


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
