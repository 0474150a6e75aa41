"""`limewash map ...`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from limewash.cli.console import print_json, print_table, say
from limewash.cli.options import HERE, JsonOption, ProjectOption
from limewash.errors import InputError, as_typed

app = typer.Typer(no_args_is_help=True, help="The tracing, carried to the projector's own pixels.")


@app.command("export")
def export(
    project: ProjectOption = HERE,
    out: Annotated[Path | None, typer.Option(help="Another folder than the project's map/.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Transfer the tracing through the scan and write the map: lines, areas and masks.

    Example:  limewash map export --project our-house
    """
    from limewash.facade.map import build_map, export_map
    from limewash.facade.svg import read_tracing
    from limewash.facade.transfer import transfer
    from limewash.project.folder import open_project
    from limewash.scan.correspondence import load_correspondence

    opened = open_project(project)
    correspondence = load_correspondence(opened.scan_folder() / "correspondence.npz")
    if not opened.tracing_file.is_file():
        root = as_typed(opened.root)
        raise InputError(
            f"{opened.root} has no tracing yet; draw it in 'limewash studio {root}', or take in a drawing with "
            f"'limewash trace import FILE.svg --project {root}'"
        )
    transferred = transfer(read_tracing(opened.tracing_file), correspondence)
    folder = out or opened.map_folder
    export_map(folder, build_map(transferred, correspondence.projector_size))
    if as_json:
        print_json({"folder": str(folder), "paths": [item.quality_json() for item in transferred]})
        return
    print_table(
        "Transferred",
        ["path", "kind", "scan points", "residual px", "without scan"],
        [
            [
                item.title or item.id,
                item.kind.value,
                str(item.quality.support),
                f"{item.quality.residual_px:.2f}",
                f"{item.quality.extrapolated:.0%}",
            ]
            for item in transferred
        ],
    )
    for item in transferred:
        for warning in item.quality.warnings:
            say(f"Look at {item.title or item.id}: {warning}")
    say(f"Wrote {folder}.")
