"""The site: figures, drawings, search and card of a house, saved or still a draft."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Query, Response

from limewash.errors import InputError
from limewash.project.models import House
from limewash.studio.house_desk import checked_house
from limewash.studio.jobs import JobState
from limewash.studio.routes.common import TheDesk
from limewash.studio.wire import Fault, Wire

if TYPE_CHECKING:
    from limewash.site.canvas import Sheet
    from limewash.site.placement import Placement
    from limewash.site.scene import Scene

router = APIRouter(prefix="/api/site", tags=["site"], responses={422: {"model": Fault}})

Rows = list[list[str]]

SCREEN_MM = (215.0, 118.0)
"""Sheets for the screen are smaller than for paper, so that their words can be read there."""


class Draft(Wire):
    """A house as the form has it, saved or not."""

    house: dict[str, Any]
    drawings: tuple[Literal["plan", "front", "section", "projector-view", "light", "contrast", "pixels"], ...] = ()


class SiteReport(Wire):
    """What a rig at its stand does to the front; all empty while something is missing."""

    missing: str
    """What must be given first."""
    figures: Rows
    parts: Rows
    shadows: Rows
    services: Rows
    cautions: list[str]
    drawings: dict[str, str]


@router.post("/check")
def check_site(draft: Draft) -> SiteReport:
    """Reckon the first rig at its stand: figures, cautions, drawings as SVG."""
    house = checked_house(draft.house)
    try:
        return site_report(house, list(draft.drawings))
    except InputError as error:
        # A form that is only half filled in is no mistake of anybody's.
        empty: Rows = []
        return SiteReport(
            missing=str(error), figures=empty, parts=empty, shadows=empty, services=empty, cautions=[], drawings={}
        )


@router.post("/search")
def search_stands(desk: TheDesk) -> JobState:
    """Try every allowed stand; the result is the best of them."""
    desk.save()
    return desk.jobs.start("search", "Trying every stand", {"project": str(desk.project.root)})


@router.get("/card", response_class=Response, responses={200: {"content": {"application/pdf": {}}}})
def setup_card(desk: TheDesk, paper: Annotated[Literal["a4", "letter"], Query()] = "a4") -> Response:
    """The set-up card to print."""
    from limewash.site.card import card_pdf
    from limewash.site.placement import check_rig
    from limewash.site.scene import build_scene

    project = desk.project
    scene = build_scene(project.house)
    photo = project.scan_folder() / "photo.png" if project.scans() else None
    data = card_pdf(project.house, scene, check_rig(scene, project.rig), paper=paper, photo=photo)
    headers = {"content-disposition": "inline; filename=setup-card.pdf"}
    return Response(data, media_type="application/pdf", headers=headers)


def site_report(house: House, drawings: list[str]) -> SiteReport:
    """The report of a house. Raises InputError saying what is missing."""
    from limewash.site import report
    from limewash.site.cautions import cautions
    from limewash.site.placement import check_rig
    from limewash.site.scene import build_scene
    from limewash.site.services import services_of
    from limewash.site.svg_writer import svg_text

    scene = build_scene(house)
    placement = check_rig(scene, house.rig[0])
    services = services_of(placement, scene)
    notes = services.power.notes if services.power is not None else ()
    titled = {name: f"{house.name}: {name}" for name in drawings}
    return SiteReport(
        missing="",
        figures=_plain(report.placement_rows(placement, scene)),
        parts=_plain(report.part_rows(placement, scene.units)),
        shadows=_plain(report.shadow_rows(placement, scene.units)),
        services=_plain(report.service_rows(services, scene)),
        cautions=[*cautions(placement, scene), *notes, *services.assumed],
        drawings={name: svg_text(_sheet(name, placement, scene), title=titled[name]) for name in drawings},
    )


def _sheet(name: str, placement: Placement, scene: Scene) -> Sheet:
    """One drawing alone: the heat maps take a second, the others a few milliseconds."""
    from limewash.site.draw_elevation import draw_elevation
    from limewash.site.draw_eye import draw_eye
    from limewash.site.draw_heat import draw_heat_map
    from limewash.site.draw_plan import draw_plan
    from limewash.site.draw_section import draw_section

    if name == "plan":
        return draw_plan(placement, scene, size_mm=SCREEN_MM)
    if name == "front":
        return draw_elevation(placement, scene, size_mm=SCREEN_MM)
    if name == "section":
        return draw_section(placement, scene, size_mm=SCREEN_MM)
    if name == "projector-view":
        return draw_eye(placement, size_mm=SCREEN_MM)
    return draw_heat_map(placement, scene, name, size_mm=SCREEN_MM)


def _plain(rows: Any) -> Rows:
    return [[str(cell) for cell in row] for row in rows]
