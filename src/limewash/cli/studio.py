"""`limewash studio`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from limewash.cli.console import say


def studio(
    project: Annotated[
        Path | None,
        typer.Argument(metavar="[PROJECT]", help="The project to open; chosen in the studio when left out."),
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port on this computer; 0 takes a free one.")] = 8750,
    browser: Annotated[bool, typer.Option(help="Open the studio in the browser.")] = True,
) -> None:
    """Open the studio: all stages in the browser, on this computer only.

    Example:  limewash studio our-house
    """
    from limewash.studio.server import run_studio

    def ready(address: str) -> None:
        say(f"The studio is at {address}\nIt stays on this computer. End it with Ctrl+C; all is saved as you go.")

    run_studio(project, port=port, open_browser=browser, ready=ready)
