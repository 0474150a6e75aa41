"""The map's lines as a picture and as SVG."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from shapely.geometry.polygon import orient

from limewash.errors import InputError
from limewash.facade.fill import cover_of
from limewash.facade.house_map import HouseMap, MapPath
from limewash.facade.svg_data import format_path_data, number, parse_path_data
from limewash.facade.svg_xml import SVG, read_document
from limewash.facade.tracing import Kind, parse_kind
from limewash.geometry.path import polyline

Array = NDArray[np.float64]

# Width of the line and its dashes and gaps, in 1/1000 of the picture's width, but at least in px.
_LINES: dict[Kind, tuple[float, tuple[float, ...]]] = {
    Kind.WINDOW: (1.0, ()),
    Kind.DOOR: (1.6, ()),
    Kind.GARAGE: (1.6, (12.0, 4.0)),
    Kind.ROOF_LINE: (2.2, ()),
    Kind.WALL: (1.0, (8.0, 5.0)),
    Kind.POST: (1.0, (3.0, 2.0)),
    Kind.TRIM: (0.7, ()),
    Kind.STEP: (1.0, (14.0, 3.0, 2.0, 3.0)),
    Kind.KEEP_DARK: (1.0, (1.5, 2.5)),
    Kind.OTHER: (0.7, (5.0, 3.0)),
}


def line_picture(house_map: HouseMap) -> NDArray[np.uint8]:
    """All lines at the projector's native size, white on black, anti-aliased, shape (H, W).

    Kinds differ in width and dashes.
    """
    width, height = house_map.size
    picture = np.zeros((height, width), dtype=np.uint8)
    for item in house_map.lines:
        thickness, dashes = _look(item.kind, width)
        for polygon in _stroke(_chain(item), thickness, dashes):
            left, top, cover = cover_of(_rings(polygon), house_map.size)
            part = picture[top : top + cover.shape[0], left : left + cover.shape[1]]
            np.maximum(part, cover, out=part)
    return picture


def map_svg(house_map: HouseMap) -> str:
    """The lines as SVG in projector pixels; numbers are written in full and read back exactly."""
    width, height = house_map.size
    items = "".join(_item(item, width) for item in house_map.lines)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"\n'
        f'     viewBox="-0.5 -0.5 {width} {height}" data-projector-size="{width} {height}">\n'
        "  <title>Map</title>\n"
        "  <desc>In the projector's native pixels: show it full screen, without scaling.</desc>\n"
        f'  <rect x="-0.5" y="-0.5" width="{width}" height="{height}" fill="#000000"/>\n'
        f'  <g fill="none" stroke="#ffffff" stroke-linejoin="round">\n{items}  </g>\n</svg>\n'
    )


def read_map_svg(path: Path) -> list[MapPath]:
    """The paths of a `map.svg` that `map_svg` wrote. Raises InputError if it is damaged."""
    found = []
    for element in read_document(path).root.iter(f"{{{SVG}}}path"):
        name = element.get("id", "")
        paths = parse_path_data(element.get("d", ""))
        if len(paths) != 1:
            raise InputError(f"{path}: {name!r} is not one path; make the map again with 'limewash map export'")
        chain = [segment.start for segment in paths[0].segments]
        if not paths[0].closed:
            chain.append(paths[0].end)
        kind = parse_kind(element.get("data-kind", ""), where=f"{path}, {name!r}")
        title = element.findtext(f"{{{SVG}}}title", "")
        found.append(MapPath(name, kind, title, paths[0].closed, np.array(chain, dtype=np.float64)))
    return found


def _item(item: MapPath, width: int) -> str:
    thickness, dashes = _look(item.kind, width)
    pattern = f' stroke-dasharray="{" ".join(number(dash) for dash in dashes)}"' if dashes else ""
    title = f"<title>{escape(item.title)}</title>" if item.title else ""
    return (
        f'    <path id={quoteattr(item.id)} data-kind="{item.kind.value}" stroke-width="{number(thickness)}"{pattern}\n'
        f'          d="{format_path_data(polyline(item.points, closed=item.closed))}">{title}</path>\n'
    )


def _look(kind: Kind, width: int) -> tuple[float, tuple[float, ...]]:
    thickness, dashes = _LINES[kind]
    unit = max(width / 1000.0, 1.0)  # kinds must differ on small pictures too
    return round(thickness * unit, 2), tuple(round(dash * unit, 2) for dash in dashes)


def _chain(item: MapPath) -> shapely.LineString:
    points = np.vstack([item.points, item.points[:1]]) if item.closed else item.points
    return shapely.LineString(points)


def _stroke(chain: shapely.LineString, thickness: float, dashes: tuple[float, ...]) -> list[shapely.Polygon]:
    if not dashes:
        body = shapely.buffer(chain, thickness / 2.0, quad_segs=4)
    else:
        body = shapely.buffer(_dashed(chain, dashes), thickness / 2.0, cap_style="flat", quad_segs=4)
    return [part for part in shapely.get_parts(body) if isinstance(part, shapely.Polygon)]


def _dashed(chain: shapely.LineString, dashes: tuple[float, ...]) -> shapely.MultiLineString:
    pieces, at, turn = [], 0.0, 0
    while at < chain.length:
        length = dashes[turn % len(dashes)]
        if turn % 2 == 0:
            pieces.append(shapely.ops.substring(chain, at, min(at + length, chain.length)))
        at, turn = at + length, turn + 1
    return shapely.MultiLineString([piece for piece in pieces if isinstance(piece, shapely.LineString)])


def _rings(polygon: shapely.Polygon) -> list[Array]:
    turned = orient(polygon)
    return [shapely.get_coordinates(ring)[:-1] for ring in (turned.exterior, *turned.interiors)]
