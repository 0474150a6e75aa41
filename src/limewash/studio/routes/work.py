"""Jobs, the map, and the hand on the house."""

from __future__ import annotations

from fastapi import APIRouter

from limewash.studio.hand import Act, HandState
from limewash.studio.jobs import JobState
from limewash.studio.routes.common import TheDesk
from limewash.studio.wire import Fault

router = APIRouter(prefix="/api", responses={422: {"model": Fault}})


@router.get("/jobs", tags=["jobs"])
def read_jobs(desk: TheDesk) -> list[JobState]:
    """All jobs, oldest first."""
    return desk.jobs.states()


@router.delete("/jobs/{number}", tags=["jobs"])
def stop_job(number: int, desk: TheDesk) -> JobState:
    """Break a job off; it leaves nothing half-done behind."""
    return desk.jobs.stop(number)


@router.post("/map/make", tags=["map"])
def make_map(desk: TheDesk) -> JobState:
    """Carry the tracing to the projector exactly and write the map."""
    desk.save()
    return desk.jobs.start("map", "Making the map", {"project": str(desk.project.root)})


@router.get("/hand", tags=["hand"])
def read_hand(desk: TheDesk) -> HandState:
    """The cross-hair on the house."""
    return desk.hand.state()


@router.post("/hand", tags=["hand"])
def move_hand(act: Act, desk: TheDesk) -> HandState:
    """Move it, draw with it; quicker through the live channel."""
    return desk.hand.act(act)
