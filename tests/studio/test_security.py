"""Who may talk to the studio, and what they may not reach."""

import json
import socket
import time
import urllib.request
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from limewash.errors import InputError
from limewash.facade.svg import tracing_svg
from limewash.studio.app import create_app
from limewash.studio.desk import Desk
from limewash.studio.guard import USUAL_LIMIT_BYTES
from limewash.studio.notices import Notices
from limewash.studio.phone_app import FILES, create_phone_app
from limewash.studio.phone_link import CODE_VALID_S, MOST_WRONG, PhoneLink, qr_svg
from limewash.studio.phone_server import PhoneServer

HERE = "http://127.0.0.1:8750"


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "192.168.1.5:8750", "", "[::1]:8750", "0.0.0.0"]
)
def test_a_name_that_is_not_ours_is_refused(client: TestClient, host: str) -> None:
    """DNS rebinding: a page's own name points at this computer."""
    answer = client.get("/api/project", headers={"host": host})
    assert answer.status_code == 403
    assert "name" not in answer.json()


@pytest.mark.parametrize("host", ["127.0.0.1:8750", "localhost:8750"])
def test_our_own_names_are_served(client: TestClient, host: str) -> None:
    assert client.get("/api/project", headers={"host": host}).status_code == 200


FOREIGN = ["http://evil.example", "null", "http://127.0.0.1:9999", "https://127.0.0.1:8750", "http://localhost:8750"]


@pytest.mark.parametrize("origin", FOREIGN)
def test_no_foreign_page_changes_anything(client: TestClient, origin: str) -> None:
    routes = client.get("/openapi.json").json()["paths"]
    changing = [(m, p) for p, methods in routes.items() for m in methods if m in ("post", "put", "delete", "patch")]
    assert len(changing) > 25
    for method, path in changing:
        answer = client.request(method.upper(), path.replace("{", "").replace("}", ""), headers={"origin": origin})
        assert answer.status_code == 403, f"{method} {path}"


@pytest.mark.parametrize("origin", FOREIGN)
def test_no_foreign_page_opens_the_live_channel(client: TestClient, origin: str) -> None:
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/live", headers={"origin": origin}):
        pass


def test_our_own_page_opens_it(client: TestClient) -> None:
    with client.websocket_connect("ws://127.0.0.1:8750/live", headers={"origin": HERE}) as live:
        assert live.receive_json()["type"] == "hello"


