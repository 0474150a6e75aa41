"""Long work: in a process of its own, told, stopped, failed in words, waiting for its turn."""

import threading
import time
from pathlib import Path
from typing import Any

import pytest
from front import make_project
from waiting import until

from limewash.errors import InputError
from limewash.media.reading import ClipReader
from limewash.studio.desk import Desk
from limewash.studio.jobs import Jobs, JobState
from limewash.studio.notices import Message, Notices


@pytest.fixture
def told() -> list[Message]:
    return []


@pytest.fixture
def jobs(told: list[Message]):
    notices = Notices()
    notices.listen(told.append)
    made = Jobs(notices)
    yield made
    made.close()


def ended(jobs: Jobs, number: int, *, within_s: float = 60.0) -> JobState:
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        state = next(job for job in jobs.states() if job.id == number)
        if state.state in ("done", "failed", "stopped"):
            time.sleep(0.2)  # for `ended` and what it tidies
            return state
        time.sleep(0.05)
    raise AssertionError("the job did not end")


def test_a_job_tells_how_far_it_is_and_gives_its_result(jobs: Jobs, told: list[Message], tmp_path: Path) -> None:
    results: list[dict[str, object]] = []
    out = tmp_path / "pattern.mp4"
    begun = jobs.start("pattern", "Pattern", {"size": [320, 240], "rate": 30, "out": str(out)}, done=results.append)
    state = ended(jobs, begun.id)
    assert state.state == "done"
    with ClipReader(out) as clip:
        assert clip.info.size == (320, 240)
    assert results == [state.result]
    shares = [message["job"]["share"] for message in told]
    assert shares == sorted(shares) and len(shares) > 3


def test_what_the_person_can_put_right_is_told_and_the_upload_goes(jobs: Jobs, tmp_path: Path) -> None:
    root = make_project(tmp_path / "house").root
    clip = root / "scans" / "incoming-1.mp4"
    clip.write_bytes(b"this is no film")
    begun = jobs.start("read", "Read", {"project": str(root), "clip": str(clip)}, ended=clip.unlink)
    state = ended(jobs, begun.id)
    assert state.state == "failed"
    assert "cannot be read as a film" in state.message
    assert not clip.exists()


def test_a_stopped_job_leaves_nothing_and_lets_the_next_one_go(jobs: Jobs, tmp_path: Path) -> None:
    out = tmp_path / "large.mp4"
    first = jobs.start("pattern", "Large", {"size": [1920, 1080], "rate": 60, "out": str(out)})
    second = jobs.start("pattern", "Small", {"size": [320, 240], "rate": 30, "out": str(tmp_path / "small.mp4")})
    until(lambda: next(j for j in jobs.states() if j.id == first.id).share >= 0.01, "a part of it", seconds=30.0)
    assert next(j for j in jobs.states() if j.id == second.id).state == "waiting"
    assert jobs.stop(first.id).state == "stopped"
    assert ended(jobs, second.id).state == "done"
    assert not out.exists()
    assert not list(tmp_path.glob(".large*")), "no part of it is left"


def test_a_job_that_waits_can_be_stopped_too(jobs: Jobs, tmp_path: Path) -> None:
    jobs._turn.acquire()
    gone = threading.Event()
    begun = jobs.start("pattern", "x", {"size": [320, 240], "rate": 30, "out": str(tmp_path / "x.mp4")}, ended=gone.set)
    jobs.stop(begun.id)
    jobs._turn.release()
    assert gone.wait(5.0)
    assert not (tmp_path / "x.mp4").exists()


def test_there_is_no_such_job(jobs: Jobs) -> None:
    with pytest.raises(InputError, match="no job 99"):
        jobs.stop(99)


def test_a_job_whose_result_cannot_be_taken_has_failed(jobs: Jobs, tmp_path: Path) -> None:
    def done(_: object) -> None:
        raise InputError("there is no scan of that name")

    pattern = {"size": [320, 240], "rate": 30, "out": str(tmp_path / "pattern.mp4")}
    state = ended(jobs, jobs.start("pattern", "Pattern", pattern, done=done).id)
    assert (state.state, state.message) == ("failed", "there is no scan of that name")


def test_a_job_that_ended_before_the_list_of_jobs_comes_is_not_shown(
    window: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = JobState(id=7, kind="map", title="Map", state="running", share=0.4, doing="", message="", result={})
    monkeypatch.setattr(desk.jobs, "states", lambda: [job])
    one = window()

    def late(route: Any) -> None:
        answer = route.fetch()
        over = job.model_copy(update={"state": "done", "share": 1.0})
        desk.notices.tell({"type": "job", "job": over.model_dump(mode="json")})
        one.page.wait_for_timeout(300)
        route.fulfill(response=answer)

    one.page.route("**/api/jobs", late)
    with one.page.expect_response("**/api/jobs"):
        one.open("/show")
    one.page.wait_for_selector("body[data-ready=true]")
    one.page.wait_for_timeout(300)
    assert one.page.locator(".job").count() == 0
