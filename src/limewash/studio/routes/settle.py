"""Settling the map on the house by check points."""

from __future__ import annotations

from typing import Annotated

import cv2
from fastapi import APIRouter, Response
from pydantic import Field

from limewash.studio.routes.common import PICTURE, TheDesk
from limewash.studio.settle_desk import Chosen, ChosenMethod, MovedCheckPoint, NewCheckPoint, SettleState
from limewash.studio.wire import Fault, Seen

router = APIRouter(prefix="/api/settle", tags=["settle"], responses={409: {"model": Fault}, 422: {"model": Fault}})

Name = Annotated[str, Field(min_length=1, max_length=60)]


@router.get("")
def read_settle(desk: TheDesk) -> SettleState:
    """All check points, the map before and as it lands now."""
    return desk.settle.state()


@router.post("/points")
def add_point(new: NewCheckPoint, desk: TheDesk) -> SettleState:
    """A new check point."""
    return desk.settle.add(new)


@router.put("/points/{name}")
def change_point(name: Name, change: MovedCheckPoint, desk: TheDesk) -> SettleState:
    """Move or name a check point."""
    return desk.settle.change(name, change)


@router.delete("/points/{name}")
def remove_point(name: Name, revision: int, desk: TheDesk) -> SettleState:
    """Take a check point out."""
    return desk.settle.remove(name, revision)


@router.put("/chosen")
def choose_point(chosen: Chosen, desk: TheDesk) -> SettleState:
    """Which check point keys and phone move."""
    return desk.settle.choose(chosen.name)


@router.put("/method")
def choose_method(chosen: ChosenMethod, desk: TheDesk) -> SettleState:
    """How to settle."""
    return desk.settle.set_method(chosen.revision, chosen.method)


@router.post("/undo")
def undo_settle(seen: Seen, desk: TheDesk) -> SettleState:
    """Take back the last step."""
    return desk.settle.travel(seen.revision, "undo")


@router.post("/redo")
def redo_settle(seen: Seen, desk: TheDesk) -> SettleState:
    """Do the last undone step again."""
    return desk.settle.travel(seen.revision, "redo")


@router.post("/keep")
def keep_settled(desk: TheDesk) -> SettleState:
    """Make the settled scan beside the scan that was filmed, and use it."""
    desk.keep_settled()
    return desk.settle.state()


@router.post("/let-go")
def let_go(desk: TheDesk) -> SettleState:
    """Use the scan as it was filmed again; the check points stay."""
    desk.use_scan(desk.settle.state().scan)
    return desk.settle.state()


@router.get("/picture", response_class=Response, responses=PICTURE)
def settle_picture(desk: TheDesk) -> Response:
    """Before (dim) and after (bright), in projector pixels."""
    _, data = cv2.imencode(".png", desk.settle.picture()[..., ::-1])
    return Response(data.tobytes(), media_type="image/png", headers={"cache-control": "no-cache"})
