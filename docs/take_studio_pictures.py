"""Take docs/pictures/studio-*.jpg: every page of the studio at a desk and on a phone.

    python docs/take_studio_pictures.py PROJECT

PROJECT is the demo house with a map and a show; the pictures are taken of a copy.
"""

from __future__ import annotations

import shutil
import socket
import sys
import tempfile
import threading
from pathlib import Path

import cv2
import numpy as np
from playwright.sync_api import Page, sync_playwright

from limewash.studio.desk import Desk
from limewash.studio.phone_server import PhoneServer
from limewash.studio.projector import Shown
from limewash.studio.recent import Recent
from limewash.studio.server import Server
from limewash.studio.settle_desk import MovedCheckPoint, NewCheckPoint

OUT = Path(__file__).resolve().parent / "pictures"
DESK, PHONE = (1440, 900), (390, 844)
PAGES = {
    "home": ("/", "night"),
    "site": ("/site", "day"),
    "scan": ("/scan", "night"),
    "trace": ("/trace", "night"),
    "house": ("/trace/house", "night"),
    "settle": ("/trace/settle", "night"),
    "show": ("/show", "night"),
    "packet": ("/show/packet", "day"),
    "night": ("/night", "night"),
}
QUALITY = 80
NO_FOLDER = "for (const e of document.querySelectorAll('.home .mono')) e.textContent = '~/Limewash/our-house'"


def main(project: Path) -> None:
    """Serve a copy of the project and photograph every page."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        copy = Path(folder) / "our-house"
        shutil.copytree(project, copy)
        desk = Desk(Recent(Path(folder) / "recent.json"))
        desk.open(copy)
        _prepare(desk)
        listener = socket.create_server(("127.0.0.1", 0))
        server = Server(desk, listener, lambda: None)
        threading.Thread(target=server.run, daemon=True).start()
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        path = next(p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if p)
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        projector = browser.new_page(viewport={"width": desk.projector.native[0], "height": desk.projector.native[1]})
        projector.goto(f"{address}/projector")
        projector.wait_for_timeout(2500)
        _take(projector, "projector", 0.5)
        for width, height in (DESK, PHONE):
            for name, (page_path, theme) in PAGES.items():
                context = browser.new_context(viewport={"width": width, "height": height})
                context.add_init_script(f"localStorage.setItem('limewash.theme', '{theme}')")
                page = context.new_page()
                page.goto(address + page_path)
                page.wait_for_selector("body[data-ready]", timeout=60_000)
                page.wait_for_timeout(4000)
                page.wait_for_function("[...document.images].every(image => image.hidden || image.naturalWidth)")
                if name == "show":
                    page.wait_for_selector(".show-plate img:not([hidden])", timeout=60_000)
                if name == "trace" and width > 1000:  # with something in hand
                    page.get_by_role("option", name="Front door").click()
                    page.wait_for_timeout(500)
                page.evaluate(NO_FOLDER)  # where the copy lies is nobody's business
                _take(page, name if width > 1000 else f"{name}-phone")
                context.close()
        phone = PhoneServer(desk)
        pad = browser.new_page(viewport={"width": PHONE[0], "height": PHONE[1]})
        pad.goto(phone.open("127.0.0.1").address)
        pad.wait_for_timeout(1000)
        _take(pad, "pad-phone")
        browser.close()
        phone.close()
        server.stop()
        desk.close()


def _prepare(desk: Desk) -> None:
    """Live tracing on the projector, and a few check points that were moved."""
    desk.projector.show(Shown(what="tracing"))
    desk.projector.set_look(desk.projector.look.model_copy(update={"by_kind": True, "line_px": 3}))
    settle = desk.settle
    size = np.array(desk.projector.native, dtype=float)
    for share, by in (((0.1, 0.42), (14, -6)), ((0.5, 0.06), (10, -10)), ((0.62, 0.9), (-6, 8)), ((0.2, 0.9), (9, 5))):
        places = np.vstack([path.points for path in settle.state().before])
        nearest = places[np.linalg.norm(places - size * share, axis=1).argmin()]
        state = settle.add(NewCheckPoint(revision=settle.state().revision, map_px=(nearest[0], nearest[1])))
        to = (float(nearest[0] + by[0]), float(nearest[1] + by[1]))
        settle.change(state.chosen, MovedCheckPoint(revision=state.revision, to_px=to))


def _take(page: Page, name: str, scale: float = 1.0) -> None:
    picture = cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR)
    if scale != 1.0:
        picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    settings = [cv2.IMWRITE_JPEG_QUALITY, QUALITY, cv2.IMWRITE_JPEG_OPTIMIZE, 1]
    cv2.imwrite(str(OUT / f"studio-{name}.jpg"), picture, settings)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
