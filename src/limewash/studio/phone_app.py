"""The small app that phones reach: one page, its files, one channel. Nothing answers without a pass."""

from __future__ import annotations

import contextlib
import json
from typing import Annotated, Any

from fastapi import Cookie, FastAPI, Query, WebSocket, WebSocketDisconnect
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse, Response
from pydantic import Field, TypeAdapter, ValidationError

from limewash.errors import InputError, LimewashError
from limewash.studio.desk import Desk
from limewash.studio.guard import Guard
from limewash.studio.hand import Act
from limewash.studio.live import Outbox, refusal, send_all
from limewash.studio.notices import Message
from limewash.studio.phone_link import PhoneLink
from limewash.studio.routes.pages import STATIC
from limewash.studio.wire import Wire

PASS = "limewash_phone"
FILES = ("phone/page.js", "phone/page.css", "phone/pad.js", "live.js", "dom.js", "icon.svg")
"""All that a phone may load of the studio's files."""
_HEARD = ("hand", "settle", "projector", "refused")

Pass = Annotated[str | None, Cookie(alias=PASS)]
ACT: TypeAdapter[Any] = TypeAdapter(Act)


class Nudge(Wire):
    """Move the chosen check point. [px]"""

    dx: float
    dy: float
    hold: Annotated[str, Field(max_length=40)] = ""
    """Names one slide of the finger: all of it is one step for undo."""


def create_phone_app(desk: Desk, link: PhoneLink) -> FastAPI:
    """The app for phones at the link's address."""
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)

    @app.get("/")
    def enter(given: Pass = None, code: Annotated[str | None, Query(max_length=40)] = None) -> Response:
        if code is not None and not link.knows(given):
            try:
                given = link.let_in(code)
            except InputError:
                return _closed(403)
            answer = RedirectResponse("/", status_code=303)
            answer.set_cookie(PASS, given, httponly=True, samesite="strict", max_age=12 * 3600)
            return answer
        if not link.knows(given):
            return _closed(403)
        if code is not None:
            return RedirectResponse("/", status_code=303)
        return FileResponse(STATIC / "phone" / "page.html")

    @app.get("/static/{name:path}")
    def static(name: str, given: Pass = None) -> Response:
        if not link.knows(given):
            return _closed(403)
        if name not in FILES:
            return JSONResponse({"where": "", "message": "there is no such file"}, 404)
        return FileResponse(STATIC / name)

    @app.websocket("/live")
    async def live(socket: WebSocket) -> None:
        if not link.knows(socket.cookies.get(PASS)):
            await socket.close(1008)
            return
        await _serve(socket, desk, link)

    app.add_middleware(Guard, hosts=(link.host,), trusted=False)
    return app


async def _serve(socket: WebSocket, desk: Desk, link: PhoneLink) -> None:
    import asyncio

    await socket.accept()
    outbox = Outbox(asyncio.get_running_loop(), wanted=_HEARD)
    stop = desk.notices.listen(outbox.put)
    sending: asyncio.Task[None] | None = None
    given = socket.cookies.get(PASS)
    try:
        hello = await asyncio.to_thread(desk.hello)
        shown = {name: hello[name] for name in ("project", "projector", "hand", "settle")}
        await socket.send_text(json.dumps({"type": "hello", "client": "phone", **shown}))
        sending = asyncio.create_task(send_all(socket, outbox))
        while True:
            message = await socket.receive_json()
            if not link.knows(given):
                break
            await asyncio.to_thread(_do, desk, message, outbox)
    except (WebSocketDisconnect, RuntimeError, ValueError):
        pass
    finally:
        stop()
        if sending is not None:
            sending.cancel()
        with contextlib.suppress(RuntimeError):
            await socket.close()


def _do(desk: Desk, message: Any, outbox: Outbox) -> None:
    """All that a phone may ask for: the hand, check points, blanking, undo."""
    try:
        match message.get("type"):
            case "hand":
                desk.hand.act(ACT.validate_python(message["act"]))
            case "settle":
                nudge = Nudge.model_validate(message["nudge"])
                desk.settle.nudge(nudge.dx, nudge.dy, nudge.hold)
            case "choose":
                desk.settle.choose(str(message["name"])[:60])
            case "blank":
                desk.projector.blank(bool(message["blanked"]))
            case "undo":
                desk.tracing.undo(desk.tracing.revision)
    except (LimewashError, ValidationError, KeyError, AttributeError) as error:
        outbox.put(_refused(error))


def _refused(error: Exception) -> Message:
    return {"type": "refused", "message": refusal(error)}


def _closed(status: int) -> Response:
    words = "This link needs a new code: scan the one that the studio shows now."
    page = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        "<title>Limewash</title><style>body{background:#14110d;color:#dccfb8;font:18px/1.5 sans-serif;"
        f"margin:30vh 2rem 0;text-align:center}}</style><p>{words}</p></html>"
    )
    return Response(page, status_code=status, media_type="text/html")
