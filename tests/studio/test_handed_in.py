"""Clips and films that are handed in: they belong to the project that they were meant for, and do not stay for ever."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from front import make_project
from waiting import until

from limewash.studio.desk import Desk
from limewash.studio.jobs import JobState


@pytest.fixture
def started(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What the jobs would have been started with."""
    jobs: list[dict[str, Any]] = []

    def note(kind: str, title: str, arguments: dict[str, Any], **when: Callable[..., None]) -> JobState:
        jobs.append({"arguments": arguments, **when})
        return desk.jobs.nothing_to_do(kind, title, {})

    monkeypatch.setattr(desk.jobs, "start", note)
    return jobs


def test_a_clip_belongs_to_the_project_that_was_open_when_it_was_handed_in(
    client: TestClient, desk: Desk, root: Path, tmp_path: Path, started: list[dict[str, Any]]
) -> None:
    other = make_project(tmp_path / "other").root
    shutil.copytree(other / "scans" / "scan-1", other / "scans" / "scan-2")

    def clip() -> Iterator[bytes]:
        yield b"first half"
        desk.open(other)
        yield b"second half"

    assert client.put("/api/scan/clip?name=a.mp4", content=clip()).status_code == 200
    (job,) = started
    assert job["arguments"]["project"] == str(root)
    assert Path(job["arguments"]["clip"]).parent == root / "scans"
    desk.use_scan("scan-1")
    job["done"]({"scan": "scan-2", "warnings": 0})  # a scan of the first project, not the one of that name here
    assert desk.project.scan_folder().name == "scan-1"


def test_a_returned_film_that_cannot_be_used_does_not_stay(client: TestClient, desk: Desk, root: Path) -> None:
    (root / "shows" / "evening").mkdir(parents=True)
    answer = client.put("/api/shows/evening/returned?file=a.mp4", content=b"this is no film")
    assert answer.status_code == 200
    until(lambda: desk.jobs.states()[-1].state == "failed", "refused", seconds=40.0)
    until(lambda: not list((root / "shows" / ".incoming").iterdir()), "cleared away")
