"""`limewash site ...`."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from limewash.cli.console import bar, print_json, print_table, say
from limewash.cli.options import HERE, JsonOption, ProjectOption

if TYPE_CHECKING:
    from limewash.project.folder import Project
    from limewash.project.models import Rig
    from limewash.site.placement import Placement
    from limewash.site.scene import Scene

app = typer.Typer(no_args_is_help=True, help="Where to put which projector, and a card to put it back exactly.")

RigOption = Annotated[str | None, typer.Option("--rig", help="Name of the rig; the first when left out.")]
DrawingsOption = Annotated[
    Path | None, typer.Option("--drawings", metavar="DIR", help="Also write the drawings into this folder, as SVG.")
]


@app.command("check")
def check(
    project: ProjectOption = HERE,
    rig: RigOption = None,
    drawings: DrawingsOption = None,
    as_json: JsonOption = False,
) -> None:
    """What a rig at its stand does to the front: size, light, contrast, focus, shadows, people, power.

    Example:  limewash site check --project our-house --drawings our-house/site
    """
    from limewash.site import report, report_json
    from limewash.site.cautions import cautions
    from limewash.site.drawings import all_drawings, write_drawings
    from limewash.site.services import services_of

    opened, scene, placement = _placed(project, rig)
    services = services_of(placement, scene)
    if drawings is not None:
        write_drawings(drawings, all_drawings(placement, scene), house=opened.house.name)
    if as_json:
        print_json(report_json.placement_json(placement, scene, services))
        return
    print_table(f"Rig {placement.rig.name!r}", ["what", "figure"], report.placement_rows(placement, scene))
    print_table(
        "Parts of the front",
        ["part", "lit", "light", "mean", "of the picture"],
        report.part_rows(placement, scene.units),
    )
    if placement.shadows:
        columns = ["shadow of", "on", "area", "seen by the audience"]
        print_table("Shadows", columns, report.shadow_rows(placement, scene.units))
    print_table("Power, cable, weather", ["what", "figure"], report.service_rows(services, scene))
    notes = services.power.notes if services.power is not None else ()
    warm = services.box.notes if services.box is not None else ()
    for text in (*cautions(placement, scene), *notes, *warm, *services.assumed):
        say(f"! {text}")
    if drawings is not None:
        say(f"Drawings are in {drawings}.")


@app.command("search")
def search(
    project: ProjectOption = HERE,
    count: Annotated[int, typer.Option(min=1, max=50, help="How many of the best to show.")] = 6,
    drawings: DrawingsOption = None,
    take: Annotated[
        int | None, typer.Option("--take", min=1, max=50, help="Write this one of the best into house.toml as a rig.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Try every allowed stand, height, projector and section, and rank them.

    Example:  limewash site search --project our-house --take 1
    """
    from limewash.project.folder import open_project
    from limewash.site import report, report_json
    from limewash.site.advice import what_would_help, why_first
    from limewash.site.scene import build_scene
    from limewash.site.search import search as search_stands

    opened = open_project(project)
    scene = build_scene(opened.house)
    with bar("Search") as progress:
        result = search_stands(opened.house, scene, progress=progress, count=max(count, take or 0))
    why = why_first(result.best[0], result.best[1], scene) if len(result.best) > 1 else ""
    helps = what_would_help(opened.house, scene, result)
    if drawings is not None:
        from limewash.site.draw_pareto import draw_pareto
        from limewash.site.drawings import write_drawings

        write_drawings(drawings, {"choices": draw_pareto(result, scene.units)}, house=opened.house.name)
    if take is not None:
        _take(opened, result.best[:take][-1].rig if take <= len(result.best) else None, take)
    if as_json:
        print_json(report_json.search_json(result, why, helps))
        return
    rows = report.candidate_rows(result, scene.units)
    print_table(f"Best of {result.evaluated}", report.CANDIDATE_COLUMNS, rows)
    for line in (
        why,
        *(line for h in helps for line in (f"{h.short}. What would help:", *(f"  - {s}" for s in h.steps))),
    ):
        if line:
            say(line)


@app.command("card")
def card(
    project: ProjectOption = HERE,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE.pdf", help="Else setup-card.pdf in the project.")
    ] = None,
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    rig: RigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Print the set-up card: from it the rig can be put back exactly, next week and next year.

    Example:  limewash site card --project our-house --paper letter
    """
    from limewash.files import write_bytes
    from limewash.site.card import card_pdf
    from limewash.site.packing import packing_list
    from limewash.site.services import services_of

    opened, scene, placement = _placed(project, rig)
    photo = opened.scan_folder() / "photo.png" if opened.scans() else None
    data = card_pdf(opened.house, scene, placement, paper=paper, photo=photo)
    if out is None:
        out = opened.root / "setup-card.pdf"
        opened.write(out, data)
    else:
        write_bytes(out, data)
    things = packing_list(placement, scene, services_of(placement, scene))
    if as_json:
        print_json({"card": str(out), "bring": [{"count": thing.count, "what": thing.what} for thing in things]})
        return
    print_table("Bring", ["", "what"], [[f"{thing.count}", thing.what] for thing in things])
    say(f"Wrote {out}. Print it at 100 %, without fitting to the page, and hang it where the projector is kept.")


def _placed(project: Path, rig_name: str | None) -> tuple[Project, Scene, Placement]:
    from limewash.project.folder import open_project
    from limewash.site.placement import check_rig
    from limewash.site.scene import build_scene

    opened = open_project(project)
    scene = build_scene(opened.house)
    number, rig = _rig(opened, rig_name)
    return opened, scene, check_rig(scene, rig, key=f"rig[{number}]")


def _rig(opened: Project, name: str | None) -> tuple[int, Rig]:
    from limewash.errors import InputError, did_you_mean

    if name is None:
        return 1, opened.rig
    for number, rig in enumerate(opened.house.rig, start=1):
        if rig.name == name:
            return number, rig
    raise InputError(f"house.toml has no rig {name!r}{did_you_mean(name, [rig.name for rig in opened.house.rig])}")


def _take(opened: Project, rig: Rig | None, number: int) -> None:
    """Put a stand into house.toml: in place of the rig with the same projector, else as a new rig."""
    from limewash.errors import InputError, as_typed

    if rig is None:
        raise InputError(f"--take {number}: the search did not tell so many apart")
    rigs = list(opened.house.rig)
    same = next((i for i, old in enumerate(rigs) if rig.name == (old.projector.name or old.name)), None)
    if same is not None:
        name = rigs[same].name
        rigs[same] = rigs[same].model_copy(update={"stand": rig.stand, "projector": rig.projector})
    else:
        names = [old.name for old in rigs]
        numbered = (f"{rig.name} {number}" for number in itertools.count(2))
        name = next(free for free in itertools.chain([rig.name], numbered) if free not in names)
        rigs.append(rig.model_copy(update={"name": name}))
    opened.with_house(rig=rigs)
    look = f"limewash site check --project {as_typed(opened.root)}"
    if name != rigs[0].name:
        look += f" --rig {as_typed(name)}"
    say(f"Wrote stand {number} into house.toml as rig {name!r} (the old file is in history/). Look at it: {look}")
