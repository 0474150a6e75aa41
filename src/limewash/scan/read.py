"""Reading a scan: a filmed clip goes in; correspondence, photo and findings come out."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.files import make_folder, new_folder
from limewash.media.images import write_image
from limewash.media.reading import ClipInfo, ClipReader
from limewash.progress import Progress, part_of, silent
from limewash.project.folder import Project
from limewash.scan.clip import Takes, take_clip
from limewash.scan.correspondence import Correspondence, save_correspondence
from limewash.scan.decode import decode_takes
from limewash.scan.findings import Findings, save_findings
from limewash.scan.grid import to_projector_grid
from limewash.scan.judge import judge
from limewash.scan.keep import keep_frames
from limewash.scan.lens import FILE as LENS_FILE
from limewash.scan.lens import LensNote, lens_of_clip, save_lens
from limewash.scan.overlay import findings_picture
from limewash.scan.passing import take_off_passing_light
from limewash.scan.steady import hold_still
from limewash.scan.surface import find_surfaces


@dataclass(frozen=True)
class ScanResult:
    """What a scan gives.

    Attributes
    ----------
    correspondence : Correspondence
        The camera pixel that sees each projector pixel.
    photo : ndarray of uint8, shape (camera height, camera width, 3)
        The scene by the projector's white light, R'G'B'.
    findings : Findings
        What was learnt about player, projector and phone.
    lens : LensNote, optional
        What photos or clip say of the camera's lens.
    """

    correspondence: Correspondence
    photo: NDArray[np.uint8]
    findings: Findings
    lens: LensNote | None = None


def read_clip(
    path: Path, projector_size: tuple[int, int], progress: Progress = silent, *, keep: Path | None = None
) -> ScanResult:
    """Read a clip of the pattern, filmed by any phone on a tripod.

    Parameters
    ----------
    path : Path
        The clip.
    projector_size : (int, int)
        Native size of the projector that played the pattern. [px]
    progress : Progress
        Told how far the reading is.
    keep : Path, optional
        New folder for the averaged pictures of all holds, see `keep_frames`; written even if the scan fails after.

    Raises
    ------
    InputError
        If the file is missing, empty, damaged or not a film; if no pattern is found in it, and then what was
        seen; if the pattern is one for another size; if the clip ends too early or the camera moved.
    """
    path = Path(path)
    if keep is not None:
        new_folder(keep, "the frames")

    notes: list[ClipInfo] = []

    def take() -> tuple[Takes, float]:
        takes = take_clip(path, projector_size, part_of(progress, 0.0, 0.7))
        notes.append(takes.info)
        if keep is not None:
            keep_frames(keep, takes)
        return hold_still(path, takes)

    scan = scan_of(path, take, lambda seen: _white_photo(path, seen), part_of(progress, 0.7, 1.0))
    return replace(scan, lens=lens_of_clip(notes[0]))


def scan_of(
    path: Path,
    take: Callable[[], tuple[Takes, float]],
    photo_of: Callable[[Takes], NDArray[np.uint8]],
    progress: Progress = silent,
) -> ScanResult:
    """Make a scan of what the camera took, however it took it.

    Parameters
    ----------
    path : Path
        Clip or folder, for messages.
    takes : Takes
        One picture per hold; its sums are changed in place.
    moved_px : float
        How far the camera moved; NaN where that cannot be told. [px]
    photo_of : callable
        Gives the photo, R'G'B' of the takes' size.
    progress : Progress
        Told how far it is.

    Raises
    ------
    InputError
        If next to nothing can be decoded.
    """
    takes, moved_px = take()
    takes, passing = take_off_passing_light(takes)
    progress(0.07, "decoding")
    decoded = decode_takes(takes)
    takes = takes.references()
    surfaces = find_surfaces(decoded)
    progress(0.73, "laying out the projector's pixels")
    correspondence = passing.doubt(to_projector_grid(decoded, surfaces, takes.plan.size))
    progress(0.84, "judging the scan")
    findings = judge(path, takes, decoded, surfaces, correspondence, moved_px, passing)
    progress(1.0, "scan read")
    return ScanResult(correspondence, photo_of(takes), findings)


class FolderTakenError(InputError):
    """There is a scan of that name already."""


def save_scan(folder: Path, result: ScanResult) -> None:
    """Write `correspondence.npz`, `photo.png`, `findings.json`, `findings.png` and, where it is known,
    `lens.json` into a new folder, all or nothing.

    Raises
    ------
    FolderTakenError
        If the folder exists with something in it.
    InputError
        If it cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FolderTakenError(f"{folder} exists already; a scan goes into a new folder")
    part = folder.with_name(f".{folder.name}.{secrets.token_hex(4)}.part")
    try:
        make_folder(part)
        save_correspondence(part / "correspondence.npz", result.correspondence)
        write_image(part / "photo.png", result.photo)
        save_findings(part / "findings.json", result.findings)
        if result.lens is not None:
            save_lens(part / LENS_FILE, result.lens)
        picture = findings_picture(result.photo, result.correspondence, result.findings)
        write_image(part / "findings.png", picture)
        try:
            part.replace(folder)
        except OSError as error:
            if not folder.exists():
                raise InputError(f"cannot write {folder}: {error.strerror}") from error
            raise FolderTakenError(f"{folder} exists already; a scan goes into a new folder") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def keep_scan(project: Project, result: ScanResult) -> Path:
    """Save a scan as the project's next one, whatever other readings do meanwhile; gives its folder."""
    while True:
        folder = project.next_scan()
        with suppress(FolderTakenError):  # another reading took this number a moment ago
            save_scan(folder, result)
            return folder


def _white_photo(path: Path, takes: Takes) -> NDArray[np.uint8]:
    """Mean of the clean frames of the longest white hold, in colour."""
    if takes.photo is not None:
        return takes.photo
    # The player or the phone dropped that hold: another one does.
    whites = [n for n, hold in enumerate(takes.plan.body) if hold.kind == "white" and takes.counts[n]]
    start_s, stop_s = takes.spans_s[max(whites, key=lambda n: takes.counts[n])]
    with ClipReader(path) as reader:
        return reader.mean_rgb(start_s - 1e-4, stop_s + 1e-4)
