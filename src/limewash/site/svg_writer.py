"""A sheet as standard SVG, at its size in millimetres."""

from __future__ import annotations

import base64
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from limewash.site.canvas import Label, Pen, Picture, Shape, Sheet, printable

_FONT = "Helvetica, Arial, 'Liberation Sans', sans-serif"


def svg_text(sheet: Sheet, *, title: str) -> str:
    """The whole file."""
    size = f'width="{sheet.width_mm:g}mm" height="{sheet.height_mm:g}mm"'
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {size} '
        f'viewBox="0 0 {sheet.width_mm:g} {sheet.height_mm:g}">'
    )
    paper = f'<rect width="{sheet.width_mm:g}" height="{sheet.height_mm:g}" fill="#ffffff"/>'
    body = []
    for item in sheet.items:
        if isinstance(item, Shape):
            body.append(_shape(item))
        elif isinstance(item, Label):
            body += _label(item)
        else:
            body.append(_picture(item))
    return "\n".join([head, f"<title>{escape(title)}</title>", paper, *body, "</svg>", ""])


def _shape(item: Shape) -> str:
    tail = " Z" if item.closed else ""
    path = " ".join("M " + " L ".join(f"{x:.3f} {y:.3f}" for x, y in ring) + tail for ring in item.rings)
    fill = f'fill="{item.fill}" fill-rule="evenodd"' if item.fill else 'fill="none"'
    return f'<path d="{path}" {fill} {_stroke(item.pen)}/>'


def _stroke(pen: Pen | None) -> str:
    if pen is None:
        return 'stroke="none"'
    dash = f' stroke-dasharray="{" ".join(f"{d:g}" for d in pen.dash_mm)}"' if pen.dash_mm else ""
    return f'stroke="{pen.colour}" stroke-width="{pen.width_mm:g}" stroke-linejoin="round"{dash}'


def _label(item: Label) -> list[str]:
    out = []
    if item.backed:
        corners = item.corners_mm(room_mm=0.3)
        out.append(_shape(Shape((np.asarray(corners),), True, None, "#ffffff")))
    turn = f' transform="rotate({-item.angle_deg:g} {item.x_mm:.3f} {item.y_mm:.3f})"' if item.angle_deg else ""
    weight = ' font-weight="bold"' if item.bold else ""
    out.append(
        f'<text x="{item.x_mm:.3f}" y="{item.y_mm:.3f}" font-family={quoteattr(_FONT)} font-size="{item.size_mm:g}" '
        f'text-anchor="{item.anchor}" fill="{item.colour}"{weight}{turn}>{escape(printable(item.text))}</text>'
    )
    return out


def _picture(item: Picture) -> str:
    data = base64.b64encode(item.data).decode("ascii")
    return (
        f'<image x="{item.x_mm:.3f}" y="{item.y_mm:.3f}" width="{item.width_mm:.3f}" height="{item.height_mm:.3f}" '
        f'preserveAspectRatio="none" xlink:href="data:{item.media_type};base64,{data}"/>'
    )
