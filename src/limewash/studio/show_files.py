"""Shows of a project as the Show page sees them: score text, time line, stills from the street, films."""

from __future__ import annotations

import threading
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import tomlkit
import tomlkit.exceptions

from limewash.errors import InputError
from limewash.media.images import read_image
from limewash.project.folder import Project
from limewash.scan.correspondence import load_correspondence
from limewash.studio.wire import Wire

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from limewash.show.score import Score

STREET_WIDTH_PX = 960
PREVIEW_FACTOR = 2
MOST_BARS = 2000
_DRAWING = threading.Lock()
"""Drawing kernels run from one thread at a time."""


class ShowEntry(Wire):
    """One show."""

    name: str
    has_score: bool
    film_bytes: int | None
    """Size of its film; null when it has none yet."""
    film_is_old: bool
    """Whether score or map were changed after the film was made."""


class CueEntry(Wire):
    """One cue on the time line."""

    label: str
    effect: str
    start_s: float
    length_s: float
    fade_in_s: float
    fade_out_s: float
    where: list[str]
    colours: list[str]
    lay: str


class ScoreState(Wire):
    """A score: its text, and its time line when it can be read."""

    name: str
    text: str
    length_s: float
    rate: float
    cues: list[CueEntry]
    bars_s: list[float]
    trouble: str
    """What is wrong with the text; the time line is then empty."""
    seen: str = ""
    """Tells whether somebody changed the file meanwhile."""
    sent: str = ""
    """The same for the text that was sent: a page that types on from there sends this as `seen`."""
    can_undo: str | None = None
    can_redo: str | None = None


def shows_of(project: Project) -> list[ShowEntry]:
    """All shows: those with a score, and films from outside."""
    folder = project.root / "shows"
    films = {path.parent.name for path in folder.glob("*/show.mp4")}
    scores = set(project.shows())
    return [_entry(project, name, name in scores) for name in sorted(films | scores)]


def state_of_score(name: str, text: str) -> ScoreState:
    """What a text says, or what is wrong with it."""
    try:
        score, trouble = _score(text), ""
    except InputError as error:
        score, trouble = None, str(error)
    return ScoreState(
        name=name,
        text=text,
        length_s=score.show.length_s if score else 0.0,
        rate=score.show.rate if score else 0.0,
        cues=_cues(score) if score else [],
        bars_s=_bars(score) if score else [],
        trouble=trouble,
    )


def street_still(project: Project, name: str, t_s: float) -> NDArray[np.uint8]:
    """The show at a time as seen from the street, sRGB (h, w, 3).

    Raises
    ------
    InputError
        If the score, the map or the scan is missing or has a fault.
    """
    from limewash.show.proof import proof_picture

    files = [score_file(project, name), project.map_folder / "areas.json", project.root / "house.toml"]
    stamps = tuple(path.stat().st_mtime_ns if path.is_file() else 0 for path in files)
    with _DRAWING:
        compositor, street = _stage(project.root, name, project.scan_folder(), stamps)
        return proof_picture(compositor, street, t_s)  # type: ignore[arg-type]


def score_file(project: Project, name: str) -> Path:
    """Where the score is. Raises InputError if the show has none."""
    path = project.show_folder(name) / "score.toml"
    if not path.is_file():
        raise InputError(f"the show {name!r} has no score")
    return path


@lru_cache(maxsize=1)
def _stage(root: Path, name: str, scan: Path, stamps: tuple[int, ...]) -> tuple[object, object]:
    """What is needed to draw a show, kept while none of its files changes."""
    from limewash.project.folder import open_project
    from limewash.show.compositor import Compositor
    from limewash.show.folder import open_show
    from limewash.show.proof import PhotoStreet

    assert stamps  # part of what the kept one is known by
    show = open_show(open_project(root), name)
    photo = read_image(scan / "photo.png")
    size = (STREET_WIDTH_PX, round(STREET_WIDTH_PX * photo.shape[0] / photo.shape[1]))
    compositor = Compositor(show.score, show.fields.reduced(PREVIEW_FACTOR), where="score.toml")
    return compositor, PhotoStreet(photo, load_correspondence(scan / "correspondence.npz"), size=size)


def _entry(project: Project, name: str, has_score: bool) -> ShowEntry:
    folder = project.show_folder(name)
    film = folder / "show.mp4"
    made = film.stat().st_mtime if film.is_file() else None
    sources = [folder / "score.toml", project.map_folder / "map.png"]
    newer = made is not None and any(p.is_file() and p.stat().st_mtime > made for p in sources)
    return ShowEntry(
        name=name,
        has_score=has_score,
        film_bytes=film.stat().st_size if made is not None else None,
        film_is_old=has_score and newer,
    )


def _score(text: str) -> Score:
    from limewash.show.score import parse_score

    try:
        data = tomlkit.parse(text).unwrap()
    except tomlkit.exceptions.ParseError as error:
        raise InputError(f"this is not valid TOML, line {error.line}: {error}") from None
    except tomlkit.exceptions.TOMLKitError as error:  # a key or table that is given twice
        raise InputError(f"this is not valid TOML: {error} Keep one of the two") from None
    return parse_score(data, where="score.toml")


def _cues(score: Score) -> list[CueEntry]:
    return [
        CueEntry(
            label=cue.label,
            effect=cue.effect.name,
            start_s=cue.start_s,
            length_s=cue.length_s,
            fade_in_s=cue.fade_in_s,
            fade_out_s=cue.fade_out_s,
            where=list(cue.where),
            colours=list(cue.colours),
            lay=cue.lay,
        )
        for cue in score.timed
    ]


def _bars(score: Score) -> list[float]:
    """Starts of bars, for the time line; none when there would be too many to see."""
    beats, length_s = score.beats, score.show.length_s
    count = int((beats.beat(length_s) - 1.0) // beats.per_bar) + 1
    if not 0 < count <= MOST_BARS:
        return []
    times = (beats.time_s(1.0 + bar * beats.per_bar) for bar in range(count))
    return [round(t_s, 3) for t_s in times if 0.0 <= t_s < length_s]
