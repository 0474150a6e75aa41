"""`limewash show ...`."""

from __future__ import annotations

from dataclasses import asdict
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated

import typer

from limewash.cli.console import bar, print_json, print_table, say
from limewash.cli.options import HERE, JsonOption, ProjectOption
from limewash.errors import InputError, as_typed

if TYPE_CHECKING:
    from limewash.show.effects import Effect

app = typer.Typer(no_args_is_help=True, help="The light show: its score, the film, and a proof of how it will look.")

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="The show's name, a folder under shows/.")]


@app.command("new")
def new(name: NameArgument, project: ProjectOption = HERE) -> None:
    """Begin a show: a score to change as you like, with music.

    Example:  limewash show new evening --project our-house
    """
    from limewash.project.folder import open_project
    from limewash.show.folder import start_show

    show = start_show(open_project(project), name)
    say(
        f"Made {show.score_file} with {len(show.score.cue)} cues. Change it in a text editor; then\n"
        f"  limewash show proof {as_typed(name)} --project {as_typed(project)}\n"
        f"  limewash show render {as_typed(name)} --project {as_typed(project)}"
    )


@app.command("render")
def render(name: NameArgument, project: ProjectOption = HERE) -> None:
    """Render the film that the projector plays.

    Example:  limewash show render evening --project our-house
    """
    from limewash.project.folder import open_project
    from limewash.show.folder import make_film, open_show

    opened = open_project(project)
    show = open_show(opened, name)
    with bar("Show") as report:
        make_film(opened, show, progress=report)
    say(
        f"Wrote {show.film}. Play it full screen, unscaled, with the projector and player of the scan.\n"
        "Flashing light can trigger seizures in some people: watch the proof first, and warn your guests."
    )


@app.command("proof")
def proof(
    name: NameArgument,
    project: ProjectOption = HERE,
    at: Annotated[float | None, typer.Option(metavar="SECONDS", help="Only a still, at this time.")] = None,
    rate: Annotated[int, typer.Option(min=5, max=60, help="Frames a second of the video.")] = 25,
) -> None:
    """Show how it will look from the street: a still at a time, or the whole as a video.

    Example:  limewash show proof evening --project our-house --at 12.5
    """
    from limewash.media.images import write_image
    from limewash.project.folder import open_project
    from limewash.show.compositor import Compositor
    from limewash.show.folder import open_show, photo_street, proof_size
    from limewash.show.proof import proof_picture, write_proof
    from limewash.show.render import show_sound

    opened = open_project(project)
    show = open_show(opened, name)
    if at is not None and not 0.0 <= at <= show.score.show.length_s:
        raise InputError(f"--at must be from 0 to {show.score.show.length_s:g} s, the show's length, got {at:g}")
    compositor = Compositor(show.score, show.fields, where=str(show.score_file))
    if at is not None:
        path = show.folder / "proof.png"
        write_image(path, proof_picture(compositor, photo_street(opened), at))
    else:
        path = show.folder / "proof.mp4"
        with bar("Proof") as report:
            write_proof(
                path,
                compositor,
                photo_street(opened, proof_size(opened)),
                rate=Fraction(rate),
                sound=show_sound(show.score, show.folder),
                progress=report,
            )
    say(f"Wrote {path}.")


@app.command("effects")
def effects(as_json: JsonOption = False) -> None:
    """List the effects and what can be set in each.

    Example:  limewash show effects
    """
    from limewash.show.effects import EFFECTS

    if as_json:
        print_json(
            {
                effect.name: {
                    "what": effect.summary,
                    "colours": list(effect.colours),
                    "how": {key: asdict(param) for key, param in effect.params.items()},
                }
                for effect in EFFECTS.values()
            }
        )
        return
    print_table(
        "Effects",
        ["effect", "what it draws", "settings (default, range)"],
        [[effect.name, effect.summary, _settings(effect)] for effect in EFFECTS.values()],
    )


def _settings(effect: Effect) -> str:
    return "\n".join(
        f"{key} {param.default:g}{' ' + param.unit if param.unit else ''}, {param.lo:g} to {param.hi:g}"
        for key, param in effect.params.items()
    )
