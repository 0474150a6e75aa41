"""The web app around a desk."""

from __future__ import annotations

import logging
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles

from limewash import __version__
from limewash.errors import InputError
from limewash.studio import live, trace_help
from limewash.studio.desk import Desk
from limewash.studio.document import ConflictError
from limewash.studio.guard import Guard
from limewash.studio.phone_server import PhoneServer
from limewash.studio.routes import (
    house,
    pages,
    phone,
    photo,
    project,
    projector,
    projects,
    scans,
    settle,
    shows,
    site,
    tracing,
    work,
)

LOCAL_HOSTS = ("127.0.0.1", "localhost")

ROUTERS = (
    pages.router,
    project.router,
    projects.router,
    house.router,
    site.router,
    scans.router,
    photo.router,
    tracing.router,
    tracing.map_router,
    trace_help.router,
    settle.router,
    shows.router,
    shows.packet_router,
    projector.router,
    phone.router,
    work.router,
    live.router,
)

LIMITS = (
    (r"/api/scan/clip", 16 * 2**30),
    (r"/api/shows/[^/]+/returned", 16 * 2**30),
    (r"/api/trace/(daylight|drawing)", 64 * 2**20),
)
"""Bodies that may exceed the usual 4 MiB: clips and films by the hour, photos, drawings with a photo. [bytes]"""

log = logging.getLogger(__name__)


def create_app(desk: Desk) -> FastAPI:
    """The studio for one desk, for 127.0.0.1 only."""
    app = FastAPI(title="Limewash studio", version=__version__, docs_url=None, redoc_url=None)
    app.state.desk = desk
    app.state.phone = PhoneServer(desk)
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=pages.STATIC), name="static")
    app.add_exception_handler(ConflictError, _moved_on)
    app.add_exception_handler(InputError, _put_right)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(Exception, _failed)
    app.add_middleware(Guard, hosts=LOCAL_HOSTS, limits=LIMITS)
    return app


def _put_right(_request: Request, error: Exception) -> JSONResponse:
    faults = getattr(error, "faults", [])
    return JSONResponse(
        {"where": getattr(error, "where", ""), "message": str(error), "faults": faults}, status_code=422
    )


def _moved_on(request: Request, error: Exception) -> JSONResponse:
    if request.url.path.startswith(tracing.router.prefix):
        return JSONResponse(tracing.conflict_answer(request.app.state.desk, str(error)), status_code=409)
    told = {name: getattr(error, name) for name in ("clashes", "revision") if hasattr(error, name)}
    return JSONResponse({"where": "", "message": str(error), **told}, status_code=409)


def _not_understood(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    first: dict[str, Any] = dict(error.errors()[0])
    where = ".".join(str(part) for part in first["loc"][1:])
    message = str(first["msg"]).removeprefix("Value error, ")
    return JSONResponse({"where": where, "message": message}, status_code=422)


def _failed(request: Request, error: Exception) -> JSONResponse:
    log.error("%s %s failed", request.method, request.url.path, exc_info=error)
    return JSONResponse({"where": "", "message": "that failed inside Limewash; its window has the details"}, 500)
