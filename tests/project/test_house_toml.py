"""The house file: what is allowed, how faults are told, and that comments survive."""

import difflib
import re
from pathlib import Path

import pytest

from limewash.errors import InputError
from limewash.project.folder import Project, create_project, open_project
from limewash.project.models import Facade, House, MeasuredPoint, Place, Projector, Rig, Stand
from limewash.project.toml_models import validate


def a_house() -> House:
    return House(
        name="Test house",
        place=Place(latitude_deg=50.0, longitude_deg=8.0, time_zone="Europe/Berlin"),
        facade=Facade(
            width_m=10.0,
            height_m=6.0,
            measured=(MeasuredPoint(what="door, lower left", wall_m=(4.0, 0.2), photo_px=(700.0, 900.0)),),
        ),
        rig=(Rig(stand=Stand(x_m=5.0, height_m=1.0, distance_m=9.0)),),
    )


def test_a_new_house_file_reads_back_as_it_was(tmp_path: Path) -> None:
    project = create_project(tmp_path / "house", a_house())
    assert open_project(project.root).house == a_house()


def test_comments_written_by_hand_survive_a_change(tmp_path: Path) -> None:
    project = create_project(tmp_path / "house", a_house())
    path = project.root / "house.toml"
    path.write_text(path.read_text("utf-8") + "\n# the ladder is in the shed\n", encoding="utf-8")
    changed = project.with_house(scan="scan-2", facade=Facade(width_m=11.5, height_m=6.0))
    assert changed.house.scan == "scan-2"
    assert changed.house.facade is not None
    assert changed.house.facade.width_m == 11.5
    assert changed.house.rig == a_house().rig
    text = path.read_text("utf-8")
    assert "# the ladder is in the shed" in text
    assert "# which folder under scans/ is in use" in text


def test_a_key_that_was_deleted_by_hand_can_be_set_again(tmp_path: Path) -> None:
    project = create_project(tmp_path / "house", a_house())
    path = project.root / "house.toml"
    kept = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("scan")]
    path.write_text("\n".join(kept), encoding="utf-8")
    assert open_project(project.root).house.scan == "newest"
    assert project.with_house(scan="scan-3").house.scan == "scan-3"


def test_a_change_that_would_not_be_valid_leaves_the_file_alone(tmp_path: Path) -> None:
    project = create_project(tmp_path / "house", a_house())
    before = (project.root / "house.toml").read_bytes()
    with pytest.raises(InputError, match="name"):
        project.with_house(name="")
    assert (project.root / "house.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("width_m = 10.0", "width_m = -1.0", r"facade\.width_m must be more than 0 and at most 1000 m \(got -1\)"),
        (
            "latitude_deg = 50.0",
            "latitude_deg = 99.0",
            r"place\.latitude_deg must be less than or equal to 90",
        ),
        ("width_m", "widht_m", r"unknown key 'facade\.widht_m'; did you mean 'width_m'"),
        ("throw_ratio", "throw", r"unknown key 'rig\[1\]\.projector\.throw'; did you mean 'throw_ratio'"),
        ("Europe/Berlin", "Europe/Berlim", "unknown time zone 'Europe/Berlim'"),
        ('name = "Test house"', "", "'name' is missing"),
        ("format = 1", "format = 2", "install a newer Limewash"),
        ("format = 1", "format = 'one'", "format must be a whole number"),
        ("format = 1", "", "format must be a whole number"),
        ("[place]", "[place", "not valid TOML, line 6"),
        ("[place]", 'scan = "scan-2"\n[place]', '"scan" already exists'),
        ("width_m = 10.0", "width_m = 10.0\nwidth_m = 11.0", '"width_m" already exists'),
        ("throw_ratio = 1.5", "throw_ratio = 1.5\nthrow_ratio = 1.4", '"throw_ratio" already exists'),
        ("[rig.stand]", "[rig.projector]\n[rig.stand]", '"projector" already exists'),
        ("[[rig]]", "[rig]", r"rig must be a list of tables: write \[\[rig\]\] with two brackets, not \[rig\]"),
        (
            "[[facade.measured]]",
            "[facade.measured]",
            r"facade\.measured must be a list of tables: write \[\[facade\.measured\]\] with two brackets",
        ),
    ],
)
def test_a_fault_is_told_with_file_key_and_remedy(tmp_path: Path, old: str, new: str, said: str) -> None:
    project = create_project(tmp_path / "house", a_house())
    path = project.root / "house.toml"
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=said) as caught:
        open_project(project.root)
    assert str(path) in str(caught.value)


def test_a_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    project = create_project(tmp_path / "house", a_house())
    (project.root / "house.toml").write_bytes(b"\xff\xfe\x00bad")
    with pytest.raises(InputError, match="UTF-8"):
        open_project(project.root)


def test_a_file_saved_with_a_byte_order_mark_is_read_and_changed(tmp_path: Path) -> None:
    project = create_project(tmp_path / "house", a_house())
    path = project.root / "house.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert open_project(project.root).house == a_house()
    assert project.with_house(scan="scan-2").house == a_house().model_copy(update={"scan": "scan-2"})


