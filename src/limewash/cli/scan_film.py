"""`limewash scan film`: with a camera of the computer, or in a virtual house."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from limewash.cli.console import bar, print_json, print_table, say
from limewash.cli.options import JsonOption, parse_size
from limewash.errors import InputError, as_typed


def film(
    first: Annotated[
        Path | None, typer.Argument(metavar="[PATTERN.mp4]", help="For a virtual house: the video that is projected.")
    ] = None,
    second: Annotated[Path | None, typer.Argument(metavar="CLIP.mp4", help="The clip to write.")] = None,
    camera: Annotated[
        str | None,
        typer.Option(help="Film with a camera of this computer, by its number, or one of the network, by its address."),
    ] = None,
    cameras: Annotated[bool, typer.Option("--cameras", help="List the cameras of this computer.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only tell how the camera's picture is exposed.")] = False,
    seconds: Annotated[float, typer.Option(min=5.0, max=600.0, help="How long to film; Ctrl-C ends it before.")] = 60.0,
    house: Annotated[str, typer.Option(help="Which virtual house: painted or brick.")] = "painted",
    size: Annotated[str, typer.Option(help="Pixels of the clip.")] = "1920x1080",
    seed: Annotated[int, typer.Option(help="Of the virtual phone's noise and clock.")] = 1,
    as_json: JsonOption = False,
) -> None:
    """Film the pattern with a camera connected to this computer, or try a scan in a virtual house.

    Example:  limewash scan film --cameras

      limewash scan film --camera 0 --look                       (is the light right?)

      limewash scan film clip.mp4 --camera 0 --seconds 60        (start it, then play the pattern)

      limewash scan film pattern.mp4 clip.mp4 --house brick
    """
    if cameras:
        _list(as_json)
    elif camera is not None:
        if look and first is not None:
            raise InputError(f"--look only looks: leave {first} out, or film it without --look")
        if second is not None or (first is None and not look):
            raise InputError("with --camera name just the clip to write: limewash scan film CLIP.mp4 --camera 0")
        _film_live(camera, None if look else first, parse_size(size), seconds, as_json)
    elif first is None or second is None:
        raise InputError(
            "name what to film with: 'limewash scan film CLIP.mp4 --camera 0' for a camera of this computer, or "
            "'limewash scan film PATTERN.mp4 CLIP.mp4' for a virtual house"
        )
    else:
        _film_virtual(first, second, house, parse_size(size), seed, as_json)


def _list(as_json: bool) -> None:
    from limewash.media.camera import cameras

    found = cameras()
    if as_json:
        print_json({"cameras": [{"number": one.number, "name": one.name, "size": list(one.size)} for one in found]})
    elif found:
        rows = [[str(one.number), one.name, f"{one.size[0]} x {one.size[1]}"] for one in found]
        print_table("Cameras", ["number", "name", "pixels"], rows)
    else:
        say("No camera gives a picture here. Plug one in, or film with a phone and use 'limewash scan read CLIP'.")


def _film_live(camera: str, out: Path | None, size: tuple[int, int], seconds: float, as_json: bool) -> None:
    from limewash.media.camera import Camera
    from limewash.scan.filming import film_live
    from limewash.scan.filming import look as look_at

    with Camera(camera, size) as source:
        light, frames = look_at(source.frames())
        figures = {"size": list(source.size), "bright": light.bright, "clipped": light.clipped, "fit": light.fit}
        say(str(light))
        if out is not None:
            with bar("Film") as report:
                count, rate = film_live(frames, out, seconds, report)
            figures |= {"file": str(out), "frames": count, "rate": rate}
            say(f"Filmed {out}: {count} frames, {rate:.1f} a second.")
            say(f"Next: limewash scan read {as_typed(out)} --project ...")
    if as_json:
        print_json(figures)


def _film_virtual(pattern_file: Path, out: Path, house: str, size: tuple[int, int], seed: int, as_json: bool) -> None:
    from limewash.media.reading import ClipReader
    from limewash.world.display import under_video
    from limewash.world.film import film as film_pattern
    from limewash.world.phone import Phone
    from limewash.world.virtual import load_world

    with ClipReader(pattern_file) as reader:
        projector_size = reader.info.size
    with bar("Film") as report:
        report(0.0, "building the house")
        world = load_world(house, camera_size=size, projector_size=projector_size)
        film_pattern(pattern_file, out, under_video(world.view()), Phone(seed=seed), report)
    if as_json:
        print_json({"file": str(out), "house": house, "projector_size": list(projector_size), "seed": seed})
        return
    say(f"Filmed {out}. Next: limewash scan read {as_typed(out)} --project ...")
