"""The `limewash` command."""

from __future__ import annotations

import io
import signal
import sys
from typing import Annotated

import typer

from limewash import __version__
from limewash.cli import demo, map_, new, scan, scan_film, scan_measure, show, site, studio, trace
from limewash.cli.console import messages, say
from limewash.errors import InputError, LimewashError

_INTERRUPTED = 130

app = typer.Typer(
    name="limewash",
    help=(
        "Put a light show on the front of a house with an ordinary video projector.\n\n"
        "See it all once on an invented house:  limewash demo\n\n"
        "Then on your own:  new, scan pattern, scan read, trace import, map export, show render."
    ),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command("demo")(demo.demo)
app.command("new")(new.new)
app.command("studio")(studio.studio)
scan.app.command("film")(scan_film.film)
scan.app.command("measure")(scan_measure.measure)
app.add_typer(site.app, name="site")
app.add_typer(scan.app, name="scan")
app.add_typer(trace.app, name="trace")
app.add_typer(map_.app, name="map")
app.add_typer(show.app, name="show")


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"limewash {__version__}")
        raise typer.Exit


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Options of every command."""


def main() -> None:
    """Run the command line; what the person can put right is told without a traceback, exit code 2."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name that the code page of a pipe lacks is no reason to fail
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # what is half-written is tidied away, as by Ctrl-C
    try:
        app(standalone_mode=True)
    except InputError as error:
        messages.print("[bold red]Cannot go on.[/]", end=" ")
        say(str(error))
        sys.exit(2)
    except LimewashError as error:
        messages.print("[bold red]Failed.[/]", end=" ")
        say(str(error))
        sys.exit(1)
    except SystemExit as ended:
        # Typer makes this exit code of Ctrl-C, and says nothing.
        if ended.code == _INTERRUPTED:
            say("Stopped. Files that were finished are kept; none was left half-written.")
        raise
