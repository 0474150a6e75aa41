"""Run stages one after another, keep their times and figures, and go on where a broken run stopped."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

from limewash import __version__
from limewash.errors import InputError
from limewash.files import make_folder, write_text
from limewash.progress import Progress

STATE_FILE = "demo.json"
Figures = dict[str, Any]


@dataclass(frozen=True)
class DemoPlan:
    """What the demo is asked for; a run with another plan cannot be continued in the same folder."""

    house: str = "painted"
    camera_size: tuple[int, int] = (1920, 1080)
    projector_size: tuple[int, int] = (1920, 1080)
    picture_size: tuple[int, int] = (960, 540)
    show: Literal["year", "short"] = "year"
    seed: int = 1

    @classmethod
    def quick(cls, house: str = "painted", seed: int = 1) -> DemoPlan:
        """The same job with a third of the pixels each way and a short show."""
        small = (640, 360)
        return cls(house, small, small, small, "short", seed)


@dataclass(frozen=True)
class Stage:
    """One step: a name for the state file, words for the person, and the work, which returns figures."""

    name: str
    title: str
    work: Callable[[Progress], Figures]


@dataclass
class DemoState:
    """What has been done so far, as `demo.json` keeps it."""

    plan: dict[str, Any]
    version: str = __version__
    seconds: dict[str, float] = field(default_factory=dict)
    figures: dict[str, Figures] = field(default_factory=dict)


def run_stages(root: Path, plan: DemoPlan, stages: Sequence[Stage], watch: Callable[[Stage], Progress]) -> DemoState:
    """Do each stage that `demo.json` does not list as done.

    Parameters
    ----------
    root : Path
        The demo's folder.
    plan : DemoPlan
        Kept in the state file; a folder begun with another plan is refused.
    stages : sequence of Stage
    watch : callable
        Called before a stage begins; gives the progress callback for it.

    Raises
    ------
    InputError
        If the folder holds something else than a demo of this plan.
    """
    state = _load_state(root, plan)
    for stage in stages:
        if stage.name in state.seconds:
            continue
        progress = watch(stage)
        begun = time.perf_counter()
        figures = stage.work(progress)
        state.seconds[stage.name] = round(time.perf_counter() - begun, 2)
        state.figures[stage.name] = figures
        write_text(root / STATE_FILE, json.dumps(asdict(state), indent=2))
    return state


def _load_state(root: Path, plan: DemoPlan) -> DemoState:
    fresh = DemoState(plan=json.loads(json.dumps(asdict(plan))))
    path = root / STATE_FILE
    if not path.is_file():
        if root.is_dir() and any(root.iterdir()):
            raise InputError(f"{root} is not empty and holds no demo; name a new folder (nothing was changed)")
        make_folder(root)
        write_text(path, json.dumps(asdict(fresh), indent=2))
        return fresh
    try:
        state = DemoState(**json.loads(path.read_text(encoding="utf-8")))
    except (ValueError, TypeError, OSError) as error:
        raise InputError(f"{path} is damaged ({error}); delete the folder or name a new one") from error
    if state.plan != fresh.plan or state.version != fresh.version:
        raise InputError(f"{root} holds a demo with other options; delete that folder or name a new one")
    return state
