"""The live channel: who hears what, quickly and in order."""

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi.testclient import TestClient
from front import to_projector
from waiting import until

from limewash.studio import live as channel
from limewash.studio.desk import Desk
from limewash.studio.tracing_desk import TracingDesk
from limewash.studio.wire import Drag

NONSENSE = ({"type": "drag"}, {"type": "drag", "path": 3}, {"type": "hand"}, {"type": "page", "report": {}}, [1])
LIVE = "ws://127.0.0.1:8750/live"
SILL = {
    "id": "sill",
    "kind": "trim",
    "closed": False,
    "segments": [{"type": "line", "start": [200, 460], "end": [300, 462]}],
}


def hear(live, kind: str) -> dict[str, object]:
    for _ in range(20):
        message = live.receive_json()
        if message["type"] == kind:
            return message
    raise AssertionError(f"no {kind} came")


def test_a_page_hears_of_a_drag_of_another_in_projector_pixels(client: TestClient) -> None:
    with client.websocket_connect(LIVE) as one, client.websocket_connect(LIVE) as other:
        mine = hear(one, "hello")["client"]
        hear(other, "hello")
        one.send_json({"type": "drag", "path": SILL})
        told = hear(other, "drag")
        assert told["by"] == mine
        assert told["path"]["segments"][0]["start"] == [200, 460]
        x, y = told["carried"]["points"][0]
        expected = to_projector([(200, 460)])[0]
        assert abs(x - expected[0]) < 0.05 and abs(y - expected[1]) < 0.05


def test_a_page_that_closes_in_a_drag_leaves_a_step(client: TestClient, desk: Desk) -> None:
    with client.websocket_connect(LIVE) as live:
        hear(live, "hello")
        live.send_json({"type": "drag", "path": SILL})
        hear(live, "drag")
    until(lambda: desk.tracing.tracing.items[-1].id == "sill", "the closed channel noticed")


def test_a_drag_that_is_given_up_leaves_nothing_however_slowly_it_was_carried(
    client: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = desk.tracing.tracing
    begun, go = threading.Event(), threading.Event()
    drag = TracingDesk.drag

    def slow(self: TracingDesk, one: Drag) -> None:
        begun.set()
        go.wait(20)
        drag(self, one)

    monkeypatch.setattr(TracingDesk, "drag", slow)
    with client.websocket_connect(LIVE) as live:
        hear(live, "hello")
        for _ in range(3):
            live.send_json({"type": "drag", "path": SILL})
        assert begun.wait(10)
        live.send_json({"type": "drag-end", "id": "sill"})
        go.set()
        live.send_json({"type": "page", "report": {}})  # refused when everything before it has been done
        hear(live, "refused")
        assert desk.tracing.shown == before


def test_a_page_that_was_away_for_too_long_must_come_anew() -> None:
    """It may have missed that the house is to be black."""

    async def late() -> None:
        outbox = channel.Outbox(asyncio.get_running_loop())
        outbox.put({"type": "projector", "state": {"blanked": True}})
        for number in range(channel.MOST_WAITING):
            outbox.put({"type": "settle", "settle": number})
        await asyncio.sleep(0)
        with pytest.raises(channel.LostError):
            await outbox.next()

    with ThreadPoolExecutor() as apart:  # a browser of other tests may have a loop in this thread
        apart.submit(asyncio.run, late()).result(timeout=20)


def test_paths_that_are_dragged_together_are_all_told(client: TestClient) -> None:
    """Of each the newest: while one is carried, none of the others takes its place."""
    ledge = {**SILL, "id": "ledge"}
    with client.websocket_connect(LIVE) as live:
        hear(live, "hello")
        for x in range(200, 220):
            for path in (SILL, ledge):
                live.send_json(
                    {"type": "drag", "path": {**path, "segments": [{**SILL["segments"][0], "start": [x, 460]}]}}
                )
        newest: dict[str, float] = {}
        while newest != {"sill": 219, "ledge": 219}:
            told = hear(live, "drag")
            newest[told["path"]["id"]] = told["path"]["segments"][0]["start"][0]


def test_nonsense_is_refused_and_the_channel_stays_open(client: TestClient) -> None:
    with client.websocket_connect(LIVE) as live:
        hear(live, "hello")
        for nonsense in (
            {"type": "drag"},
            {"type": "drag", "path": 3},
            {"type": "hand"},
            {"type": "page", "report": {}},
            [1],
        ):
            live.send_json(nonsense)
            assert hear(live, "refused")["message"]
        live.send_json({"type": "drag", "path": SILL})
        assert hear(live, "drag")["path"]["id"] == "sill"


def test_every_page_hears_what_the_projector_shows(client: TestClient) -> None:
    with client.websocket_connect(LIVE) as live:
        assert hear(live, "hello")["projector"]["what"] == "black"
        client.put("/api/projector/show", json={"what": "grid"})
        assert hear(live, "projector")["state"]["what"] == "grid"
        client.put("/api/projector/blank", json={"blanked": True})
        assert hear(live, "projector")["state"]["blanked"] is True
        refused = client.put("/api/projector/show", json={"what": "show", "name": "none"})
        assert refused.status_code == 422
        assert client.get("/api/projector").json()["blanked"] is True, "a refusal changes nothing"
