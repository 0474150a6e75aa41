"""`limewash scan ...`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from limewash.cli.console import bar, print_json, print_table, say
from limewash.cli.options import HERE, JsonOption, ProjectOption, parse_size
from limewash.errors import InputError

if TYPE_CHECKING:
    from limewash.scan.findings import Findings

_CARE = (
    "Do not look into the lens. Keep cords and tripod off paths where people walk. The pattern flashes: warn those who "
    "cannot bear flashing light."
)

app = typer.Typer(no_args_is_help=True, help="Learn where every projector pixel lands on the house.")


@app.command("pattern")
def pattern(
    out: Annotated[Path | None, typer.Argument(metavar="[OUT.mp4]", help="The pattern video to write.")] = None,
    size: Annotated[str, typer.Option(help="Native pixels of the projector.")] = "1920x1080",
    rate: Annotated[int, typer.Option(min=24, max=60, help="Frames a second.")] = 30,
    short: Annotated[bool, typer.Option("--short", help="Under 12 s, to find a bumped projector again.")] = False,
    stills: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Instead of a video, write its pictures as numbered PNGs, to be shown and photographed one by one.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Write the pattern video that the projector plays while a phone films the house.

    Example:  limewash scan pattern pattern.mp4 --size 1920x1080

      limewash scan pattern again.mp4 --short

      limewash scan pattern --stills pictures --short --size 1920x1080
    """
    from limewash.scan.pattern import plan_pattern, write_pattern
    from limewash.scan.shots import write_pictures

    plan = plan_pattern(parse_size(size), rate, "short" if short else "usual")
    if (out is None) == (stills is None):
        raise InputError("name either the video, 'limewash scan pattern OUT.mp4', or a folder: --stills DIR")
    with bar("Pattern") as report:
        if stills is not None:
            pictures = write_pictures(stills, plan, report)
        elif out is not None:
            write_pattern(out, plan, report)
    made: dict[str, Any] = {"size": list(plan.size), "form": plan.form}
    if stills is not None:
        if as_json:
            print_json({"folder": str(stills), "pictures": [path.name for path in pictures], **made})
            return
        say(
            f"Wrote {len(pictures)} pictures for a {size} projector into {stills}.\n"
            "Show each full screen, unscaled, and photograph it once or more: camera on a tripod, triggered by "
            "self-timer or remote, exposure, focus and white balance locked, room and street dark. The order does not "
            f"matter. Put just the photos into one folder, then: limewash scan read FOLDER --project ...\n{_CARE}"
        )
        return
    if as_json:
        lasts = {"duration_s": plan.duration_s, "beat_s": plan.beat_s, "frames": plan.frame_count}
        print_json({"file": str(out), "rate": rate, **made, **lasts})
        return
    say(
        f"Wrote {out}: {plan.duration_s:.0f} s at {rate} frames a second for a {size} projector.\n"
        "Play it full screen with the projector and player of the show, keystone correction off. Film it from start to "
        f"end with a phone on a tripod that sees the whole picture; do not touch phone or projector meanwhile.\n{_CARE}"
    )


class Source(StrEnum):
    """What was projected and recorded."""

    VIDEO = "video"
    GRAY = "gray"


@app.command("read")
def read(
    clip: Annotated[Path, typer.Argument(metavar="CLIP", help="What the phone filmed, or a folder or ZIP of photos.")],
    project: ProjectOption = HERE,
    pattern_kind: Annotated[
        Source,
        typer.Option(
            "--pattern",
            help="video: Limewash's own pattern, filmed, or photographed picture by picture in any order. gray: stills "
            "of a plain Gray code, in order: columns, rows, each with its inverse, then black and white.",
        ),
    ] = Source.VIDEO,
    size: Annotated[str | None, typer.Option(help="Projector pixels; those of the project when left out.")] = None,
    keep_frames: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Also keep what the phone saw of each picture, for diagnosis.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Read a filmed clip or a folder of photos: where each projector pixel lands, a photo to trace on, and findings.

    Example:  limewash scan read IMG_0042.MOV --project our-house

      limewash scan read photos --project our-house      (of the pictures of 'scan pattern --stills')

      limewash scan read stills --pattern gray --size 1024x768 --project our-house
    """
    from limewash.project.folder import open_project
    from limewash.scan.any_input import read_any
    from limewash.scan.read import keep_scan
    from limewash.scan.stills import read_gray_stills

    opened = open_project(project)
    projector_size = parse_size(size) if size else opened.rig.projector.size
    if projector_size != opened.rig.projector.size:
        native = "x".join(str(side) for side in opened.rig.projector.size)
        raise InputError(f"--size is {size}, but the project's projector has {native}; set rig.projector.size to match")
    if keep_frames is not None and pattern_kind is Source.GRAY:
        raise InputError("--keep-frames is for Limewash's own pattern; stills are kept already")
    opened.check_takes_scans()
    with bar("Scan") as report:
        if pattern_kind is Source.GRAY:
            result = read_gray_stills(clip, projector_size, report)
        else:
            result = read_any(clip, projector_size, report, keep=keep_frames)
    folder = keep_scan(opened, result)
    if as_json:
        print_json({"scan": folder.name, **result.findings.to_json()})
        return
    print_findings(result.findings)
    say(
        f"Saved as {folder}; findings.png in it shows what the projector reaches.\n"
        f"Next: draw over {folder / 'photo.png'} in any vector editor, then 'limewash trace import'."
    )
    used = opened.scan_folder()
    if used != folder:
        say(f'house.toml still uses {used.name}: write scan = "newest" there to go on with this one.')


@app.command("check")
def check(
    project: ProjectOption = HERE,
    scan: Annotated[str | None, typer.Option(help="Which scan; the one in use when left out.")] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="OUT.png", help="Where the picture goes; into the scan when left out.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show again what a scan found, and draw it over the photo.

    Example:  limewash scan check --project our-house
    """
    from limewash.media.images import read_image, write_image
    from limewash.project.folder import open_project
    from limewash.scan.correspondence import load_correspondence
    from limewash.scan.findings import load_findings
    from limewash.scan.overlay import findings_picture

    folder = open_project(project).scan_folder(scan)
    findings = load_findings(folder / "findings.json")
    picture = out or folder / "findings.png"
    correspondence = load_correspondence(folder / "correspondence.npz")
    write_image(picture, findings_picture(read_image(folder / "photo.png"), correspondence, findings))
    if as_json:
        print_json({"scan": folder.name, "picture": str(picture), **findings.to_json()})
        return
    print_findings(findings)
    say(f"Drew {picture}: what the projector reaches, and what not.")


def print_findings(findings: Findings) -> None:
    """Each finding in plain words, the remedy below it."""
    rows = [[item.severity, item.text, item.remedy] for item in findings.items]
    print_table("What the scan found", ["", "finding", "what to do"], rows, prose=True)
