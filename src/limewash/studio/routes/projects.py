"""Opening, making and finding projects."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import Field

from limewash.errors import InputError
from limewash.project.folder import HOUSE_FILE, create_project
from limewash.project.models import House, Projector, Rig
from limewash.project.projector import Pixels
from limewash.studio.jobs import JobState
from limewash.studio.routes.common import TheDesk
from limewash.studio.standing import Standing, standing
from limewash.studio.wire import Fault, Wire

router = APIRouter(prefix="/api/projects", tags=["projects"], responses={422: {"model": Fault}})

MOST_FOLDERS = 500
FolderName = Annotated[str, Field(min_length=1, max_length=1000)]


class RecentEntry(Wire):
    """A project that was opened lately."""

    folder: str
    name: str


class Places(Wire):
    """Where projects are, and where a new one would go."""

    recent: list[RecentEntry]
    home: str
    suggested: str


class Folder(Wire):
    """A folder to choose."""

    name: str
    path: str
    is_project: bool


class Folders(Wire):
    """What is in a folder."""

    at: str
    above: str | None
    folders: list[Folder]


class OpenFolder(Wire):
    """The project to open."""

    folder: FolderName


class NewProject(Wire):
    """A project to make."""

    folder: FolderName
    name: Annotated[str, Field(min_length=1, max_length=120)]
    size: tuple[Pixels, Pixels] = (1920, 1080)


class Demo(Wire):
    """The invented house to try everything on."""

    house: Literal["painted", "brick"] = "painted"


@router.get("")
def places(desk: TheDesk) -> Places:
    """Recent projects, and where a new one would go."""
    recent = [RecentEntry(folder=item.folder, name=item.name) for item in desk.recent.projects()]
    return Places(recent=recent, home=str(Path.home()), suggested=str(_projects_folder()))


@router.get("/folders")
def folders(at: Annotated[str, Field(max_length=1000)] = "") -> Folders:
    """The folders in a folder, for choosing one."""
    place = _path(at) if at else Path.home()
    if not place.is_dir():
        raise InputError(f"{place} is not a folder; choose another")
    try:
        inner = sorted((p for p in place.iterdir() if not p.name.startswith(".") and p.is_dir()), key=_by_name)
    except OSError as error:
        raise InputError(f"cannot look into {place}: {error.strerror}") from None
    found = [Folder(name=p.name, path=str(p), is_project=_is_project(p)) for p in inner[:MOST_FOLDERS]]
    return Folders(at=str(place), above=str(place.parent) if place.parent != place else None, folders=found)


@router.post("/open")
def open_folder(wanted: OpenFolder, desk: TheDesk) -> Standing:
    """Open a project in place of the present one."""
    desk.open(_path(wanted.folder))
    return standing(desk.project)


@router.post("/new")
def new_project(new: NewProject, desk: TheDesk) -> Standing:
    """Make a project and open it."""
    house = House(name=new.name, rig=(Rig(projector=Projector(size=new.size)),))
    desk.open(create_project(_path(new.folder), house).root)
    return standing(desk.project)


@router.post("/demo")
def demo_project(demo: Demo, desk: TheDesk) -> JobState:
    """Make the demo project and open it; if it was made before, it is opened as it is."""
    root = _projects_folder() / f"demo-{demo.house}"
    if _is_project(root):
        desk.open(root)
        return desk.jobs.nothing_to_do("demo", "Demo house", {"folder": str(root)})
    return desk.jobs.start(
        "demo", "Building the demo house", {"root": str(root), "house": demo.house}, done=lambda _: _opened(desk, root)
    )


@router.post("/close")
def close_project(desk: TheDesk) -> None:
    """Save and close the project."""
    desk.close_project()
    desk.notices.tell({"type": "project", "name": None})


def _opened(desk: TheDesk, root: Path) -> None:
    desk.open(root)


def _path(text: str) -> Path:
    if "\x00" in text:
        raise InputError("a folder's name cannot hold that character")
    path = Path(text).expanduser()
    if not path.is_absolute():
        raise InputError(f"give the whole path of the folder, got {text!r}")
    return path


def _projects_folder() -> Path:
    return Path.home() / "Limewash"


def _is_project(path: Path) -> bool:
    try:
        return (path / HOUSE_FILE).is_file()
    except OSError:
        return False


def _by_name(path: Path) -> str:
    return path.name.lower()
