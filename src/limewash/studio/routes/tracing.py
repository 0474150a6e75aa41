"""The tracing: read, change, drag, undo."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from limewash.errors import InputError
from limewash.facade.svg import tracing_svg
from limewash.studio.desk import Desk
from limewash.studio.routes.common import TheDesk
from limewash.studio.wire import (
    Change,
    Drag,
    Fault,
    Made,
    MapPreview,
    OnePath,
    PathId,
    Seen,
    TracingConflict,
    TracingState,
)

MOVED_ON: dict[int | str, dict[str, Any]] = {
    409: {"model": TracingConflict, "description": "Changed in another window since `revision`; nothing was changed."},
    422: {"model": Fault, "description": "The person can put it right."},
}

router = APIRouter(prefix="/api/tracing", tags=["tracing"], responses=MOVED_ON)


@router.get("")
def read_tracing(desk: TheDesk) -> TracingState:
    """The whole tracing."""
    return desk.tracing.state()


@router.post("/change")
def change_tracing(change: Change, desk: TheDesk) -> TracingState:
    """Put paths in and take paths out together: one step for undo."""
    return desk.tracing.change(change)


@router.post("/paths")
def add_path(new: OnePath, desk: TheDesk) -> Made:
    """Put in a new path; if its id is taken it gets a free one."""
    path_id, state = desk.tracing.add(new.path, new.what)
    return Made.model_construct(id=path_id, tracing=state)


@router.put("/paths/{path_id:path}")
def replace_path(path_id: PathId, one: OnePath, desk: TheDesk) -> TracingState:
    """Replace one path; refused with 409 when it was changed since `revision`."""
    path = one.path.model_copy(update={"id": path_id})
    return desk.tracing.change(Change(revision=one.revision, put=[path], what=one.what))


@router.delete("/paths/{path_id:path}")
def remove_path(path_id: PathId, revision: int, desk: TheDesk) -> TracingState:
    """Take one path out."""
    return desk.tracing.change(Change(revision=revision, remove=[path_id]))


@router.put("/drag")
def drag_path(drag: Drag, desk: TheDesk) -> None:
    """Show a path as it is being dragged; quicker through the live channel."""
    desk.tracing.drag(drag)


@router.delete("/drag")
def drop_drag(desk: TheDesk) -> None:
    """Let go without change: everything goes back to where it was."""
    desk.tracing.drop_drag()


@router.post("/undo")
def undo(seen: Seen, desk: TheDesk) -> TracingState:
    """Take back the last step."""
    return desk.tracing.undo(seen.revision)


@router.post("/redo")
def redo(seen: Seen, desk: TheDesk) -> TracingState:
    """Do the last undone step again."""
    return desk.tracing.redo(seen.revision)


@router.get("/file", response_class=Response, responses={200: {"content": {"image/svg+xml": {}}}})
def tracing_file(desk: TheDesk) -> Response:
    """The tracing as SVG, for any vector editor."""
    text = tracing_svg(desk.tracing.shown, "photo.png")
    return Response(
        text, media_type="image/svg+xml", headers={"content-disposition": "attachment; filename=tracing.svg"}
    )


map_router = APIRouter(prefix="/api/map", tags=["map"], responses={422: {"model": Fault}})


@map_router.get("/preview")
def map_preview(desk: TheDesk) -> MapPreview:
    """The tracing in projector pixels, for the eye."""
    return desk.tracing.preview()


def conflict_answer(desk: Desk, message: str) -> dict[str, Any]:
    """What a page is told when it is behind: what happened, and the present state."""
    try:
        state = desk.tracing.state().model_dump(mode="json")
    except InputError:
        state = None
    return {"where": "", "message": message, "tracing": state}
