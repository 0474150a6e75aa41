"""The tracing as standard SVG over its photo."""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from limewash.errors import InputError
from limewash.facade.svg_data import format_path_data, number
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.files import write_text

FORMAT = 1

# Stroke colour, and dashes as multiples of the stroke's width: told apart on a photo also without colour.
_STROKES: dict[Kind, tuple[str, tuple[float, ...]]] = {
    Kind.WINDOW: ("#ffd23f", ()),
    Kind.DOOR: ("#ff7f50", ()),
    Kind.GARAGE: ("#ff9ecb", (8, 2)),
    Kind.ROOF_LINE: ("#62e2ff", ()),
    Kind.WALL: ("#a8f07a", (4, 3)),
    Kind.POST: ("#c7a3ff", ()),
    Kind.TRIM: ("#ffffff", (1.5, 2)),
    Kind.STEP: ("#8fb0ff", (6, 2, 1.5, 2)),
    Kind.KEEP_DARK: ("#ff4040", (2, 2)),
    Kind.OTHER: ("#cfcfcf", (8, 3, 2, 3)),
}

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write_tracing(path: Path, tracing: Tracing, photo_name: str) -> None:
    """Write `tracing.svg` atomically; see `tracing_svg`. Raises InputError if it cannot be written."""
    write_text(path, tracing_svg(tracing, photo_name))


def tracing_svg(tracing: Tracing, photo_name: str) -> str:
    """The text of `tracing.svg`.

    Parameters
    ----------
    tracing : Tracing
    photo_name : str
        Address of the photo as seen from the file, such as ``photo.png``.

    Returns
    -------
    text : str
        SVG whose numbers are photo pixels: the photo's first pixel has its centre at (0, 0), so the picture
        begins half a pixel to the left and above. Numbers are written in full and read back exactly.

    Raises
    ------
    InputError
        If an id or a title holds a character that XML cannot.
    """
    width, height = tracing.size
    stroke = max(width, height) / 900.0
    runs = itertools.groupby(tracing.items, key=lambda item: item.group)
    items = "".join(_group(name, "".join(_item(item, stroke) for item in run)) for name, run in runs)
    address = quoteattr(_checked(photo_name, "the photo's name"))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"\n'
        f'     width="{width}" height="{height}" viewBox="-0.5 -0.5 {width} {height}"\n'
        f'     data-photo-size="{width} {height}" data-format="{FORMAT}">\n'
        "  <title>Tracing</title>\n"
        "  <desc>Drawn over the photo, one unit a pixel. Each path says by data-kind what it is: "
        f"{', '.join(kind.value for kind in Kind)}.</desc>\n"
        f'  <image id="photo" x="-0.5" y="-0.5" width="{width}" height="{height}" preserveAspectRatio="none"\n'
        f"         href={address} xlink:href={address}/>\n"
        '  <g id="paths" stroke-linejoin="round" stroke-linecap="round">\n'
        f"{items}"
        "  </g>\n"
        "</svg>\n"
    )


def _group(name: str, items: str) -> str:
    """Neighbours of one group; a group whose members do not follow each other is written in several parts."""
    return f"    <g><title>{escape(_checked(name, 'group'))}</title>\n{items}    </g>\n" if name else items


def _item(item: Traced, stroke_px: float) -> str:
    colour, dashes = _STROKES[item.kind]
    fill = f'fill="{colour}" fill-opacity="0.12"' if item.is_area else 'fill="none"'
    pattern = " ".join(number(round(dash * stroke_px, 2)) for dash in dashes)
    surface = f' data-surface="{item.surface.value}"' if item.surface else ""
    locked = ' data-locked="true"' if item.locked else ""
    title = f"<title>{escape(_checked(item.title, item.id))}</title>" if item.title else ""
    return (
        f'    <path id={quoteattr(_checked(item.id, item.id))} data-kind="{item.kind.value}"{surface}{locked}\n'
        f'          {fill} stroke="{colour}" stroke-width="{number(round(stroke_px, 2))}"'
        + (f' stroke-dasharray="{pattern}"' if pattern else "")
        + f'\n          d="{format_path_data(item.path)}">{title}</path>\n'
    )


def _checked(text: str, where: str) -> str:
    bad = _NOT_XML.search(text)
    if bad:
        raise InputError(f"{where!r}: the character {bad.group()!r} cannot be saved; take it out of the name")
    return text
