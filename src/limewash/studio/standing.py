"""How far a project is, stage by stage, and what to do next."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from limewash.project.folder import Project
from limewash.studio.wire import Wire

State = Literal["done", "next", "ahead"]
ORDER = ("site", "scan", "trace", "show", "night")


class StageStanding(Wire):
    """One stage: how far, in words, and what to do there."""

    state: State
    text: str
    todo: str


class Standing(Wire):
    """The whole project."""

    open: bool
    name: str = ""
    folder: str = ""
    projector_size: tuple[int, int] | None = None
    scan: str | None = None
    shows: list[str] = Field(default_factory=list)
    stages: dict[str, StageStanding] = Field(default_factory=dict)


def standing(project: Project) -> Standing:
    """Look at the files of the project: nothing else says how far it is."""
    house, scans, shows = project.house, project.scans(), project.shows()
    has_map = (project.map_folder / "map.png").is_file()
    films = [name for name in shows if (project.show_folder(name) / "show.mp4").is_file()]
    found = {
        "site": (
            house.facade is not None and house.rig[0].stand is not None,
            "the front is measured and the projector has its place",
            "measure the house front and find a place for the projector",
        ),
        "scan": (bool(scans), _count(len(scans), "scan"), "play the pattern on the house and film it with a phone"),
        "trace": (
            project.tracing_file.is_file() and has_map,
            "the tracing is carried to the projector",
            "draw over the photo: windows, doors, roof line" if not project.tracing_file.is_file() else "make the map",
        ),
        "show": (bool(films), _count(len(films), "finished show"), "write a score and render the film"),
        "night": (False, "", "go through the list before the show, and play it"),
    }
    # The site can be measured later: whoever has a projector in the garden begins with the scan.
    first = next((name for name in ORDER if not found[name][0] and (name != "site" or not scans)), None)
    stages = {
        name: StageStanding(
            state="done" if done else "next" if name == first else "ahead", text=text if done else todo, todo=todo
        )
        for name, (done, text, todo) in found.items()
    }
    return Standing(
        open=True,
        name=house.name,
        folder=str(project.root),
        projector_size=project.rig.projector.size,
        scan=project.scan_folder().name if scans else None,
        shows=shows,
        stages=stages,
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
