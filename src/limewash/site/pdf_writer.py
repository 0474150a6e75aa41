"""Sheets as the pages of a PDF."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from limewash.site.canvas import Label, Pen, Picture, Shape, Sheet, printable

_MM = 72.0 / 25.4


def pdf_bytes(pages: Sequence[Sheet], *, title: str) -> bytes:
    """One page for each sheet, at its size; the same sheets give the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    canvas = Canvas(out, pageCompression=1, invariant=1)
    canvas.setTitle(printable(title))
    canvas.setCreator("Limewash")
    for sheet in pages:
        canvas.setPageSize((sheet.width_mm * _MM, sheet.height_mm * _MM))
        # Millimetres from the upper left corner, y down, as on the sheet.
        canvas.transform(_MM, 0, 0, -_MM, 0, sheet.height_mm * _MM)
        for item in sheet.items:
            if isinstance(item, Shape):
                _shape(canvas, item)
            elif isinstance(item, Label):
                _label(canvas, item)
            else:
                _picture(canvas, item)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _shape(canvas: Any, item: Shape) -> None:
    path = canvas.beginPath()
    for ring in item.rings:
        path.moveTo(*ring[0])
        for point in ring[1:]:
            path.lineTo(*point)
        if item.closed:
            path.close()
    if item.fill:
        canvas.setFillColor(_colour(item.fill))
    if item.pen:
        _take(canvas, item.pen)
    canvas.drawPath(path, stroke=int(item.pen is not None), fill=int(item.fill is not None), fillMode=0)


def _take(canvas: Any, pen: Pen) -> None:
    canvas.setStrokeColor(_colour(pen.colour))
    canvas.setLineWidth(pen.width_mm)
    canvas.setLineJoin(1)
    canvas.setDash(list(pen.dash_mm)) if pen.dash_mm else canvas.setDash()


def _label(canvas: Any, item: Label) -> None:
    if item.backed:
        _shape(canvas, Shape((item.corners_mm(room_mm=0.3),), True, None, "#ffffff"))
    canvas.saveState()
    canvas.translate(item.x_mm, item.y_mm)
    canvas.scale(1, -1)
    canvas.rotate(item.angle_deg)
    canvas.setFillColor(_colour(item.colour))
    canvas.setFont("Helvetica-Bold" if item.bold else "Helvetica", item.size_mm)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[item.anchor](0, 0, printable(item.text))
    canvas.restoreState()


def _picture(canvas: Any, item: Picture) -> None:
    from reportlab.lib.utils import ImageReader

    canvas.saveState()
    canvas.translate(item.x_mm, item.y_mm + item.height_mm)
    canvas.scale(1, -1)
    canvas.drawImage(ImageReader(io.BytesIO(item.data)), 0, 0, item.width_mm, item.height_mm)
    canvas.restoreState()


def _colour(text: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(text)
