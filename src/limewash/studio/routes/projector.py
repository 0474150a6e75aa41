"""What the projector shows."""

from __future__ import annotations

from functools import lru_cache
from typing import Annotated

import cv2
from fastapi import APIRouter, Path, Response
from fastapi.responses import FileResponse

from limewash.errors import InputError
from limewash.scan.pattern import PatternPlan, plan_pattern
from limewash.studio.charts import Chart, chart
from limewash.studio.projector import Look, ProjectorState, Shown
from limewash.studio.routes.common import PICTURE, TheDesk
from limewash.studio.wire import Fault, Wire

router = APIRouter(prefix="/api/projector", tags=["projector"], responses={422: {"model": Fault}})


class Blanked(Wire):
    """Black, or not."""

    blanked: bool


@router.get("")
def read_projector(desk: TheDesk) -> ProjectorState:
    """What it shows, and whether its page shows it pixel by pixel."""
    return desk.projector.state()


@router.put("/show")
def show_on_projector(shown: Shown, desk: TheDesk) -> ProjectorState:
    """Show something; ends blanking."""
    desk.check_shown(shown)
    return desk.projector.show(shown)


@router.put("/blank")
def blank_projector(wanted: Blanked, desk: TheDesk) -> ProjectorState:
    """Black at once, or back."""
    return desk.projector.blank(wanted.blanked)


@router.put("/look")
def set_look(look: Look, desk: TheDesk) -> ProjectorState:
    """Thickness and colour of lines on the house."""
    return desk.projector.set_look(look)


@router.get("/chart/{name}", response_class=Response, responses=PICTURE)
def chart_picture(name: Chart, desk: TheDesk) -> Response:
    """A chart as PNG at the projector's native size."""
    return Response(_chart_png(name, desk.projector.native), media_type="image/png")


@router.get("/pattern/{index}", response_class=Response, responses=PICTURE)
def pattern_picture(index: Annotated[int, Path(ge=0, le=10_000)], desk: TheDesk) -> Response:
    """One hold of the scan's pattern as PNG at native size, for a camera on the same computer."""
    plan = _plan(desk.projector.native)
    if index >= len(plan.body):
        raise InputError(f"the pattern has {len(plan.body)} pictures, there is no number {index}")
    done, data = cv2.imencode(".png", plan.picture(plan.body[index]))
    assert done
    return Response(data.tobytes(), media_type="image/png")


@router.get("/map", response_class=FileResponse, responses=PICTURE)
def map_picture(desk: TheDesk) -> FileResponse:
    """The exported map's lines at native size."""
    path = desk.project.map_folder / "map.png"
    if not path.is_file():
        raise InputError("there is no map yet; make it on the Trace page")
    return FileResponse(path, media_type="image/png", headers={"cache-control": "no-cache"})


@lru_cache(maxsize=8)
def _chart_png(name: Chart, size: tuple[int, int]) -> bytes:
    _, data = cv2.imencode(".png", chart(name, size))
    return data.tobytes()


@lru_cache(maxsize=1)
def _plan(size: tuple[int, int]) -> PatternPlan:
    return plan_pattern(size)
