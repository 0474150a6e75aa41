"""What jobs do: plain data in, plain data out; each calls the same library function as the command line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from limewash.progress import Progress
from limewash.project.folder import open_project
from limewash.scan.mark import Form

Result = dict[str, Any]


def write_pattern(progress: Progress, *, size: tuple[int, int], rate: int, out: str, form: Form = "usual") -> Result:
    """The pattern film for a projector."""
    from limewash.scan.pattern import plan_pattern
    from limewash.scan.pattern import write_pattern as write

    plan = plan_pattern((size[0], size[1]), rate, form)
    write(Path(out), plan, progress)
    return {"seconds": plan.duration_s}


def read_scan(progress: Progress, *, project: str, clip: str) -> Result:
    """A clip, or a ZIP file of photos, into a new scan of the project."""
    from limewash.scan.any_input import read_any
    from limewash.scan.read import keep_scan

    opened = open_project(Path(project))
    result = read_any(Path(clip), opened.rig.projector.size, progress)
    folder = keep_scan(opened, result)
    return {"scan": folder.name, "warnings": len(result.findings.warnings)}


def make_map(progress: Progress, *, project: str) -> Result:
    """The tracing carried to the projector, exactly."""
    from limewash.facade.map import build_map, export_map
    from limewash.facade.svg import read_tracing
    from limewash.facade.transfer import transfer
    from limewash.scan.correspondence import load_correspondence

    opened = open_project(Path(project))
    progress(0.05, "reading the scan")
    correspondence = load_correspondence(opened.scan_folder() / "correspondence.npz")
    progress(0.2, "carrying the lines over")
    transferred = transfer(read_tracing(opened.tracing_file), correspondence)
    progress(0.7, "drawing the map")
    export_map(opened.map_folder, build_map(transferred, correspondence.projector_size))
    return {"paths": [item.quality_json() for item in transferred]}


def render_show(progress: Progress, *, project: str, name: str) -> Result:
    """The film that the projector plays."""
    from limewash.show.folder import make_film, open_show

    opened = open_project(Path(project))
    progress(0.0, "reading score and map")
    show = open_show(opened, name)
    make_film(opened, show, progress=progress)
    return {"film": show.film.name}


def search_stands(progress: Progress, *, project: str) -> Result:
    """Every allowed stand tried, the best ones ranked."""
    from limewash.site import report
    from limewash.site.advice import what_would_help, why_first
    from limewash.site.scene import build_scene
    from limewash.site.search import search

    house = open_project(Path(project)).house
    scene = build_scene(house)
    result = search(house, scene, progress=progress)
    return {
        "columns": list(report.CANDIDATE_COLUMNS),
        "rows": [[str(cell) for cell in row] for row in report.candidate_rows(result, scene.units)],
        "rigs": [one.rig.model_dump(mode="json") for one in result.best],
        "why": why_first(result.best[0], result.best[1], scene) if len(result.best) > 1 else "",
        "helps": [{"short": one.short, "steps": list(one.steps)} for one in what_would_help(house, scene, result)],
        "evaluated": result.evaluated,
    }


def make_demo(progress: Progress, *, root: str, house: str) -> Result:
    """A project of an invented house, scanned exactly and traced, to try everything on."""
    from limewash.studio.demo_project import make_demo_project

    make_demo_project(Path(root), house, progress)
    return {"folder": root}


def make_packet(progress: Progress, *, project: str, out: str) -> Result:
    """The packet for an outside artist."""
    from limewash.studio.packet_files import packet_of

    packet_of(open_project(Path(project)), Path(out), progress)
    return {"bytes": Path(out).stat().st_size}


def take_in_film(progress: Progress, *, project: str, name: str, film: str, anyway: bool) -> Result:
    """A film from outside: checked, and taken in as a show when nothing forbids it."""
    from limewash.studio.packet_files import take_in

    return take_in(open_project(Path(project)), name, Path(film), progress, anyway=anyway)


WORK: dict[str, Callable[..., Result]] = {
    "pattern": write_pattern,
    "read": read_scan,
    "map": make_map,
    "search": search_stands,
    "render": render_show,
    "demo": make_demo,
    "packet": make_packet,
    "film": take_in_film,
}
