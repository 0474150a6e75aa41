"""The project folder: making, opening, finding scans, and never losing what was there."""

import errno
import os
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from limewash.errors import InputError
from limewash.files import replacing, write_bytes
from limewash.project.folder import Project, checked_name, create_project, open_project
from limewash.project.history import keep_copy
from limewash.project.models import House


@pytest.fixture
def project(tmp_path: Path) -> Project:
    return create_project(tmp_path / "house", House(name="Test house"))


def a_scan(project: Project, name: str) -> None:
    folder = project.root / "scans" / name
    folder.mkdir()
    (folder / "correspondence.npz").write_bytes(b"x")


def test_a_folder_with_something_in_it_is_never_made_into_a_project(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("keep me")
    with pytest.raises(InputError, match="is not empty"):
        create_project(tmp_path, House(name="Test house"))
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_a_project_is_not_made_twice(project: Project) -> None:
    with pytest.raises(InputError, match="already is a project"):
        create_project(project.root, House(name="Other"))


def test_opening_what_is_no_project_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="limewash new"):
        open_project(tmp_path)


def test_the_newest_scan_is_used_unless_another_is_named(project: Project) -> None:
    with pytest.raises(InputError, match="has no scan yet"):
        project.scan_folder()
    for name in ("scan-10", "scan-2"):
        a_scan(project, name)
    assert project.scans() == ["scan-2", "scan-10"]
    assert project.scan_folder().name == "scan-10"
    assert project.with_house(scan="scan-2").scan_folder().name == "scan-2"
    with pytest.raises(InputError, match="did you mean 'scan-10'"):
        project.scan_folder("scan-11")


def test_what_is_half_written_is_no_scan_and_the_next_one_is_the_newest(project: Project) -> None:
    for name in ("scan-1", "scan-2", ".scan-3.0a1b2c3d.part"):
        a_scan(project, name)
    assert project.scans() == ["scan-1", "scan-2"]
    shutil.rmtree(project.root / "scans" / "scan-1")
    assert project.next_scan().name == "scan-3", "a free number below would not be the newest"


def test_a_project_that_may_not_be_written_is_told_before_a_clip_is_read(
    project: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file system is played: nothing is forbidden to an administrator, who may run this."""
    scans = project.root / "scans"
    project.check_takes_scans()
    assert list(scans.iterdir()) == []

    def forbidden(path: Path, **_: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "touch", forbidden)
        with pytest.raises(InputError, match=r"scans: Permission denied; choose a folder that you may write to"):
            project.check_takes_scans()
    a_scan(project, "scan-1")
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != scans)
    with pytest.raises(InputError, match="may not be read"):
        project.scans()


def test_a_replaced_file_is_kept_in_the_history(project: Project) -> None:
    tracing = project.tracing_file
    project.write(tracing, b"first")
    project.write(tracing, b"first")
    project.write(tracing, b"second")
    copies = list((project.root / "history").glob("tracing.*.svg"))
    assert tracing.read_bytes() == b"second"
    assert [copy.read_bytes() for copy in copies] == [b"first"]


def test_two_copies_within_one_second_do_not_meet(project: Project) -> None:
    now = datetime(2026, 12, 1, 18, 0, 0)
    project.tracing_file.write_bytes(b"first")
    one = keep_copy(project.root, project.tracing_file, now=now)
    project.tracing_file.write_bytes(b"second")
    two = keep_copy(project.root, project.tracing_file, now=now)
    assert one is not None
    assert two is not None
    assert (one.read_bytes(), two.read_bytes()) == (b"first", b"second")


def test_ctrl_c_in_the_middle_of_writing_leaves_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "map.png"
    path.write_bytes(b"old")

    def interrupted() -> None:
        with replacing(path) as part:
            part.write_bytes(b"ne")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["map.png"]


def test_a_full_disk_is_told_and_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "map.png"
    path.write_bytes(b"old")

    def full(_fd: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"map\.png.*free some space"):
        write_bytes(path, b"new")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["map.png"]


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="check that its folder exists"):
        write_bytes(tmp_path / "nowhere" / "map.png", b"x")


@pytest.mark.parametrize("name", ["../up", "a/b", "", ".hidden", "x" * 61, "trailing."])
def test_names_that_leave_the_folder_are_refused(name: str) -> None:
    with pytest.raises(InputError, match="show name must be"):
        checked_name(name, what="show")
