"""The phone link, from the desk's side."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from limewash.errors import InputError
from limewash.studio.phone_link import PhoneState, qr_svg
from limewash.studio.phone_server import PhoneServer
from limewash.studio.wire import Fault

router = APIRouter(prefix="/api/phone", tags=["phone"], responses={422: {"model": Fault}})


@router.get("")
def read_phone(request: Request) -> PhoneState:
    """Whether the link is open, and its code."""
    return _server(request).link.state()


@router.post("/open")
def open_phone(request: Request) -> PhoneState:
    """Open the link on the local network."""
    return _server(request).open()


@router.post("/close")
def close_phone(request: Request) -> PhoneState:
    """Close it."""
    return _server(request).close()


@router.get("/qr", response_class=Response, responses={200: {"content": {"image/svg+xml": {}}}})
def phone_qr(request: Request) -> Response:
    """The address with its code, to be photographed by the phone."""
    state = _server(request).link.state()
    if not state.open:
        raise InputError("the phone link is closed")
    return Response(qr_svg(state.address), media_type="image/svg+xml", headers={"cache-control": "no-store"})


def _server(request: Request) -> PhoneServer:
    server: PhoneServer = request.app.state.phone
    return server