def test_a_foreign_page_may_link_here_but_not_read(client: TestClient) -> None:
    link = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert client.get("/", headers=link).status_code == 200
    script = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}
    assert client.get("/api/photo/tiles/0/0/0", headers=script).status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/static/../desk.py", "/static/%2e%2e/desk.py", "/static/..%2fdesk.py", "/static//etc/passwd",
        "/api/scan/..%2f..%2fhouse/photo", "/api/scan/%2e%2e/photo", "/api/scan/scan-1%2f..%2f..%2fx/findings",
        "/api/shows/..%2f..%2fetc/film", "/api/shows/%2e%2e/score", "/api/shows/a%00b/film",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_its_folder(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (404, 422)
    assert "root:" not in answer.text and "class Desk" not in answer.text


def test_a_film_name_cannot_lead_out_either(client: TestClient) -> None:
    answer = client.post("/api/shows/a/returned/anyway", json={"film": "../../house.toml"})
    assert answer.status_code == 422


def test_bodies_have_a_limit_whether_they_say_their_length_or_not(client: TestClient) -> None:
    big = b"x" * (USUAL_LIMIT_BYTES + 1)
    assert client.put("/api/tracing/drag", content=big).status_code == 413

    def pieces():  # a chunked body does not say how long it is
        for _ in range(5):
            yield b"x" * 2**20

    assert client.put("/api/tracing/drag", content=pieces()).status_code == 413


def test_a_drawing_with_its_photo_inside_is_no_body_too_long(client: TestClient, desk: Desk) -> None:
    """Vector editors may put the photo into the file itself."""
    outside = desk.tracing.tracing
    text = tracing_svg(outside, "data:image/png;base64," + "A" * (6 * 2**20))
    answer = client.put("/api/trace/drawing?name=over.svg", content=text.encode())
    assert answer.status_code == 200, answer.text
    assert len(answer.json()["paths"]) == len(outside.items)


def test_an_upload_of_another_kind_is_refused_and_leaves_nothing(client: TestClient, root: Path) -> None:
    for name in ("a.exe", "..", "x/../../y.sh", "noending"):
        assert client.put("/api/scan/clip", params={"name": name}, content=b"data").status_code == 422
    assert client.put("/api/scan/clip", params={"name": "empty.mp4"}, content=b"").status_code == 422
    assert not list((root / "scans").glob("incoming-*"))


def test_answers_forbid_foreign_frames_and_scripts(client: TestClient) -> None:
    headers = client.get("/").headers
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert "default-src 'self'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"


def test_a_failure_inside_says_nothing_of_the_inside(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_self: object) -> None:
        raise RuntimeError("secret path /home/x")

    monkeypatch.setattr(type(desk.projector), "state", broken)
    answer = TestClient(create_app(desk), base_url=HERE, raise_server_exceptions=False).get("/api/projector")
    assert answer.status_code == 500
    assert "secret" not in answer.text


@pytest.fixture
def link(desk: Desk) -> PhoneLink:
    made = PhoneLink(desk.notices)
    made.begin("192.168.1.5", 5000)
    return made


@pytest.fixture
def phone(desk: Desk, link: PhoneLink) -> TestClient:
    return TestClient(create_phone_app(desk, link), base_url="http://192.168.1.5:5000")


def test_the_phone_link_answers_nothing_without_a_pass(phone: TestClient) -> None:
    assert phone.get("/").status_code == 403
    for name in FILES:
        assert phone.get(f"/static/{name}").status_code == 403
    for path in ("/api/project", "/openapi.json", "/docs", "/projector", "/trace"):
        assert phone.get(path).status_code in (403, 404)
    with pytest.raises(WebSocketDisconnect), phone.websocket_connect("/live"):
        pass


def test_a_code_lets_one_phone_in_and_only_once(desk: Desk, link: PhoneLink, phone: TestClient) -> None:
    code = link.state().code
    assert phone.get("/", params={"code": code.lower()[:4] + "-" + code[4:]}).status_code == 200
    assert phone.get("/static/phone/page.js").status_code == 200
    for elsewhere in ("../desk.py", "%2e%2e/desk.py", "shell.js", "phone/../shell.js"):
        assert phone.get(f"/static/{elsewhere}").status_code == 404
    assert phone.get("/api/project").status_code == 404, "only the pad is there"
    second = TestClient(create_phone_app(desk, link), base_url="http://192.168.1.5:5000")
    assert second.get("/", params={"code": code}).status_code == 403
    assert link.state().phones == 1


def test_a_phone_moves_the_hand_and_nothing_else(desk: Desk, link: PhoneLink, phone: TestClient) -> None:
    phone.get("/", params={"code": link.state().code})
    before = desk.hand.at
    with phone.websocket_connect("ws://192.168.1.5:5000/live") as live:
        hello = live.receive_json()
        assert set(hello) == {"type", "client", "project", "projector", "hand", "settle"}
        live.send_json({"type": "hand", "act": {"do": "nudge", "dx": 0.25, "dy": -1}})
        assert live.receive_json()["hand"]["at"] == [before[0] + 0.25, before[1] - 1]
        live.send_json({"type": "drag", "path": {}})
        live.send_json({"type": "hand", "act": {"do": "fly"}})
        assert live.receive_json()["type"] == "refused"


def test_a_closed_link_ends_what_was_let_in(link: PhoneLink, phone: TestClient) -> None:
    phone.get("/", params={"code": link.state().code})
    link.end()
    assert phone.get("/").status_code == 403


def test_guessing_closes_the_link() -> None:
    link = PhoneLink(Notices())
    link.begin("192.168.1.5", 5000)
    for _ in range(MOST_WRONG):
        with pytest.raises(InputError):
            link.let_in("WRONGONE")
    assert not link.is_open
    assert "wrong codes" in link.state().trouble


def test_a_code_grows_old(monkeypatch: pytest.MonkeyPatch) -> None:
    link = PhoneLink(Notices())
    code = link.begin("192.168.1.5", 5000).code
    later = time.monotonic() + CODE_VALID_S + 1
    monkeypatch.setattr("limewash.studio.phone_link.time.monotonic", lambda: later)
    with pytest.raises(InputError, match="too old"):
        link.let_in(code)
    assert link.state().code != code


def test_the_qr_code_reads_back_as_the_address() -> None:
    """Read by OpenCV's decoder, which knows nothing of how it was made."""
    import re

    import cv2
    import numpy as np

    address = "http://192.168.1.5:5000/?code=ABCD2345"
    text = qr_svg(address)
    size = int(re.search(r'viewBox="0 0 (\d+) \d+"', text)[1])  # type: ignore[index]
    picture = np.full((size, size), 255, np.uint8)
    dark = re.search(r'stroke="#000"[^>]* d="([^"]+)"|d="([^"]+)"[^>]*stroke="#000"', text)
    assert dark is not None
    x = y = 0.0
    for command, numbers in re.findall(r"([MmhH])([-\d. ]+)", dark[1] or dark[2]):
        values = [float(v) for v in numbers.split()]
        if command == "M":
            x, y = values
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            picture[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
    found, *_ = cv2.QRCodeDetector().detectAndDecode(
        cv2.resize(picture, None, fx=8, fy=8, interpolation=cv2.INTER_NEAREST)
    )
    assert found == address


def test_the_studio_listens_on_this_computer_only_and_the_phone_port_closes(desk: Desk, studio) -> None:
    assert studio.listener.getsockname()[0] == "127.0.0.1"
    server = PhoneServer(desk)
    state = server.open("127.0.0.1")
    port = server.link.port
    with pytest.raises(urllib.error.HTTPError, match="403"):
        urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5)
    assert "code=" in state.address
    server.close()
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    assert json.loads(urllib.request.urlopen(studio.address + "/api/phone").read())["open"] is False
