"""A server that is killed in the middle of a drag loses at most the last second."""

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from limewash.facade.svg import read_tracing


def put(address: str, path: str, body: dict[str, object]) -> None:
    data = json.dumps(body).encode()
    request = urllib.request.Request(address + path, data, {"content-type": "application/json"}, method="PUT")
    urllib.request.urlopen(request, timeout=10).read()


def test_at_most_the_last_second_is_lost(root: Path, tmp_path: Path) -> None:
    environment = {**os.environ, "LIMEWASH_SETTINGS": str(tmp_path / "settings")}
    server = subprocess.Popen(
        [sys.executable, "-m", "limewash", "studio", str(root), "--port", "0", "--no-browser"],
        stderr=subprocess.PIPE, text=True, env=environment,
    )  # fmt: skip
    try:
        assert server.stderr is not None
        address = server.stderr.readline().split()[-1].rstrip("/")
        moves: list[tuple[float, float]] = []
        begun = time.monotonic()
        while time.monotonic() - begun < 2.5:
            x = 100.0 + (time.monotonic() - begun) * 40.0
            segment = {"type": "line", "start": [x, 200.0], "end": [300.0, 220.0]}
            put(address, "/api/tracing/drag", {"path": {"id": "sill", "closed": False, "segments": [segment]}})
            moves.append((time.monotonic(), x))
            time.sleep(0.02)
        killed = time.monotonic()
    finally:
        server.send_signal(signal.SIGKILL)
        server.wait()
        server.stderr.close()
    sill = next(item for item in read_tracing(root / "tracing.svg").items if item.id == "sill")
    saved_at = next(t for t, x in moves if abs(x - sill.path.start[0]) < 1e-9)
    assert killed - saved_at <= 1.0
