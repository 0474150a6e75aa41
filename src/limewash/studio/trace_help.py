"""Help for drawing: settling on edges, live wire, proposals, the wall, daylight, drawings from elsewhere."""

from __future__ import annotations

import threading
from functools import lru_cache
from pathlib import Path
from typing import Annotated

import numpy as np
from anyio import to_thread
from fastapi import APIRouter, Query, Request
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.align import align, laid_under
from limewash.facade.livewire import LiveWire, smoothed
from limewash.facade.propose import Proposal, in_words, propose
from limewash.facade.svg import import_svg
from limewash.facade.tracing import Kind, Traced
from limewash.facade.upright import make_upright
from limewash.media.images import read_image, write_image
from limewash.studio.desk import Desk
from limewash.studio.edge_settling import STOPS, PhotoName, Settled, Ticket, ToSettle, settled_on
from limewash.studio.ground import BY_EYE, Ground
from limewash.studio.routes.common import TheDesk
from limewash.studio.routes.uploads import received
from limewash.studio.told_wall import ToldWall, read_told, write_told
from limewash.studio.wire import Fault, Point, Segment, TracedPath, TracingState, Wire, from_traced

Picture = NDArray[np.uint8]

router = APIRouter(prefix="/api/trace", tags=["trace"], responses={422: {"model": Fault}})


class WireEnds(Wire):
    """Where a live wire was begun, and where it shall reach."""

    start: Point
    to: Point
    photo: PhotoName = "photo"


class Found(Wire):
    """Lines and curves along edges, from the start to the pointer; empty when they are one place."""

    segments: list[Segment]


class Proposed(Wire):
    """A path that could be traced, and how sure it is."""

    path: TracedPath
    confidence: float


class Proposals(Wire):
    """All that was found, also in words: "7 windows, 1 door"."""

    words: str
    proposals: list[Proposed]


class MeasuredSpot(Wire):
    """A point of the wall known in metres and in photo pixels."""

    what: str
    wall_m: Point
    photo_px: Point


class WallView(Wire):
    """How the wall lies in the photo: measured points, and where its level and plumb lines vanish, as (x, y, w)."""

    measured: list[MeasuredSpot]
    level: tuple[float, float, float]
    plumb: tuple[float, float, float]
    by_eye: bool
    """Whether the photo is the projector's own picture: then there is nothing to settle on."""
    told: ToldWall
    """What the person said while drawing; what was measured with a tape says more."""


class Laid(Wire):
    """How well a daylight photo lies under the scan's photo."""

    residual_px: float
    p95_px: float
    matches: int
    share: float


@router.post("/settle")
def settle(wanted: ToSettle, desk: TheDesk) -> Settled:
    """Move paths onto the edges that they were meant for; how far it is goes through the live channel."""
    return settled_on(_photo(desk.ground, wanted.photo), wanted, desk.ground.photo_size, desk.notices)


@router.delete("/settle/{ticket}")
def stop_settling(ticket: Ticket) -> None:
    """Leave off a settling that is under way: it is then refused, and nothing has moved."""
    STOPS.stop(ticket)


@router.post("/wire")
def wire(ends: WireEnds, desk: TheDesk) -> Found:
    """Follow edges from a start to a place near it."""
    with _WIRING:
        chain = _wire(_Key(desk.ground.folder, ends.photo), ends.start).to(ends.to)
    if len(chain) < 2:
        return Found(segments=[])
    found = from_traced(Traced("wire", Kind.OTHER, smoothed(chain)))
    return Found.model_construct(segments=found.segments)


@router.get("/proposals")
def proposals(desk: TheDesk) -> Proposals:
    """Windows, doors and roof lines found on the photo; takes some seconds the first time."""
    return _proposals(desk.ground)


@router.get("/wall")
def wall(desk: TheDesk) -> WallView:
    """Measured points of the wall, and its directions as the photo itself tells them."""
    facade = desk.project.house.facade
    by_eye = desk.ground.name == BY_EYE
    level, plumb = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)) if by_eye else _directions(_Key(desk.ground.folder, "photo"))
    spots = () if facade is None or by_eye else facade.measured
    measured = [MeasuredSpot(what=m.what, wall_m=m.wall_m, photo_px=m.photo_px) for m in spots]
    return WallView(measured=measured, level=level, plumb=plumb, by_eye=by_eye, told=read_told(desk.ground.folder))


