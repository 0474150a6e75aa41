"""Shows: score, time line, stills, films, and the packet for an outside artist."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import cv2
from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import FileResponse
from pydantic import Field

from limewash.errors import InputError
from limewash.studio.jobs import JobState
from limewash.studio.routes.common import PICTURE, TheDesk
from limewash.studio.routes.uploads import received
from limewash.studio.show_files import ScoreState, ShowEntry, shows_of, street_still
from limewash.studio.wire import Fault, Wire

router = APIRouter(prefix="/api/shows", tags=["shows"], responses={409: {"model": Fault}, 422: {"model": Fault}})
packet_router = APIRouter(prefix="/api/packet", tags=["packet"], responses={422: {"model": Fault}})

FILMS = (".mp4", ".mov", ".m4v", ".mkv")
ShowName = Annotated[str, Field(min_length=1, max_length=60)]
FilmName = Annotated[str, Query(min_length=1, max_length=200)]
VIDEO: dict[int | str, dict[str, Any]] = {200: {"content": {"video/mp4": {}}}}
ZIP: dict[int | str, dict[str, Any]] = {200: {"content": {"application/zip": {}}}}


class ScoreSeen(Wire):
    """What the page was told last."""

    seen: Annotated[str, Field(max_length=40)]


class ScoreText(ScoreSeen):
    """A score as typed."""

    text: Annotated[str, Field(max_length=500_000)]


class Accepted(Wire):
    """A film that warned, and is wanted anyway."""

    film: Annotated[str, Field(pattern=r"^incoming-[0-9a-f]{12}\.[a-z0-9]{2,4}$")]


@router.get("")
def read_shows(desk: TheDesk) -> list[ShowEntry]:
    """All shows of the project."""
    return shows_of(desk.project)


@router.post("/{name}")
def begin_show(name: ShowName, desk: TheDesk) -> ScoreState:
    """Begin a show with a copy of the bundled score."""
    from limewash.show.folder import start_show

    start_show(desk.project, name)
    return desk.score(name).state()


@router.get("/{name}/score")
def read_score(name: ShowName, desk: TheDesk) -> ScoreState:
    """The score's text and time line."""
    return desk.score(name).state()


@router.put("/{name}/score")
def replace_score(name: ShowName, score: ScoreText, desk: TheDesk) -> ScoreState:
    """Replace the score's text, when it is one."""
    return desk.score(name).write(score.text, score.seen)


@router.post("/{name}/score/undo")
def undo_score(name: ShowName, seen: ScoreSeen, desk: TheDesk) -> ScoreState:
    """Take back the last step."""
    return desk.score(name).travel(seen.seen, "undo")


@router.post("/{name}/score/redo")
def redo_score(name: ShowName, seen: ScoreSeen, desk: TheDesk) -> ScoreState:
    """Do the last undone step again."""
    return desk.score(name).travel(seen.seen, "redo")


@router.get("/{name}/still", response_class=Response, responses=PICTURE)
def still(
    name: ShowName, desk: TheDesk, at: Annotated[float, Query(ge=0, le=7200, allow_inf_nan=False)] = 0.0
) -> Response:
    """The show at a time, as seen from the street."""
    _, data = cv2.imencode(".jpg", street_still(desk.project, name, at)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
    return Response(data.tobytes(), media_type="image/jpeg", headers={"cache-control": "no-cache"})


@router.get("/{name}/film", response_class=FileResponse, responses=VIDEO)
def film(name: ShowName, desk: TheDesk) -> FileResponse:
    """The film that the projector plays."""
    path = desk.project.show_folder(name) / "show.mp4"
    if not path.is_file():
        raise InputError(f"the show {name!r} has no film yet; render it")
    return FileResponse(path, media_type="video/mp4", headers={"cache-control": "no-cache"})


@router.post("/{name}/render")
def render(name: ShowName, desk: TheDesk) -> JobState:
    """Render the film."""
    desk.project.show_folder(name)
    return desk.jobs.start("render", f"Rendering {name}", {"project": str(desk.project.root), "name": name})


@router.put("/{name}/returned")
async def take_returned(name: ShowName, file: FilmName, request: Request, desk: TheDesk) -> JobState:
    """Take a film from outside (the body is the file): checked, and put in place when nothing warns."""
    desk.project.show_folder(name)
    root = desk.project.root  # another project may be opened while the film comes
    path = await received(request, _incoming(root), file, suffixes=FILMS)
    return _check_film(desk, root, name, path, anyway=False)


@router.post("/{name}/returned/anyway")
def take_anyway(name: ShowName, accepted: Accepted, desk: TheDesk) -> JobState:
    """Put a film in place although something warned."""
    root = desk.project.root
    path = _incoming(root) / accepted.film
    if not path.is_file():
        raise InputError("that film is not here any more; choose it again")
    return _check_film(desk, root, name, path, anyway=True)


@packet_router.post("")
def make_packet(desk: TheDesk) -> JobState:
    """Pack everything that an outside artist needs."""
    arguments = {"project": str(desk.project.root), "out": str(_packet(desk))}
    return desk.jobs.start("packet", "Packing", arguments)


@packet_router.get("/file", response_class=FileResponse, responses=ZIP)
def packet_file(desk: TheDesk) -> FileResponse:
    """The packet."""
    path = _packet(desk)
    if not path.is_file():
        raise InputError("the packet has not been made yet")
    return FileResponse(path, media_type="application/zip", filename=path.name)


def _check_film(desk: TheDesk, root: Path, name: str, path: Path, *, anyway: bool) -> JobState:
    waits = False  # for the person to say that it is wanted anyway

    def done(result: dict[str, Any]) -> None:
        nonlocal waits
        waits = not result["taken"]

    def ended() -> None:
        if not waits:
            path.unlink(missing_ok=True)

    arguments = {"project": str(root), "name": name, "film": str(path), "anyway": anyway}
    return desk.jobs.start("film", f"Checking the film for {name}", arguments, done=done, ended=ended)


def _incoming(root: Path) -> Path:
    return root / "shows" / ".incoming"


def _packet(desk: TheDesk) -> Path:
    return desk.project.root / "packet.zip"
