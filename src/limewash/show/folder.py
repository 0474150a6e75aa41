"""A show inside a project: begun from the bundled score, opened with all that it needs."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Literal

import numpy as np
import tomlkit

from limewash.errors import InputError, as_typed, did_you_mean
from limewash.facade.map import load_map
from limewash.files import make_folder
from limewash.geometry.homography import fit_homography
from limewash.media.images import read_image
from limewash.media.sound import write_wav
from limewash.progress import Progress, silent
from limewash.project.folder import Project
from limewash.project.history import replacing_with_copy
from limewash.project.models import House
from limewash.scan.correspondence import Correspondence, load_correspondence
from limewash.scan.geometry import load_geometry
from limewash.scan.measure import FILE as GEOMETRY
from limewash.show.fields import Fields
from limewash.show.music import demo_music
from limewash.show.proof import PhotoStreet
from limewash.show.render import render_show, show_sound
from limewash.show.score import Score, parse_score, read_score
from limewash.show.wall import Wall, assumed_wall, geometry_metres, wall_metres

Bundled = Literal["year", "short"]

_ASSUMED_WIDTH_M = 10.0


@dataclass(frozen=True)
class OpenShow:
    """A show with the house it plays on.

    Attributes
    ----------
    folder : Path
        Where score, music and film lie.
    score : Score
    fields : Fields
        At the projector's native size.
    """

    folder: Path
    score: Score
    fields: Fields

    @property
    def score_file(self) -> Path:
        return self.folder / "score.toml"

    @property
    def film(self) -> Path:
        return self.folder / "show.mp4"


def open_show(project: Project, name: str) -> OpenShow:
    """Open a show by its name.

    Raises
    ------
    InputError
        If there is no such show, no map or no scan yet, or the score has a fault.
    """
    folder = project.show_folder(name)
    if not (folder / "score.toml").is_file():
        known = project.shows()
        begin = f"limewash show new {as_typed(name)} --project {as_typed(project.root)}"
        tail = did_you_mean(name, known) if known else f"; begin it with '{begin}'"
        raise InputError(f"{project.root} has no show {name!r}{tail}")
    return OpenShow(folder, read_score(folder / "score.toml"), house_fields(project))


def start_show(project: Project, name: str, *, bundled: Bundled = "year") -> OpenShow:
    """Begin a show: a copy of a bundled score, without the cues that this house has nothing for, and its music.

    Raises
    ------
    InputError
        If a show of that name exists, or the project has no map yet.
    """
    folder = project.show_folder(name)
    if (folder / "score.toml").exists():
        raise InputError(f"{folder} already has a score; name another show (nothing was changed)")
    fields = house_fields(project)
    document = tomlkit.parse((resources.files("limewash.show.demo") / f"{bundled}.toml").read_text(encoding="utf-8"))
    cues = document["cue"]
    assert isinstance(cues, list)
    wanted = [_has_place(fields, cue.unwrap().get("where", [])) for cue in cues]
    for number in reversed(range(len(cues))):
        if not wanted[number]:
            del cues[number]
    score = parse_score(document.unwrap(), where=f"the bundled score {bundled!r}")
    make_folder(folder)
    write_wav(folder / "music.wav", demo_music(score.show.length_s).sound)
    project.write(folder / "score.toml", tomlkit.dumps(document).encode("utf-8"))
    return OpenShow(folder, score, fields)


def house_fields(project: Project) -> Fields:
    """The fields of a project's map, in metres by its measured points.

    Raises
    ------
    InputError
        If the map or the scan is missing, or they do not belong together.
    """
    house_map = load_map(project.map_folder)
    correspondence = load_correspondence(project.scan_folder() / "correspondence.npz")
    return Fields(house_map, measured_wall(project) or wall_of(project.house, correspondence))


def measured_wall(project: Project) -> Wall | None:
    """Metres on the wall from the scene that `limewash scan measure` measured; None before that."""
    path = project.scan_folder() / GEOMETRY
    if not path.is_file():
        return None
    geometry = load_geometry(path)
    return geometry_metres(geometry) if geometry.metric else None


def wall_of(house: House, correspondence: Correspondence) -> Wall:
    """Metres on the wall: from four or more measured points, else assumed from the facade's width."""
    measured = house.facade.measured if house.facade else ()
    if len(measured) >= 4:
        to_wall = fit_homography([p.photo_px for p in measured], [p.wall_m for p in measured])
        return wall_metres(correspondence, np.asarray(to_wall))
    width_m = house.facade.width_m if house.facade else _ASSUMED_WIDTH_M
    return assumed_wall(correspondence.projector_size, width_m)


def photo_street(project: Project, size: tuple[int, int] | None = None) -> PhotoStreet:
    """The real house of a project, from the photo of the scan in use."""
    scan = project.scan_folder()
    return PhotoStreet(read_image(scan / "photo.png"), load_correspondence(scan / "correspondence.npz"), size=size)


def proof_size(project: Project, longest_px: int = 1280) -> tuple[int, int]:
    """Size of the proof's video: the photo's shape, no side longer than `longest_px`, both even. [px]"""
    height, width = read_image(project.scan_folder() / "photo.png").shape[:2]
    scale = min(1.0, longest_px / max(width, height))
    return max(2, 2 * round(width * scale / 2)), max(2, 2 * round(height * scale / 2))


def make_film(project: Project, show: OpenShow, *, progress: Progress = silent) -> None:
    """Render a show's film; the one before it goes into the project's history.

    Raises
    ------
    InputError
        As `render_show`; the film before is then still in its place.
    """
    sound = show_sound(show.score, show.folder)
    with replacing_with_copy(project.root, show.film) as part:
        try:
            render_show(show.score, show.fields, part, sound=sound, where=str(show.score_file), progress=progress)
        except InputError as error:
            raise InputError(str(error).replace(str(part), str(show.film))) from error


def _has_place(fields: Fields, where: str | list[str]) -> bool:
    try:
        fields.select([where] if isinstance(where, str) else where)
    except InputError:
        return False
    return True