@router.put("/wall")
def tell_wall(told: ToldWall, desk: TheDesk) -> ToldWall:
    """Keep the wall's directions and one known length, so that metres and mirror images are there again next time."""
    write_told(desk.ground.folder, told)
    desk.notices.tell({"type": "wall", "told": told.model_dump(mode="json")})
    return told


@router.put("/daylight")
async def lay_daylight(request: Request, desk: TheDesk, name: Annotated[str, Query(max_length=200)]) -> Laid:
    """Take a daylight photo (the body), find how it lies under the scan's photo, and keep it so."""
    ground = desk.ground
    incoming = await received(request, ground.folder, name, suffixes=(".jpg", ".jpeg", ".png"))
    try:
        return await to_thread.run_sync(_lay, desk, ground, incoming)
    finally:
        incoming.unlink(missing_ok=True)


@router.put("/drawing")
async def take_drawing(request: Request, desk: TheDesk, name: Annotated[str, Query(max_length=200)]) -> TracingState:
    """Take an SVG (the body) that was drawn over the photo in place of the tracing, as one step."""
    incoming = await received(request, desk.ground.folder, name, suffixes=(".svg",))
    try:
        tracing = await to_thread.run_sync(import_svg, incoming, desk.ground.photo_size)
    except InputError as error:
        raise InputError(str(error).replace(str(incoming), name)) from None
    finally:
        incoming.unlink(missing_ok=True)
    return desk.tracing.replace_all(tracing, f"take in {name[:60]}")


def _lay(desk: Desk, ground: Ground, incoming: Path) -> Laid:
    photo = _photo(ground, "photo")
    daylight = read_image(incoming)
    found = align(daylight, photo)
    write_image(ground.folder / "daylight.png", laid_under(daylight, found, ground.photo_size))
    desk.notices.tell({"type": "photo"})
    return Laid(residual_px=found.residual_px, p95_px=found.p95_px, matches=found.matches, share=found.share)


class _Key(tuple[Path, int, int]):
    """Names one state of a photo's file, so that what was learnt from it is forgotten when it changes."""

    def __new__(cls, folder: Path, photo: str) -> _Key:
        path = folder / f"{photo}.png"
        if not path.is_file():
            raise InputError(f"this scan has no {photo} picture")
        status = path.stat()
        return super().__new__(cls, (path, status.st_mtime_ns, status.st_size))


_WIRING = threading.Lock()
_LOOKING = threading.Lock()
_SEEN: dict[_Key, list[Proposal]] = {}


def _photo(ground: Ground, name: PhotoName) -> Picture:
    return _read(_Key(ground.folder, name))


@lru_cache(maxsize=2)
def _read(key: _Key) -> Picture:
    return read_image(key[0])


@lru_cache(maxsize=4)
def _wire(key: _Key, start: Point) -> LiveWire:
    return LiveWire(_read(key), start)


@lru_cache(maxsize=2)
def _directions(key: _Key) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    back = np.linalg.inv(make_upright(_read(key), None).to_upright)
    back /= np.abs(back).max()
    level, plumb = ((float(v[0]), float(v[1]), float(v[2])) for v in (back[:, 0], back[:, 1]))
    return level, plumb


def _proposals(ground: Ground) -> Proposals:
    if ground.name == BY_EYE:
        raise InputError("there is no photo of the house to look at: it is drawn by eye")
    found = _found(_Key(ground.folder, "photo"), ground)
    listed = [Proposed.model_construct(path=from_traced(p.traced), confidence=p.confidence) for p in found]
    return Proposals.model_construct(words=in_words(found), proposals=listed)


def _found(key: _Key, ground: Ground) -> list[Proposal]:
    with _LOOKING:
        if key not in _SEEN:
            _SEEN.clear()
            _SEEN[key] = propose(_read(key), ground.correspondence)
        return _SEEN[key]
