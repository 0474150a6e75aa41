"""Which project is open, and how far it is."""

from __future__ import annotations

from fastapi import APIRouter

from limewash.studio.routes.common import TheDesk
from limewash.studio.standing import Standing, standing

router = APIRouter(prefix="/api/project", tags=["project"])


@router.get("")
def read_project(desk: TheDesk) -> Standing:
    """Where the project stands, stage by stage, and the next step."""
    return standing(desk.project) if desk.is_open else Standing(open=False)
