"""The set-up card: two printed pages from which the rig can be put back exactly, and a packing list."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError, did_you_mean
from limewash.light.photometry import contrast_class
from limewash.project.lengths import show_length, show_small
from limewash.project.models import House
from limewash.site.canvas import GREY, Sheet, text_width_mm
from limewash.site.card_layout import MARGIN_MM, PAPERS, Column
from limewash.site.card_photo import photo_sheet
from limewash.site.cautions import cautions
from limewash.site.draw_elevation import draw_elevation
from limewash.site.draw_eye import check_points, draw_eye
from limewash.site.draw_plan import draw_plan
from limewash.site.packing import packing_list
from limewash.site.pdf_writer import pdf_bytes
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.services import Services, services_of
from limewash.site.setting_words import prop_words, sharp_words, shift_words, zoom_words
from limewash.site.shown import show_area, show_light_range
from limewash.site.stand_marks import anchors, feet_of

Array = NDArray[np.float64]

_PHOTO_MM, _FRONT_MM = 50.0, 72.0
"""Height of the picture at the foot of the first page: a photo, or the drawn front. [mm]"""


def card_pdf(
    house: House, scene: Scene, placement: Placement, *, paper: str = "a4", photo: Path | None = None
) -> bytes:
    """The card as a PDF.

    Parameters
    ----------
    house, scene, placement : House, Scene, Placement
        As `check_rig` wants and gives them.
    paper : "a4" or "letter"
        What it is printed on, upright.
    photo : Path, optional
        A picture of the front on which `facade.measured` was found; the elevation is shown without it.

    Raises
    ------
    InputError
        If the paper is not known.
    """
    return pdf_bytes(card_pages(house, scene, placement, paper=paper, photo=photo), title=f"Set-up card: {house.name}")


def card_pages(
    house: House, scene: Scene, placement: Placement, *, paper: str = "a4", photo: Path | None = None
) -> list[Sheet]:
    """The two pages as sheets; see `card_pdf`."""
    if paper not in PAPERS:
        raise InputError(f"paper must be one of {', '.join(PAPERS)}, got {paper!r}{did_you_mean(paper, PAPERS)}")
    services = services_of(placement, scene)
    return [
        _first_page(house, scene, placement, services, PAPERS[paper], photo),
        _second_page(house, scene, placement, services, PAPERS[paper]),
    ]


def _first_page(
    house: House, scene: Scene, placement: Placement, services: Services, paper: tuple[float, float], photo: Path | None
) -> Sheet:
    sheet, bottom = _page(house, placement, paper, "Set-up card, page 1 of 2: put it there")
    inner = paper[0] - 2 * MARGIN_MM
    words, height = _instructions(scene, placement, services, inner)
    # The picture below keeps what it needs, the plan gets all the rest.
    pictures = _pictures(house, scene, placement, photo, inner)
    plan_mm = bottom - 19.0 - height - pictures.height_mm - 6.0
    wide = Column(sheet, MARGIN_MM, 19.0, inner)
    wide.drawing(draw_plan(placement, scene, size_mm=(inner, plan_mm)))
    sheet.place(words, MARGIN_MM, wide.y)
    foot = wide.y + height + 3.0
    sheet.place(pictures, MARGIN_MM, foot)
    Column(sheet, MARGIN_MM, foot + pictures.height_mm, inner).check_room(bottom)
    return sheet


def _pictures(house: House, scene: Scene, placement: Placement, photo: Path | None, inner_mm: float) -> Sheet:
    """The front with the edge of the light; beside it the photo, where one can be drawn on."""
    shown = photo_sheet(house, placement, photo, (0.55 * inner_mm, _PHOTO_MM)) if photo is not None else None
    if shown is None:
        return draw_elevation(placement, scene, size_mm=(inner_mm, _FRONT_MM))
    sheet = Sheet(inner_mm, shown.height_mm + 4.5)
    sheet.place(shown, 0.0, 0.0)
    left = shown.width_mm + 4.0
    front = draw_elevation(placement, scene, size_mm=(inner_mm - left, shown.height_mm))
    sheet.place(front, left, 0.0)
    sheet.rectangle(left, 0.0, front.width_mm, front.height_mm, pen=GREY)
    caption = "Photo: the edge of the light on what lies in the plane of the wall"
    sheet.text(0.0, shown.height_mm + 3.2, caption, 2.3, anchor="start", colour="#444444")
    return sheet


def _instructions(scene: Scene, placement: Placement, services: Services, inner_mm: float) -> tuple[Sheet, float]:
    """Where it stands and how it is set, in two columns; with the height that they take. [mm]"""
    sheet = Sheet(inner_mm, 200.0)
    half = (inner_mm - 7.0) / 2
    left, right = Column(sheet, 0.0, 0.0, half), Column(sheet, half + 7.0, 0.0, half)
    _feet(left, scene, placement)
    _aim(left, scene, placement)
    _setting(right, scene, placement)
    _chain(right, scene, placement, services)
    return sheet, max(left.y, right.y)


def _second_page(
    house: House, scene: Scene, placement: Placement, services: Services, paper: tuple[float, float]
) -> Sheet:
    sheet, bottom = _page(house, placement, paper, "Set-up card, page 2 of 2: check it, mind this, note it")
    inner = paper[0] - 2 * MARGIN_MM
    half = (inner - 7.0) / 2
    left = Column(sheet, MARGIN_MM, 17.0, half)
    right = Column(sheet, MARGIN_MM + half + 7.0, 17.0, half)
    left.drawing(draw_eye(placement, size_mm=(half, half * 0.66)))
    _points(left, scene, placement)
    _figures(left, scene, placement)
    right.heading("Mind this")
    for text in cautions(placement, scene):
        right.paragraph(text, mark="!")
    for text in (services.power.notes if services.power else ())[:-1]:
        right.paragraph(text, mark="!")
    for text in (*(services.box.notes if services.box else ()), *services.assumed):
        right.paragraph(text, mark="!")
    below = max(left.y, right.y)
    pack = Column(sheet, MARGIN_MM, below, inner)
    pack.heading("Bring")
    things = packing_list(placement, scene, services)
    columns = [Column(sheet, MARGIN_MM, pack.y, half), Column(sheet, MARGIN_MM + half + 7.0, pack.y, half)]
    for number, thing in enumerate(things):
        column = columns[0 if number < (len(things) + 1) // 2 else 1]
        column.paragraph(thing.what, mark=f"{thing.count}")
    notes = Column(sheet, MARGIN_MM, max(column.y for column in columns), inner)
    notes.heading("Each time it is put back")
    rows = max(2, min(14, math.floor((bottom - notes.y - 6.5) / 7.5)))
    notes.grid(
        ("date", "by", "point 1, px off", "point 2", "point 3", "point 4", "what was changed"),
        (0.13, 0.13, 0.12, 0.09, 0.09, 0.09, 0.35),
        rows=rows,
    )
    notes.check_room(bottom)
    return sheet


def _page(house: House, placement: Placement, paper: tuple[float, float], title: str) -> tuple[Sheet, float]:
    sheet = Sheet(*paper)
    inner = paper[0] - 2 * MARGIN_MM
    rig = _cut(f"rig {placement.rig.name!r}", 0.4 * inner, 3.4)
    rest = inner - text_width_mm(rig, 3.4) - 4.0
    sheet.text(MARGIN_MM, 14.5, _cut(house.name, rest, 5.0, bold=True), 5.0, anchor="start", bold=True)
    sheet.text(paper[0] - MARGIN_MM, 14.5, rig, 3.4, anchor="end")
    sheet.text(MARGIN_MM, paper[1] - 8.0, title, 2.5, anchor="start", colour="#444444")
    return sheet, paper[1] - 12.5


def _cut(text: str, width_mm: float, size_mm: float, *, bold: bool = False) -> str:
    """A name cut to a width, with dots where something is missing."""
    if text_width_mm(text, size_mm, bold=bold) <= width_mm:
        return text
    while text and text_width_mm(text + "...", size_mm, bold=bold) > width_mm:
        text = text[:-1]
    return text.rstrip() + "..."


def _feet(column: Column, scene: Scene, placement: Placement) -> None:
    a, b = anchors(scene)
    column.heading("Where the feet go: tapes along the ground")
    column.row("A, B", f"A {a.what}; B {b.what}", key_mm=12.0)
    units = scene.units
    feet = placement.projector.feet
    if feet is None:
        lens = np.array([placement.stand.x_m, placement.stand.distance_m])
        tapes = [show_length(float(np.linalg.norm(lens - anchor.plan_m)), units, fine=True) for anchor in (a, b)]
        column.table(("below the", "from A", "from B"), [("lens", *tapes)], (0.36, 0.32, 0.32))
        column.paragraph("Add [rig.projector.feet] to house.toml for the places of the feet.")
        return
    marks = feet_of(placement, scene, feet)
    rows = [(foot.name, *(show_length(t, units, fine=True) for t in foot.tapes_m)) for foot in marks.feet]
    column.table(("foot", "from A", "from B"), rows, (0.36, 0.32, 0.32))
    diagonals = " and ".join(show_length(d, units, fine=True) for d in marks.diagonals_m)
    column.row("check", f"both diagonals between the feet: {diagonals}", key_mm=12.0)


def _aim(column: Column, scene: Scene, placement: Placement) -> None:
    units, stand = scene.units, placement.stand
    column.heading("Height and aim")
    column.row("lens height", f"{show_length(stand.height_m, units, fine=True)} above the ground at the wall")
    column.row("lens to wall", f"{show_length(stand.distance_m, units, fine=True)} square to the wall plane")
    if placement.aim_m is not None:
        along = _from_a(float(placement.aim_m[0]), scene)
        column.row("picture middle", f"{along}, {show_length(float(placement.aim_m[1]), units)} above the ground")
    column.row(
        "turn", _angle(stand.yaw_deg, "right of square to the wall", "left of square to the wall", "square to the wall")
    )
    column.row("tilt", _angle(stand.tilt_deg, "up", "down", "level"))
    column.row("roll", _angle(stand.roll_deg, "clockwise, seen from behind", "against the clock, from behind", "none"))
    column.row("prop", prop_words(placement, scene))


def _from_a(x_m: float, scene: Scene) -> str:
    """A place along the wall as seen from fixed point A, where the tape hangs."""
    away = x_m - float(anchors(scene)[0].plan_m[0])
    return f"{show_length(abs(away), scene.units)} {'right' if away >= 0.0 else 'left'} of A"


def _angle(degrees: float, positive: str, negative: str, none: str) -> str:
    if abs(degrees) < 0.05:
        return none
    return f"{abs(degrees):.1f}\N{DEGREE SIGN} {positive if degrees > 0.0 else negative}"


def _setting(column: Column, scene: Scene, placement: Placement) -> None:
    projector = placement.projector
    column.heading("Projector")
    column.row("which", projector.name or "as in house.toml")
    column.row("native size", f"{projector.size[0]} x {projector.size[1]} px")
    column.row("zoom", zoom_words(projector))
    column.row("lens shift", shift_words(projector))
    if placement.blur is None:
        column.row("focus", "sharp at the middle of the picture")
    else:
        f = placement.blur.focus
        column.row("focus", f"at {show_length(f.at_m, scene.units)}; within a pixel {sharp_words(f, scene.units)}")
    column.row("keystone", "OFF, all corner and warp corrections at zero")
    column.row("picture mode", "note here: ______________________")


def _chain(column: Column, scene: Scene, placement: Placement, services: Services) -> None:
    rig = placement.rig
    column.heading("Player, cables, power")
    size = rig.player_size or placement.projector.size
    column.row("player", f"{rig.player or '______________'}, sends {size[0]} x {size[1]}")
    if size != placement.projector.size:
        column.row("", "differs from the projector's native size: set the player to the native size")
    column.row("video", services.video.text)
    power, site = services.power, scene.site.power
    if power is None or site is None:
        column.row("power", "add [site.power] to house.toml")
        return
    column.row("power", f"from the outlet {_from_a(site.outlet_x_m, scene)}")
    column.row("", f"cord {show_length(power.cord_m, scene.units)}, {power.cord}")
    column.row("", f"{power.load_w:.0f} W, {power.current_a:.1f} A, drop {power.drop_share:.1%}")


def _points(column: Column, scene: Scene, placement: Placement) -> None:
    column.heading("Check points: this pixel must hit that corner")
    rows = []
    for point in check_points(placement):
        along = float(point.place_m[0] - anchors(scene)[0].plan_m[0])
        place = [show_length(value, scene.units) for value in (along, float(point.place_m[1]))]
        rows.append((f"{point.number} {point.what}", *place, f"{point.pixel[0]:.0f}, {point.pixel[1]:.0f}"))
    column.table(("corner", "right of A", "height", "pixel x, y"), rows, (0.4, 0.21, 0.21, 0.18))


def _figures(column: Column, scene: Scene, placement: Placement) -> None:
    column.heading("What it should look like")
    if placement.lit_m2 <= 0.0:
        column.paragraph("No light reaches the front.")
        return
    light, contrast = placement.values("illuminance_lx"), placement.values("contrast")
    pitch = placement.values("pitch_m")
    median = float(np.median(contrast))
    units = scene.units
    column.row("lit", f"{show_area(placement.lit_m2, units)}, {placement.coverage:.0%} of the front")
    column.row("white on the wall", show_light_range(light, units))
    column.row("contrast", f"{median:.0f}:1, {contrast_class(median)}")
    pixel, largest = (show_small(float(value), units) for value in (np.median(pitch), pitch.max()))
    column.row("pixel", f"{pixel} (largest {largest})")
