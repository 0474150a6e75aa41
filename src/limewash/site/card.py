"""The set-up card: two printed pages from which the rig can be put back exactly, and a packing list."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.errors import InputError, did_you_mean
from limewash.geometry.homography import apply_homography, fit_homography
from limewash.light.photometry import contrast_class
from limewash.project.lengths import Units, show_length, show_small
from limewash.project.models import House
from limewash.site.canvas import THICK, Pen, Picture, Sheet
from limewash.site.card_layout import MARGIN_MM, PAPERS, Column
from limewash.site.cautions import cautions
from limewash.site.draw_elevation import draw_elevation
from limewash.site.draw_eye import check_points, draw_eye
from limewash.site.draw_plan import draw_plan
from limewash.site.optics import Focus
from limewash.site.packing import packing_list
from limewash.site.pdf_writer import pdf_bytes
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.services import Services, services_of
from limewash.site.stand_marks import anchors, feet_of

Array = NDArray[np.float64]

_PHOTO_SIDE_PX = 1400


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
    wide = Column(sheet, MARGIN_MM, 19.0, inner)
    tall = 98.0 if paper[1] > 285.0 else 88.0
    wide.drawing(draw_plan(placement, scene, size_mm=(inner, tall)))
    half = (inner - 7.0) / 2
    left = Column(sheet, MARGIN_MM, wide.y, half)
    right = Column(sheet, MARGIN_MM + half + 7.0, wide.y, half)
    _feet(left, scene, placement)
    _aim(left, scene, placement)
    _setting(right, scene, placement)
    _chain(right, scene, placement, services)
    below = max(left.y, right.y)
    picture = _photo(house, placement, photo, (half, bottom - below - 3.0)) if photo is not None else None
    if picture is None:
        picture = draw_elevation(placement, scene, size_mm=(inner, bottom - below - 3.0))
    foot = Column(sheet, MARGIN_MM, below, inner)
    foot.drawing(picture)
    foot.check_room(bottom)
    return sheet


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
    _figures(left, placement)
    right.heading("Mind this")
    for text in cautions(placement, scene):
        right.paragraph(text, mark="!")
    for text in (services.power.notes if services.power else ())[:-1]:
        right.paragraph(text, mark="!")
    for text in services.box.notes if services.box else ():
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
    sheet.text(MARGIN_MM, 14.5, house.name, 5.0, anchor="start", bold=True)
    sheet.text(paper[0] - MARGIN_MM, 14.5, f"rig {placement.rig.name!r}", 3.4, anchor="end")
    sheet.text(MARGIN_MM, paper[1] - 8.0, title, 2.5, anchor="start", colour="#444444")
    return sheet, paper[1] - 12.5


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
        x, y = (show_length(float(value), units) for value in placement.aim_m[:2])
        column.row("picture middle", f"{x} along the wall from x = 0, {y} above the ground")
    turned = f"{abs(stand.yaw_deg):.1f}\N{DEGREE SIGN} {'right' if stand.yaw_deg >= 0 else 'left'}"
    tilted = f"{abs(stand.tilt_deg):.1f}\N{DEGREE SIGN} {'up' if stand.tilt_deg >= 0 else 'down'}"
    column.row("turn, tilt, roll", f"{turned}, {tilted}, {stand.roll_deg:.1f}\N{DEGREE SIGN}")
    column.row("prop", prop_words(placement, scene))


def prop_words(placement: Placement, scene: Scene) -> str:
    """Lift under the feet, in words."""
    if placement.prop_m is None:
        return "foot spacing not known (rig.projector.feet)"
    if abs(placement.prop_m) < 0.0005:
        return "none: level"
    feet = "rear" if placement.prop_m > 0.0 else "front"
    return f"{show_small(abs(placement.prop_m), scene.units)} under both {feet} feet"


def sharp_words(focus: Focus, units: Units) -> str:
    """From where to where the picture is sharp."""
    far = f"to {show_length(focus.far_m, units)}" if math.isfinite(focus.far_m) else "on"
    return f"from {show_length(focus.near_m, units)} {far}"


def _setting(column: Column, scene: Scene, placement: Placement) -> None:
    projector = placement.projector
    column.heading("Projector")
    column.row("which", projector.name or "as in house.toml")
    column.row("native size", f"{projector.size[0]} x {projector.size[1]} px")
    span = projector.throw_range
    zoom = f"throw ratio {projector.throw_ratio:.2f}"
    column.row("zoom", f"{zoom} (of {span[0]:g} to {span[1]:g})" if span else zoom)
    shift = projector.lens_shift
    column.row("lens shift", f"{shift[0]:+.0%} across, {shift[1]:+.0%} up, of the full picture")
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
    outlet = f"outlet at {show_length(site.outlet_x_m, scene.units)} along the wall"
    column.row("power", f"{outlet}, cord {show_length(power.cord_m, scene.units)} {power.cord}")
    column.row("", f"{power.load_w:.0f} W, {power.current_a:.1f} A, drop {power.drop_share:.1%}")


def _points(column: Column, scene: Scene, placement: Placement) -> None:
    column.heading("Check points: this pixel must hit that corner")
    rows = []
    for point in check_points(placement):
        place = ", ".join(show_length(float(v), scene.units) for v in point.place_m[:2])
        rows.append((f"{point.number} {point.what}", place, f"{point.pixel[0]:.0f}, {point.pixel[1]:.0f}"))
    column.table(("corner", "x, height", "pixel"), rows, (0.57, 0.26, 0.17))


def _figures(column: Column, placement: Placement) -> None:
    column.heading("What it should look like")
    if placement.lit_m2 <= 0.0:
        column.paragraph("No light reaches the front.")
        return
    light, contrast = placement.values("illuminance_lx"), placement.values("contrast")
    pitch = placement.values("pitch_m")
    median = float(np.median(contrast))
    column.row("lit", f"{placement.lit_m2:.1f} m2, {placement.coverage:.0%} of the front")
    column.row("white on the wall", f"{np.median(light):.0f} lx (from {light.min():.0f} to {light.max():.0f})")
    column.row("contrast", f"{median:.0f}:1, {contrast_class(median)}")
    column.row("pixel", f"{1000 * np.median(pitch):.1f} mm (largest {1000 * pitch.max():.1f} mm)")


def _photo(house: House, placement: Placement, photo: Path, room_mm: tuple[float, float]) -> Sheet | None:
    """The photo with the outline of the light on parts in the wall plane; None without four measured points."""
    measured = house.facade.measured if house.facade is not None else ()
    if len(measured) < 4 or room_mm[1] < 25.0:
        return None
    image, size = _jpeg(photo)
    mm = min(room_mm[0] / size[0], room_mm[1] / size[1])
    sheet = Sheet(size[0] * mm, size[1] * mm)
    sheet.items.append(Picture(0.0, 0.0, sheet.width_mm, sheet.height_mm, image, "image/jpeg"))
    to_photo = fit_homography([point.wall_m for point in measured], [point.photo_px for point in measured])
    edge = shapely.box(0.0, 0.0, sheet.width_mm, sheet.height_mm)
    for part in placement.parts:
        in_wall = abs(float(part.surface.origin_m[2])) < 0.05 and part.surface.normal[2] > 0.999
        if in_wall and not part.seen.plane.is_empty:
            shape = shapely.transform(part.seen.plane, lambda uv: (apply_homography(to_photo, uv) + 0.5) * mm)
            shown = shape.intersection(edge)
            sheet.geometry(shown, pen=Pen(1.1, "#ffffff"))
            sheet.geometry(shown, pen=THICK)
    return sheet


def _jpeg(path: Path) -> tuple[bytes, tuple[int, int]]:
    """A photo small enough for a card, as JPEG, and its original size in pixels."""
    import cv2

    from limewash.media.images import read_image

    rgb = read_image(path)
    height, width = rgb.shape[:2]
    shrink = min(1.0, _PHOTO_SIDE_PX / max(width, height))
    small = cv2.resize(rgb, (round(width * shrink), round(height * shrink)), interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
    return data.tobytes(), (width, height)
