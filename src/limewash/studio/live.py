"""The live channel: every page hears of every change; pages that drag speak through it too."""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
from collections import deque
from typing import Any

from fastapi import APIRouter, WebSocket, WebSocketDisconnect
from pydantic import TypeAdapter, ValidationError

from limewash.errors import LimewashError
from limewash.studio.desk import Desk
from limewash.studio.hand import Act
from limewash.studio.notices import Message
from limewash.studio.projector import PageReport
from limewash.studio.wire import Drag

router = APIRouter()

ACT: TypeAdapter[Any] = TypeAdapter(Act)

MOST_WAITING = 200


class LostError(Exception):
    """A page has missed something: it must ask for everything anew."""


class Outbox:
    """Messages that wait for one page; of those that tell of one thing on its way only the newest waits."""

    def __init__(self, loop: asyncio.AbstractEventLoop, wanted: tuple[str, ...] = ()) -> None:
        self._loop = loop
        self._wanted = wanted
        self._waiting: deque[Message] = deque(maxlen=MOST_WAITING)
        self._lost = False
        self._some = asyncio.Event()

    def put(self, message: Message) -> None:
        """From any thread; types that this page does not want are left out."""
        if self._wanted and message["type"] not in self._wanted:
            return
        with contextlib.suppress(RuntimeError):  # the loop has ended: nobody waits any more
            self._loop.call_soon_threadsafe(self._take, message)

    async def next(self) -> Message:
        """The oldest that waits. Raises LostError when the page was away for so long that some were left out."""
        while not self._waiting:
            self._some.clear()
            await self._some.wait()
        if self._lost:
            raise LostError
        return self._waiting.popleft()

    def _take(self, message: Message) -> None:
        thing = _on_its_way(message)
        for n in range(len(self._waiting) - 1, -1, -1):
            waiting = _on_its_way(self._waiting[n])
            if thing is None or waiting is None:
                break  # not past a change: it must find what came before it, and nothing that came after
            if waiting == thing:
                del self._waiting[n]
                break
        self._lost = self._lost or len(self._waiting) == MOST_WAITING
        self._waiting.append(message)
        self._some.set()


def _on_its_way(message: Message) -> tuple[str, object] | None:
    """What a message tells of, if a newer one of the same makes it needless."""
    match message:
        case {"type": "drag", "path": {"id": path_id}}:
            return "drag", path_id
        case {"type": "hand"}:
            return "hand", None
        case {"type": "job", "job": {"id": job_id}}:
            return "job", job_id
    return None


class Drags:
    """Drags of one page: while one is carried to projector pixels, only the newest of each path waits behind it."""

    def __init__(self, desk: Desk, client: str, outbox: Outbox) -> None:
        self._desk = desk
        self._client = client
        self._outbox = outbox
        self._newest: dict[str, Any] = {}
        self._busy: asyncio.Task[None] | None = None

    def take(self, message: Any) -> None:
        """A path as it is now; without a word of what the page has seen, it is what there is at this moment."""
        try:
            seen = message.get("revision") or self._desk.tracing.revision
        except LimewashError as error:
            self._outbox.put({"type": "refused", "message": str(error)})
            return
        path = message.get("path")
        which = path.get("id") if isinstance(path, dict) else None
        self._newest[str(which)] = {"path": path, "revision": seen, "client": self._client}
        if self._busy is None:
            self._busy = asyncio.create_task(self._work())

    async def settle(self) -> None:
        """Wait until what was taken is done: whatever comes after a drag must find it there."""
        if self._busy is not None:
            await self._busy

    async def _work(self) -> None:
        while self._newest:
            await asyncio.to_thread(self._drag, self._newest.pop(next(iter(self._newest))))
        self._busy = None

    def _drag(self, message: Any) -> None:
        try:
            self._desk.tracing.drag(Drag.model_validate(message))
        except (LimewashError, ValidationError) as error:
            self._outbox.put({"type": "refused", "message": refusal(error)})


@router.websocket("/live")
async def live(socket: WebSocket) -> None:
    """Tell a page of all changes until it goes away."""
    desk: Desk = socket.app.state.desk
    client = secrets.token_hex(6)
    await socket.accept()
    outbox = Outbox(asyncio.get_running_loop())
    stop = desk.notices.listen(outbox.put)
    drags = Drags(desk, client, outbox)
    sending: asyncio.Task[None] | None = None
    try:
        await socket.send_text(json.dumps({"type": "hello", "client": client, **await asyncio.to_thread(desk.hello)}))
        sending = asyncio.create_task(send_all(socket, outbox))  # what was told meanwhile comes after it, not before
        while True:
            message = await socket.receive_json()
            if isinstance(message, dict) and message.get("type") == "drag":
                drags.take(message)
            else:
                await drags.settle()
                await asyncio.to_thread(_hear, desk, client, message, outbox)
    except (WebSocketDisconnect, RuntimeError, ValueError):
        pass
    finally:
        stop()
        if sending is not None:
            sending.cancel()
        try:
            await drags.settle()
        finally:  # also when the whole studio is ending and this is being cancelled
            # Not here: the desk may be busy reading a scan, and everybody else would wait.
            asyncio.get_running_loop().run_in_executor(None, desk.client_left, client)


def _hear(desk: Desk, client: str, message: Any, outbox: Outbox) -> None:
    """What a page may say here: the same as on the routes, only quicker."""
    try:
        match message.get("type"):
            case "drag-end":
                desk.tracing.drop_drag(str(message["id"]))
            case "hand":
                desk.hand.act(ACT.validate_python(message["act"]))
            case "page":
                desk.projector.report(client, PageReport.model_validate(message["report"]))
            case "film":
                desk.notices.tell({"type": "film", "what": str(message["what"])[:20]})
    except (LimewashError, ValidationError, KeyError, AttributeError) as error:
        outbox.put({"type": "refused", "message": refusal(error)})


def refusal(error: Exception) -> str:
    """What was not accepted, in one line."""
    if isinstance(error, ValidationError):
        return str(error.errors()[0]["msg"]).removeprefix("Value error, ")
    return str(error) if isinstance(error, LimewashError) else "that message was not understood"


async def send_all(socket: WebSocket, outbox: Outbox) -> None:
    """Send what waits, for as long as the page is there."""
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        try:
            while True:
                await socket.send_text(json.dumps(await outbox.next(), separators=(",", ":")))
        except LostError:
            await socket.close(1013)  # it comes back by itself
