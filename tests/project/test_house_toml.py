"""The house file: what is allowed, how faults are told, and that comments survive."""

from pathlib import Path

import pytest

from limewash.errors import InputError
from limewash.project.folder import create_project, open_project
from limewash.project.models import Facade, House, MeasuredPoint, Place, Rig, Stand


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


def test_the_stand_becomes_a_pinhole_where_it_stands() -> None:
    device = a_house().rig[0].device()
    assert device is not None
    assert device.position_m.tolist() == [5.0, 1.0, 9.0]
    assert Rig().device() is None
