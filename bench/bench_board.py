"""Frames a second while the trace page's board is panned and zoomed over a 12-megapixel photo, in a real browser.

Headless Chromium without a graphics card: every pixel is drawn by the processor, so a person's browser does better. The
mouse is moved by real input events; what counts is the time between frames. The tiles of what is passed over are
fetched while it moves, as in use.

    python bench/bench_board.py [--seconds 4]
"""

from __future__ import annotations

import argparse
import shutil
import socket
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "studio"))

import cv2  # noqa: E402
from front import PROJECTOR, make_project, photo  # noqa: E402 -- the tests' own house
from playwright.sync_api import Page, sync_playwright  # noqa: E402

from limewash.facade.svg import write_tracing  # noqa: E402
from limewash.facade.tracing import Kind, Traced, Tracing  # noqa: E402
from limewash.geometry.path import polyline  # noqa: E402
from limewash.media.images import write_image  # noqa: E402
from limewash.project.folder import Project  # noqa: E402
from limewash.scan.correspondence import Correspondence, save_correspondence  # noqa: E402
from limewash.studio.desk import Desk  # noqa: E402
from limewash.studio.recent import Recent  # noqa: E402
from limewash.studio.server import Server  # noqa: E402

SIZE = (4000, 3000)
PATHS = 40
GOAL_MS = 1000.0 / 60.0

WATCH = """
window.frames = [];
window.watching = false;
const tick = (now) => { if (window.watching) window.frames.push(now); requestAnimationFrame(tick); };
requestAnimationFrame(tick);
"""


def main() -> None:
    """Print the spread of the times between frames for each way of moving."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=4.0)
    args = parser.parse_args()
    folder = Path(tempfile.mkdtemp())
    desk = Desk(Recent(folder / "recent.json"))
    try:
        project = make_project(folder / "house")
        _enlarge(project)
        desk.open(project.root)
        listener = socket.create_server(("127.0.0.1", 0))
        server = Server(desk, listener, lambda: None)
        threading.Thread(target=server.run, daemon=True).start()
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
            )
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            page.add_init_script(WATCH)
            page.goto(f"http://127.0.0.1:{listener.getsockname()[1]}/trace")
            page.wait_for_selector("body[data-ready=true]")
            page.wait_for_timeout(1500)
            _tell("at rest", _watched(page, lambda: page.wait_for_timeout(args.seconds * 500)))
            _tell("pan, whole photo", _watched(page, lambda: _pan(page, args.seconds)))
            _tell("zoom in and out", _watched(page, lambda: _zoom(page, args.seconds)))
            page.evaluate("document.querySelector('trace-board').zoom(6)")
            _tell("pan, close up", _watched(page, lambda: _pan(page, args.seconds)))
            browser.close()
        server.stop()
    finally:
        desk.close()
        shutil.rmtree(folder, ignore_errors=True)


def _enlarge(project: Project) -> None:
    """The tests' house with a photo of 12 megapixels, grain on it, and a tracing of many windows."""
    scan = project.root / "scans" / "scan-1"
    large = cv2.resize(photo(), SIZE, interpolation=cv2.INTER_CUBIC).astype(np.int16)
    grain = np.random.default_rng(1).normal(0.0, 6.0, (SIZE[1], SIZE[0], 1)).astype(np.int16)
    write_image(scan / "photo.png", np.clip(large + grain, 0, 255).astype(np.uint8))
    x, y = np.meshgrid(np.linspace(300, 3600, PROJECTOR[0]), np.linspace(300, 2600, PROJECTOR[1]))
    seen = np.ones_like(x, dtype=np.float32)
    save_correspondence(
        scan / "correspondence.npz", Correspondence(x.astype(np.float32), y.astype(np.float32), seen, SIZE, PROJECTOR)
    )
    items = []
    for n in range(PATHS):
        left, top = 400.0 + 400.0 * (n % 8), 400.0 + 440.0 * (n // 8)
        ring = [(left, top), (left + 220, top), (left + 220, top + 300), (left, top + 300)]
        items.append(Traced(f"window-{n}", Kind.WINDOW, polyline(ring, closed=True)))
    write_tracing(project.tracing_file, Tracing(SIZE, tuple(items)), "scans/scan-1/photo.png")


def _watched(page: Page, act) -> np.ndarray:
    page.evaluate("window.frames = []; window.watching = true")
    act()
    page.evaluate("window.watching = false")
    return np.diff(np.asarray(page.evaluate("window.frames"), dtype=np.float64))


def _pan(page: Page, seconds: float) -> None:
    page.mouse.move(600, 450)
    page.mouse.down(button="middle")
    begun = time.monotonic()
    while (passed := time.monotonic() - begun) < seconds:
        page.mouse.move(600 + 260 * np.sin(3.0 * passed), 450 + 160 * np.sin(2.0 * passed))
    page.mouse.up(button="middle")


def _zoom(page: Page, seconds: float) -> None:
    page.mouse.move(620, 430)
    begun = time.monotonic()
    while (passed := time.monotonic() - begun) < seconds:
        page.mouse.wheel(0, -60 if np.sin(3.0 * passed) > 0 else 60)
        page.wait_for_timeout(8)


def _tell(what: str, between_ms: np.ndarray) -> None:
    p50, p95 = np.percentile(between_ms, [50, 95])
    rate = 1000.0 / between_ms.mean()
    print(
        f"{what:17} {rate:5.1f} frames/s ({rate * GOAL_MS / 1000.0:.2f} of 60), between frames median {p50:.1f} ms, "
        f"95th percentile {p95:.1f} ms, longest {between_ms.max():.0f} ms",
        flush=True,
    )


if __name__ == "__main__":
    main()
