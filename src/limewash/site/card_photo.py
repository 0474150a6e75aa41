"""The photo of the front on the set-up card, with the edge of the light."""

from __future__ import annotations

from pathlib import Path

import shapely

from limewash.geometry.homography import apply_homography, fit_homography
from limewash.project.models import House
from limewash.site.canvas import THICK, Pen, Picture, Sheet
from limewash.site.placement import Placement
from limewash.site.shapes import moved

_PHOTO_SIDE_PX = 1400


def photo_sheet(house: House, placement: Placement, photo: Path, room_mm: tuple[float, float]) -> Sheet | None:
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
            shape = moved(part.seen.plane, lambda uv: (apply_homography(to_photo, uv) + 0.5) * mm)
            # Its outer edge alone: windows are easily found without.
            whole = shapely.union_all([shapely.Polygon(ring.exterior) for ring in shapely.get_parts(shape)])
            shown = whole.intersection(edge)
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
