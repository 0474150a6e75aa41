"""The live channel: who hears what, quickly and in order."""

from fastapi.testclient import TestClient
from front import to_projector
from waiting import until

from limewash.studio.desk import Desk

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
