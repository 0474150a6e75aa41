"""What all routes share."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Depends, Request

from limewash.studio.desk import Desk


def _open_desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


TheDesk = Annotated[Desk, Depends(_open_desk)]

PICTURE: dict[int | str, dict[str, Any]] = {200: {"content": {"image/png": {}}}}
