"""The pages themselves and what they are made of."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import FileResponse, HTMLResponse

router = APIRouter(include_in_schema=False)

STATIC = Path(str(resources.files("limewash.studio") / "static"))
PAGES = {
    "": "home",
    "site": "site",
    "scan": "scan",
    "trace": "trace",
    "trace/house": "house",
    "trace/settle": "settle",
    "show": "show",
    "show/packet": "packet",
    "night": "night",
}


def _shell(page: str) -> str:
    return (STATIC / "shell.html").read_text(encoding="utf-8").replace("{{page}}", page)


for address, page_name in PAGES.items():

    def page(name: str = page_name) -> HTMLResponse:
        return HTMLResponse(_shell(name))

    router.add_api_route(f"/{address}", page, methods=["GET"], name=page_name)


@router.get("/projector")
def projector_page() -> HTMLResponse:
    """The bare page for the second display."""
    return HTMLResponse((STATIC / "projector" / "page.html").read_text(encoding="utf-8"))


@router.get("/projector-worker.js")
def projector_worker() -> FileResponse:
    """Served beside the page, because a worker reaches no higher than its own address."""
    return FileResponse(STATIC / "projector" / "worker.js", media_type="text/javascript")