def test_a_fault_of_the_whole_is_told_without_a_key() -> None:
    reversed_zoom = {"throw_range": [1.8, 1.2]}
    with pytest.raises(InputError) as caught:
        validate(reversed_zoom, Projector, where="data-sheet.toml")
    assert str(caught.value).startswith("data-sheet.toml: throw_range must be [smallest, largest]")


RIGS = """# Measured on Sunday.
format = 1
name = 'Ours'

[[rig]]   # the one from the attic
player = "small computer"  # under the bench
video_cable_m = "32 ft"    # the long one

[rig.projector]
throw_ratio = 1.30  # wide
focus_range_m = ["1 m", "40 ft"]
feet = { front_to_rear_m = "25 cm" }  # with a ruler

[rig.stand]
x_m = "20 ft 6 in"  # from the left corner
height_m = 1
distance_m = "14.6 m"
roll_deg = 2.5  # the bench is not level

# A borrowed one.
[[rig]]
name = "second"
stand = { x_m = 1, height_m = 1, distance_m = "9 m" }  # by the gate
"""


@pytest.fixture
def rigs(tmp_path: Path) -> Project:
    """A project whose house file was written by hand, with units and comments."""
    (tmp_path / "house.toml").write_text(RIGS, encoding="utf-8")
    return open_project(tmp_path)


def comments(text: str) -> list[str]:
    return re.findall(r"#.*", text)


def differing(before: str, after: str) -> list[str]:
    """Lines that went (-) and came (+)."""
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    return [f"{line[0]}{line[2:]}" for line in lines if line[0] in "+-"]


def test_rigs_that_are_written_as_they_are_leave_the_file_alone(rigs: Project) -> None:
    rigs.with_house(rig=rigs.house.rig)
    assert (rigs.root / "house.toml").read_text("utf-8") == RIGS
    assert not (rigs.root / "history").exists()


def test_one_figure_of_a_rig_changes_one_line(rigs: Project) -> None:
    first = rigs.house.rig[0]
    assert first.stand is not None
    moved = first.model_copy(update={"stand": first.stand.model_copy(update={"height_m": 1.25})})
    changed = rigs.with_house(rig=[moved, *rigs.house.rig[1:]])
    assert changed.house.rig == (moved, *rigs.house.rig[1:])
    text = (rigs.root / "house.toml").read_text("utf-8")
    assert differing(RIGS, text) == ["-height_m = 1", "+height_m = 1.25"]


def test_another_stand_takes_nothing_over_from_the_old_one(rigs: Project) -> None:
    # No roll is given: it is the usual 0 and not that of the bench.
    moved = rigs.house.rig[0].model_copy(update={"stand": Stand(x_m=3.0, height_m=1.0, distance_m=12.0)})
    changed = rigs.with_house(rig=[moved, *rigs.house.rig[1:]])
    assert changed.house.rig == (moved, *rigs.house.rig[1:])
    text = (rigs.root / "house.toml").read_text("utf-8")
    assert set(comments(RIGS)) - set(comments(text)) <= {"# the bench is not level", "# from the left corner"}
    assert '"32 ft"    # the long one' in text


def test_another_projector_takes_nothing_over_from_the_old_one(rigs: Project) -> None:
    other = rigs.house.rig[0].model_copy(update={"projector": Projector(name="borrowed", light_lm=5000.0)})
    assert rigs.with_house(rig=[other, *rigs.house.rig[1:]]).house.rig == (other, *rigs.house.rig[1:])


def test_a_value_that_is_taken_away_is_gone(rigs: Project) -> None:
    bare = rigs.house.rig[0].model_copy(update={"video_cable_m": None, "stand": None})
    changed = rigs.with_house(rig=[bare, *rigs.house.rig[1:]])
    assert changed.house.rig == (bare, *rigs.house.rig[1:])
    assert "# wide" in (rigs.root / "house.toml").read_text("utf-8")


@pytest.mark.parametrize("order", [(1, 0), (1,), (0,)])
def test_rigs_that_change_places_or_go_stay_themselves(rigs: Project, order: tuple[int, ...]) -> None:
    wanted = tuple(rigs.house.rig[number] for number in order)
    assert rigs.with_house(rig=wanted).house.rig == wanted


def test_a_new_rig_comes_after_the_others_and_before_what_follows(rigs: Project) -> None:
    path = rigs.root / "house.toml"
    place = '[place]  # at home\nlatitude_deg = 50\nlongitude_deg = 8\ntime_zone = "Europe/Berlin"\n'
    path.write_text(RIGS + "\n" + place, encoding="utf-8")
    third = Rig(name="third", stand=Stand(x_m=3.0, height_m=1.0, distance_m=12.0))
    changed = open_project(rigs.root).with_house(rig=[*rigs.house.rig, third])
    assert changed.house.rig == (*rigs.house.rig, third)
    assert changed.house.place is not None
    text = path.read_text("utf-8")
    assert [line for line in differing(RIGS + "\n" + place, text) if line.startswith("-")] == []
    assert "player_size" not in text


def test_the_stand_becomes_a_pinhole_where_it_stands() -> None:
    device = a_house().rig[0].device()
    assert device is not None
    assert device.position_m.tolist() == [5.0, 1.0, 9.0]
    assert Rig().device() is None
