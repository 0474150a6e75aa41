"""The photo in tiles."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Response

from limewash.errors import InputError
from limewash.studio.routes.common import TheDesk
from limewash.studio.tiles import Pyramid, pyramid_of
from limewash.studio.wire import Fault, Photos

router = APIRouter(prefix="/api/photo", tags=["photo"], responses={422: {"model": Fault}})

Name = Literal["photo", "daylight"]
Place = Annotated[int, Path(ge=0, le=1000)]


@router.get("/info")
def photo_info(desk: TheDesk) -> Photos:
    """Which pictures there are, and how they are cut into tiles."""
    ground = desk.ground
    return Photos(scan=ground.name, photos=[pyramid_of(path).info(name) for name, path in ground.photos().items()])


@router.get("/tiles/{level}/{column}/{row}", response_class=Response, responses={200: {"content": {"image/jpeg": {}}}})
def photo_tile(
    desk: TheDesk, level: Place, column: Place, row: Place, photo: Name = "photo", v: str | None = None
) -> Response:
    """One tile as JPEG; with `?v=` of the present version the browser may keep it for good."""
    pyramid = _pyramid(desk, photo)
    kept = "private, max-age=31536000, immutable" if v == pyramid.version else "no-cache"
    return Response(pyramid.tile(level, column, row), media_type="image/jpeg", headers={"cache-control": kept})


def _pyramid(desk: TheDesk, name: Name) -> Pyramid:
    path = desk.ground.photos().get(name)
    if path is None:
        raise InputError(f"this scan has no {name} picture")
    return pyramid_of(path)
