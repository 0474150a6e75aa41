"""`limewash demo`."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from limewash.cli.console import bar, print_json, print_table, say
from limewash.cli.options import JsonOption


def demo(
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where to put it; demo-HOUSE here when left out.")
    ] = None,
    house: Annotated[str, typer.Option(help="painted: light boards, straight on. brick: dark and deep.")] = "painted",
    quick: Annotated[bool, typer.Option("--quick", help="640 x 360 pixels and a short show, in a minute.")] = False,
    seed: Annotated[int, typer.Option(help="Of the phone's noise and clock.")] = 1,
    as_json: JsonOption = False,
) -> None:
    """Do the whole job once on an invented house, and write a report.

    Builds the house, films the pattern on it as a phone would, reads the clip, carries the tracing to the projector,
    renders the show and shows it from the street. Broken off, it goes on where it stopped.

    Example:  limewash demo my-demo --house brick
    """
    from limewash.demo.job import run_demo
    from limewash.demo.run import DemoPlan, Stage
    from limewash.progress import Progress

    plan = DemoPlan.quick(house, seed) if quick else DemoPlan(house=house, seed=seed)
    root = folder or Path(f"demo-{house}{'-quick' if quick else ''}")
    with ExitStack() as stack:

        def watch(stage: Stage) -> Progress:
            stack.close()
            return stack.enter_context(bar(stage.title))

        state = run_demo(root, plan, watch)
    if as_json:
        print_json({"folder": str(root), "seconds": state.seconds, "figures": state.figures})
        return
    total = sum(state.seconds.values())
    rows = [[name, f"{seconds:.1f} s"] for name, seconds in state.seconds.items()]
    print_table("Time", ["stage", ""], [*rows, ["all", f"{total:.1f} s"]])
    scan, edges = state.figures["scan"], state.figures["map"]
    print_table(
        "Against the exact truth (projector pixels)",
        ["", "median", "RMSE", "p95", "coverage"],
        [
            [
                "scan",
                f"{scan['median_px']:.3f}",
                f"{scan['rmse_px']:.3f}",
                f"{scan['p95_px']:.3f}",
                f"{scan['coverage']:.1%}",
            ],
            ["map edges", f"{edges['median_px']:.3f}", f"{edges['rmse_px']:.3f}", f"{edges['p95_px']:.3f}", ""],
        ],
    )
    say(f"The measured scene lies {1000 * scan['scene_median_m']:.0f} mm off the true one (median, in space).")
    say(f"Open {root / 'report.html'} in a browser.")
