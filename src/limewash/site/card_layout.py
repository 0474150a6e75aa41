"""Columns of a printed page that fill from the top."""

from __future__ import annotations

from collections.abc import Sequence

from limewash.errors import LimewashError
from limewash.site.canvas import GREY, INK, THIN, Pen, Sheet, wrapped

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of the usual papers. [mm]"""

MARGIN_MM = 12.0
_SIZE = 2.75
_LINE = 3.75


class Column:
    """A column that words and tables are put into, one below the other."""

    def __init__(self, sheet: Sheet, x_mm: float, y_mm: float, width_mm: float) -> None:
        self.sheet, self.x, self.y, self.width = sheet, x_mm, y_mm, width_mm

    def heading(self, text: str) -> None:
        self.y += 5.6
        self.sheet.text(self.x, self.y, text, 3.3, anchor="start", bold=True)
        self.sheet.line((self.x, self.y + 1.2), (self.x + self.width, self.y + 1.2), pen=THIN)
        self.y += 2.0

    def row(self, key: str, value: str, *, key_mm: float = 27.0) -> None:
        """A name and what it is, wrapped where it is long."""
        lines = wrapped(value, self.width - key_mm, _SIZE)
        self.sheet.text(self.x, self.y + _LINE, key, _SIZE, anchor="start", colour="#444444")
        for line in lines or [""]:
            self.y += _LINE
            self.sheet.text(self.x + key_mm, self.y, line, _SIZE, anchor="start")

    def paragraph(self, text: str, *, mark: str = "", bold: bool = False) -> None:
        indent = 3.6 if mark else 0.0
        for number, line in enumerate(wrapped(text, self.width - indent, _SIZE, bold=bold)):
            self.y += _LINE
            if mark and number == 0:
                self.sheet.text(self.x, self.y, mark, _SIZE, anchor="start", bold=bold)
            self.sheet.text(self.x + indent, self.y, line, _SIZE, anchor="start", bold=bold)

    def table(self, titles: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> None:
        """Widths are shares of the column; the first column stands left, the others right; long cells wrap."""
        for number, cells in enumerate([titles, *rows]):
            x, lines = self.x, 0
            colour = "#444444" if number == 0 else INK
            for column, (cell, share) in enumerate(zip(cells, widths, strict=True)):
                wide = share * self.width
                at, anchor = (x, "start") if column == 0 else (x + wide, "end")
                told = wrapped(cell, wide - 1.0, _SIZE) or [""]
                for line, text in enumerate(told, start=1):
                    self.sheet.text(at, self.y + line * _LINE + 0.3, text, _SIZE, anchor=anchor, colour=colour)
                x, lines = x + wide, max(lines, len(told))
            self.y += lines * _LINE + 0.3
            self.sheet.line((self.x, self.y + 1.0), (self.x + self.width, self.y + 1.0), pen=GREY)
        self.y += 1.0

    def grid(self, titles: Sequence[str], widths: Sequence[float], *, rows: int, row_mm: float = 7.5) -> None:
        """An empty table to write into."""
        self.y += 1.2
        top, x = self.y, self.x
        for title, share in zip(titles, widths, strict=True):
            self.sheet.text(x + 1.0, top + 3.4, title, 2.4, anchor="start")
            x += share * self.width
        bottom = top + 5.0 + rows * row_mm
        for number in range(rows + 1):
            y = top + 5.0 + number * row_mm
            self.sheet.line((self.x, y), (self.x + self.width, y), pen=GREY)
        x = self.x
        for share in (0.0, *widths):
            x += share * self.width
            self.sheet.line((x, top), (x, bottom), pen=GREY)
        self.sheet.line((self.x, top), (self.x + self.width, top), pen=Pen(0.25))
        self.y = bottom

    def drawing(self, drawing: Sheet) -> None:
        """Another sheet below what is there, with a thin edge."""
        self.y += 2.0
        self.sheet.place(drawing, self.x, self.y)
        self.sheet.rectangle(self.x, self.y, drawing.width_mm, drawing.height_mm, pen=GREY)
        self.y += drawing.height_mm

    def check_room(self, bottom_mm: float) -> None:
        """A column that runs over its page is a fault of ours."""
        if self.y > bottom_mm + 0.01:
            raise LimewashError(f"the set-up card's column is {self.y - bottom_mm:.0f} mm too long for its page")
