"""`limewash trace ...`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from limewash.cli.console import print_json, print_table, say
from limewash.cli.options import HERE, JsonOption, ProjectOption
from limewash.errors import as_typed

app = typer.Typer(no_args_is_help=True, help="The drawing of windows, doors and roof line over the photo.")


@app.command("import")
def import_(
    drawing: Annotated[Path, typer.Argument(metavar="FILE.svg", help="Drawn over the photo in any vector editor.")],
    project: ProjectOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Take a drawing into the project as its tracing.

    Name the paths after what they are ("window 3", "roof line"), or put them into layers so named.

    Example:  limewash trace import house.svg --project our-house
    """
    from limewash.facade.svg import import_svg, tracing_svg
    from limewash.media.images import read_image
    from limewash.project.folder import open_project

    opened = open_project(project)
    photo = opened.scan_folder() / "photo.png"
    height, width = read_image(photo).shape[:2]
    tracing = import_svg(drawing, (width, height), notice=say)
    text = tracing_svg(tracing, photo.relative_to(opened.root).as_posix())
    opened.write(opened.tracing_file, text.encode("utf-8"))
    rows = [[item.id, item.kind.value, "area" if item.is_area else "outline", item.title] for item in tracing.items]
    if as_json:
        print_json([dict(zip(("id", "kind", "form", "title"), row, strict=True)) for row in rows])
        return
    print_table("Traced", ["id", "kind", "form", "title"], rows)
    say(f"Saved as {opened.tracing_file}. Next: limewash map export --project {as_typed(project)}")


@app.command("propose")
def propose_(
    project: ProjectOption = HERE,
    accept: Annotated[
        bool, typer.Option("--accept", help="Put all that was found into the tracing; without it they are only listed.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Find windows, doors and roof lines on the scan's photo.

    They are proposals: look at them on the Trace page of the studio and put right what is wrong.

    Example:  limewash trace propose --project our-house --accept
    """
    from limewash.facade.propose import fresh, in_words, propose
    from limewash.facade.svg import read_tracing, tracing_svg
    from limewash.facade.tracing import Tracing
    from limewash.media.images import read_image
    from limewash.project.folder import open_project
    from limewash.scan.correspondence import load_correspondence

    opened = open_project(project)
    scan = opened.scan_folder()
    photo = read_image(scan / "photo.png")
    found = propose(photo, load_correspondence(scan / "correspondence.npz"))
    rows = [[p.traced.id, p.traced.kind.value, f"{p.confidence:.2f}"] for p in found]
    if as_json:
        told = [(p.traced.id, p.traced.kind.value, round(p.confidence, 4)) for p in found]
        print_json([dict(zip(("id", "kind", "confidence"), one, strict=True)) for one in told])
    else:
        print_table("Found", ["id", "kind", "confidence"], rows)
    if not accept:
        say(f"Found {in_words(found)}. Nothing was changed; --accept puts them into the tracing.")
        return
    size = (photo.shape[1], photo.shape[0])
    tracing = read_tracing(opened.tracing_file) if opened.tracing_file.is_file() else Tracing(size)
    new = fresh(found, tracing)
    whole = Tracing(tracing.size, (*tracing.items, *new))
    text = tracing_svg(whole, (scan / "photo.png").relative_to(opened.root).as_posix())
    opened.write(opened.tracing_file, text.encode("utf-8"))
    say(f"Put {len(new)} of {len(found)} into {opened.tracing_file}; what was drawn there already is left as it was.")
