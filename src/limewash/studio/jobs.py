"""Long work in a process of its own: tells how far it is, can be stopped, never holds the pages up."""

from __future__ import annotations

import contextlib
import itertools
import json
import logging
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from limewash.errors import InputError, LimewashError
from limewash.studio.notices import Notices
from limewash.studio.wire import Wire

State = Literal["waiting", "running", "done", "failed", "stopped"]
Result = dict[str, Any]

KEPT = 30
"""Ended jobs that are still listed."""
_STOP_WITHIN_S = 5.0

log = logging.getLogger(__name__)


class JobState(Wire):
    """One job, ready to travel."""

    id: int
    kind: str
    title: str
    state: State
    share: float
    doing: str
    message: str
    """Why it failed, for the person."""
    result: Result


@dataclass
class Job:
    """One piece of work."""

    id: int
    kind: str
    title: str
    arguments: Result
    done: Callable[[Result], None]
    ended: Callable[[], None]
    state: State = "waiting"
    share: float = 0.0
    doing: str = ""
    message: str = ""
    result: Result = field(default_factory=dict)
    process: subprocess.Popen[str] | None = None

    def to_wire(self) -> JobState:
        return JobState(
            id=self.id, kind=self.kind, title=self.title, state=self.state, share=self.share, doing=self.doing,
            message=self.message, result=self.result,
        )  # fmt: skip


def _nothing(*_: object) -> None:
    pass


class Jobs:
    """The jobs of a desk: one runs, the others wait, because each may use the whole machine."""

    def __init__(self, notices: Notices) -> None:
        self._notices = notices
        self._jobs: dict[int, Job] = {}
        self._numbers = itertools.count(1)
        self._lock = threading.RLock()
        self._turn = threading.Lock()

    def start(
        self,
        kind: str,
        title: str,
        arguments: Result,
        *,
        done: Callable[[Result], None] = _nothing,
        ended: Callable[[], None] = _nothing,
    ) -> JobState:
        """Begin work, or let it wait for its turn.

        Parameters
        ----------
        kind : str
            Which function of `limewash.studio.work`.
        title : str
            For the person.
        arguments : dict
            Plain data for it.
        done : callable
            Called with its result when it has succeeded.
        ended : callable
            Called whenever it is over, however it ended.
        """
        with self._lock:
            job = Job(next(self._numbers), kind, title, arguments, done, ended)
            self._jobs[job.id] = job
            for old in [j.id for j in self._jobs.values() if j.state in ("done", "failed", "stopped")][:-KEPT]:
                del self._jobs[old]
        threading.Thread(target=self._run, args=(job,), name=f"job-{job.id}", daemon=True).start()
        self._tell(job)
        return job.to_wire()

    def nothing_to_do(self, kind: str, title: str, result: Result) -> JobState:
        """The answer when the work was done before."""
        return JobState(id=0, kind=kind, title=title, state="done", share=1.0, doing="", message="", result=result)

    def states(self) -> list[JobState]:
        """All jobs, oldest first."""
        with self._lock:
            return [job.to_wire() for job in self._jobs.values()]

    def stop(self, number: int) -> JobState:
        """Break a job off; it leaves nothing half-done behind. Raises InputError if there is no such job."""
        with self._lock:
            job = self._jobs.get(number)
            if job is None:
                raise InputError(f"there is no job {number}")
            if job.state not in ("waiting", "running"):
                return job.to_wire()
            job.state = "stopped"
            process = job.process
        if process is not None and process.stdin is not None:
            _ask_to_stop(process)
        self._tell(job)
        return job.to_wire()

    def close(self) -> None:
        """Stop everything."""
        for state in self.states():
            self.stop(state.id)

    def _run(self, job: Job) -> None:
        with self._turn:
            try:
                with self._lock:
                    if job.state != "waiting":
                        return
                    job.state = "running"
                    job.process = _worker()
                self._tell(job)
                self._follow(job, job.process)
            finally:
                job.ended()
                self._tell(job)

    def _follow(self, job: Job, process: subprocess.Popen[str]) -> None:
        assert process.stdin is not None and process.stdout is not None
        outcome: Result = {}
        try:
            process.stdin.write(json.dumps({"kind": job.kind, "arguments": job.arguments}) + "\n")
            process.stdin.flush()
            for line in process.stdout:
                message = json.loads(line)
                if "share" in message:
                    job.share, job.doing = float(message["share"]), str(message["doing"])
                    self._tell(job)
                else:
                    outcome = message
        except (OSError, ValueError):
            log.exception("job %s lost its worker", job.kind)
        finally:
            process.stdout.close()
            with contextlib.suppress(OSError):  # the worker is gone before it took its order in
                process.stdin.close()
            process.wait()
        with self._lock:
            if job.state == "stopped":
                return
            if "result" not in outcome:
                job.state = "failed"
                job.message = outcome.get(
                    "failed", "that ended before it was done; the studio's window has the details"
                )
                return
            job.result = outcome["result"]
        try:
            job.done(job.result)
        except LimewashError as error:
            job.state, job.message = "failed", str(error)
            return
        job.share, job.state = 1.0, "done"

    def _tell(self, job: Job) -> None:
        self._notices.tell({"type": "job", "job": job.to_wire().model_dump(mode="json")})


def _worker() -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "limewash.studio.worker"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        encoding="utf-8",
    )  # fmt: skip


def _ask_to_stop(process: subprocess.Popen[str]) -> None:
    """Closing its input asks; who does not listen for five seconds is ended."""

    def wait() -> None:
        try:
            process.wait(_STOP_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()

    assert process.stdin is not None
    with contextlib.suppress(OSError):
        process.stdin.close()
    threading.Thread(target=wait, daemon=True).start()
