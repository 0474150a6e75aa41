"""How commands talk: progress bars and messages to the error stream, figures to the output."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from limewash.progress import Progress as Report

messages = Console(stderr=True, highlight=False, soft_wrap=True)
output = Console(highlight=False, soft_wrap=True)


@contextmanager
def bar(title: str) -> Iterator[Report]:
    """A progress bar for one piece of work; gone from the screen when it ends."""
    with Progress(
        TextColumn("{task.fields[title]}", style="bold", markup=False),
        BarColumn(bar_width=28),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.description}", style="dim", markup=False),
        console=messages,
        transient=True,
    ) as progress:
        task = progress.add_task("", total=1.0, title=title)

        def report(share: float, doing: str) -> None:
            progress.update(task, completed=min(max(share, 0.0), 1.0), description=doing)

        yield report


def say(text: str) -> None:
    """A line for the person, beside the figures."""
    messages.print(text, markup=False)


def print_json(data: Any) -> None:
    """Figures for another program: one JSON document on the output stream."""
    sys.stdout.write(json.dumps(data, indent=2) + "\n")  # ASCII: the same bytes whatever the code page of a pipe


def print_table(title: str, columns: list[str], rows: list[list[str]], *, prose: bool = False) -> None:
    """A small table; numbers stand right, `prose` does not."""
    table = Table(title=Text(title), title_justify="left", title_style="bold")
    for number, column in enumerate(columns):
        table.add_column(column, justify="left" if prose or number == 0 else "right", overflow="fold")
    for row in rows:
        table.add_row(*map(Text, row))  # a title such as "Door [left]" is no markup
    output.print(table)
