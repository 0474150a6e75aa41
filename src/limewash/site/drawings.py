"""All drawings of a site as files."""

from __future__ import annotations

from pathlib import Path

from limewash.files import make_folder, write_text
from limewash.site.canvas import Sheet
from limewash.site.draw_elevation import draw_elevation
from limewash.site.draw_eye import draw_eye
from limewash.site.draw_heat import draw_heat_map
from limewash.site.draw_plan import draw_plan
from limewash.site.draw_section import draw_section
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.svg_writer import svg_text


def all_drawings(placement: Placement, scene: Scene) -> dict[str, Sheet]:
    """Plan, front, section, the projector's view, and the heat maps; the key is the file's name."""
    return {
        "plan": draw_plan(placement, scene),
        "front": draw_elevation(placement, scene),
        "section": draw_section(placement, scene),
        "projector-view": draw_eye(placement),
        "light": draw_heat_map(placement, scene, "light"),
        "contrast": draw_heat_map(placement, scene, "contrast"),
        "pixels": draw_heat_map(placement, scene, "pixels"),
    }


def write_drawings(folder: Path, sheets: dict[str, Sheet], *, house: str) -> list[Path]:
    """Write sheets as SVG files into a folder.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.
    """
    make_folder(folder)
    written = []
    for name, sheet in sheets.items():
        path = folder / f"{name}.svg"
        write_text(path, svg_text(sheet, title=f"{house}: {name}"))
        written.append(path)
    return written
