"""The tracing's routes: revisions, conflicts, undo, errors at the field."""

import shutil
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from limewash.studio import edge_settling
from limewash.studio.desk import Desk


def line(path_id: str, x: float = 100.0) -> dict[str, object]:
    return {
        "id": path_id,
        "kind": "trim",
        "closed": False,
        "segments": [{"type": "line", "start": [x, 200.0], "end": [x + 50.0, 220.0]}],
    }


def test_the_tracing_is_read_with_all_its_segments(client: TestClient) -> None:
    state = client.get("/api/tracing").json()
    assert state["size"] == [960, 720]
    half_round = state["paths"][1]
    assert (half_round["id"], half_round["kind"], half_round["closed"]) == ("half-round", "window", True)
    assert half_round["segments"][0] == {
        "type": "arc", "start": [420, 300], "end": [540, 300], "radius": [60, 60],
        "rotation_deg": 0, "large": False, "sweep": True,
    }  # fmt: skip


def test_a_change_gives_a_new_revision_and_can_be_undone_and_redone(client: TestClient) -> None:
    before = client.get("/api/tracing").json()
    made = client.post("/api/tracing/paths", json={"revision": before["revision"], "path": line("sill")}).json()
    assert made["id"] == "sill"
    assert made["tracing"]["revision"] > before["revision"]
    assert [p["id"] for p in made["tracing"]["paths"]][-1] == "sill"
    undone = client.post("/api/tracing/undo", json={"revision": made["tracing"]["revision"]}).json()
    assert undone["paths"] == before["paths"]
    assert undone["can_redo"] == "draw trim"
    redone = client.post("/api/tracing/redo", json={"revision": undone["revision"]}).json()
    assert redone["paths"] == made["tracing"]["paths"]


def test_a_page_that_is_behind_overwrites_nothing(client: TestClient) -> None:
    seen = client.get("/api/tracing").json()["revision"]
    first = client.put("/api/tracing/paths/roof", json={"revision": seen, "path": line("roof", 300.0)})
    assert first.status_code == 200
    second = client.put("/api/tracing/paths/roof", json={"revision": seen, "path": line("roof", 500.0)})
    assert second.status_code == 409
    roof = next(p for p in second.json()["tracing"]["paths"] if p["id"] == "roof")
    assert roof["segments"][0]["start"] == [300, 200]
    # Another path may still be changed: nothing of the other window's work is touched by it.
    other = client.put("/api/tracing/paths/window-1", json={"revision": seen, "path": line("window-1")})
    assert other.status_code == 200


def test_a_page_with_the_photo_of_another_scan_overwrites_nothing(client: TestClient, desk: Desk, root: Path) -> None:
    assert desk.ground.name == "scan-1"
    shutil.copytree(root / "scans" / "scan-1", root / "scans" / "scan-2")
    seen = client.get("/api/tracing").json()["revision"]
    desk.use_scan("scan-2")
    late = client.post("/api/tracing/change", json={"revision": seen, "put": [line("roof")], "remove": [], "what": "x"})
    assert late.status_code == 409


def test_a_path_that_another_window_took_out_does_not_come_back(client: TestClient) -> None:
    seen = client.get("/api/tracing").json()["revision"]
    assert client.delete(f"/api/tracing/paths/roof?revision={seen}").status_code == 200
    assert client.put("/api/tracing/paths/roof", json={"revision": seen, "path": line("roof")}).status_code == 409


def test_a_taken_id_gets_a_free_one(client: TestClient) -> None:
    seen = client.get("/api/tracing").json()["revision"]
    made = client.post("/api/tracing/paths", json={"revision": seen, "path": line("roof")}).json()
    assert made["id"] == "trim-1"


def test_a_path_beyond_the_photo_is_refused_in_words(client: TestClient) -> None:
    seen = client.get("/api/tracing").json()["revision"]
    answer = client.post("/api/tracing/paths", json={"revision": seen, "path": line("sill", 940.0)})
    assert answer.status_code == 422
    assert "30.5 px beyond the edge of the photo" in answer.json()["message"]


def test_settling_tells_how_far_it_is_and_can_be_stopped(
    client: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(edge_settling, "TELL_EVERY_S", -1.0)
    told: list[float] = []
    desk.notices.listen(lambda message: told.append(message["share"]) if message["type"] == "settling" else None)
    paths = client.get("/api/tracing").json()["paths"]
    answer = client.post("/api/trace/settle", json={"paths": paths, "ticket": "one"}).json()
    assert [one["path"]["id"] for one in answer["paths"]] == [path["id"] for path in paths]
    assert told == pytest.approx([4 / 8, 6 / 8, 8 / 8])  # a rectangle, a half-round with its chord, two lines
    # As if it came in the middle: after the first path it is looked whether to go on.
    assert client.delete("/api/trace/settle/two").status_code == 200
    stopped = client.post("/api/trace/settle", json={"paths": paths, "ticket": "two"})
    assert stopped.status_code == 422
    assert "stopped" in stopped.json()["message"]
    assert len(told) == 3
