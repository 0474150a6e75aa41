"""Reading photos of the pattern: shown picture by picture, photographed in any order, any number of times."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.files import new_folder
from limewash.light.colour import LUMA_BT709
from limewash.media.images import write_image
from limewash.media.photos import SUFFIXES, read_note, read_photo
from limewash.media.reading import ClipInfo
from limewash.progress import Progress, part_of, silent
from limewash.scan.findings import Finding, Findings
from limewash.scan.keep import keep_frames
from limewash.scan.lens import lens_of_photos
from limewash.scan.pattern import Hold, PatternPlan, plan_pattern
from limewash.scan.read import ScanResult, scan_of
from limewash.scan.recognise import Lines, recognise
from limewash.scan.steady import moved_between
from limewash.scan.takes import Takes

_LINES = 32  # of each direction, by which the photos are told apart
_GOLDEN = 0.618  # of a cell, by which places that shall not repeat move on
_FINER = 16  # parts of a code that a mean is kept in; as many times a code still fits 16 bits
_MOST_PX = 7e6  # a larger photo is made smaller: more would not tell a projector's pixels better, and memory is bounded
_FEWEST = 16
_NAMED = 6  # of the missing pictures, in a message
_LUMA = np.array(LUMA_BT709, dtype=np.float32)


def pictures_of(plan: PatternPlan) -> tuple[Hold, ...]:
    """The pictures that must be photographed, each once, in the order in which `write_pictures` numbers them."""
    return tuple(dict.fromkeys(plan.body))


def picture_name(plan: PatternPlan, hold: Hold) -> str:
    """Name of a picture's file, such as ``"07-columns-fringe-90.png"``."""
    number = pictures_of(plan).index(hold) + 1
    if hold.kind in ("black", "white"):
        return f"{number:02}-{hold.kind}.png"
    axis = ("columns", "rows")[hold.axis]
    bit = f"-bit-{hold.bit}" if hold.kind == "code" else ""
    return f"{number:02}-{axis}-{hold.kind}{bit}-{math.degrees(hold.phase_rad):.0f}.png"


def write_pictures(folder: Path, plan: PatternPlan, progress: Progress = silent) -> list[Path]:
    """Write the pictures of the pattern as numbered PNGs, to be shown full screen one after another.

    Raises
    ------
    InputError
        If there is something in the folder already, or it cannot be written.
    """
    new_folder(folder, "the pictures")
    paths = []
    for n, hold in enumerate(holds := pictures_of(plan)):
        paths.append(folder / picture_name(plan, hold))
        write_image(paths[-1], plan.picture(hold))
        progress((n + 1) / len(holds), "drawing the pictures")
    return paths


def read_shots(
    folder: Path, projector_size: tuple[int, int], progress: Progress = silent, *, keep: Path | None = None
) -> ScanResult:
    """Read a folder of photos of the pattern's pictures, in any order.

    Parameters
    ----------
    folder : Path
        Holds the photos: JPEG, PNG, TIFF, HEIC or raw, all of one camera standing still.
    projector_size : (int, int)
        Native size of the projector. [px]
    progress : Progress
        Told how far the reading is.
    keep : Path, optional
        New folder for the mean of each picture's photos, see `keep_frames`.

    Raises
    ------
    InputError
        If the folder is missing or holds too few photos; if their sizes differ; if they do not show the pattern; if
        pictures of it are missing, and then which.
    """
    folder = Path(folder)
    paths = photos_in(folder)
    if keep is not None:
        new_folder(keep, "the frames")
    lines = _sample(paths, part_of(progress, 0.0, 0.4))
    found = recognise(lines, [plan_pattern(projector_size), plan_pattern(projector_size, form="short")])
    if found is None:
        raise InputError(
            f"{folder}: these {len(paths)} photos do not show the pattern's pictures; show each PNG of 'limewash scan "
            f"pattern --stills DIR --size {projector_size[0]}x{projector_size[1]}' full screen, photograph each with "
            "the camera on a tripod, focus and exposure locked, and put just those photos into the folder"
        )
    plan, holds = found
    _check_complete(folder, plan, holds)
    photo: list[NDArray[np.uint8]] = []

    def take() -> tuple[Takes, float]:
        takes, white = _take(paths, plan, holds, part_of(progress, 0.4, 0.85))
        photo.append(white)
        if keep is not None:
            keep_frames(keep, takes)
        return takes, moved_between(folder, takes)

    result = scan_of(folder, take, lambda _: photo[0], part_of(progress, 0.85, 1.0))
    findings = Findings.sorted([*result.findings.items, *_notes(paths, plan, holds)])
    lens = lens_of_photos(read_note(paths[0]), result.correspondence.camera_size)
    return replace(result, findings=findings, lens=lens)


def photos_in(folder: Path) -> list[Path]:
    """Photos of a folder, in the order in which they were taken as far as they say so, else of their names.

    Raises
    ------
    InputError
        If the folder is missing or holds too few photos to be a scan.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is not a folder; give the folder that holds the photos")
    paths = sorted(p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and not p.name.startswith("."))
    if len(paths) < _FEWEST:
        raise InputError(
            f"{folder} holds {len(paths)} photos; a scan takes one of each picture that 'limewash scan pattern "
            "--stills DIR' writes"
        )
    return sorted(paths, key=lambda path: (read_note(path).taken or "", path.name))


def _sample(paths: Sequence[Path], progress: Progress) -> Lines:
    across: list[NDArray[np.float32]] = []
    down: list[NDArray[np.float32]] = []
    size: tuple[int, ...] | None = None
    for n, path in enumerate(paths):
        luma = _luma(read_photo(path))
        if size is not None and luma.shape != size:
            raise InputError(
                f"{path.name} is {luma.shape[1]} x {luma.shape[0]}, the photos before it {size[1]} x {size[0]}; all "
                "must come from one camera standing still, held the same way, with one zoom"
            )
        size = luma.shape
        rows, columns = (_spread(side) for side in size)
        across.append(luma[rows])
        down.append(luma[:, columns].T)
        progress((n + 1) / len(paths), "looking through the photos")
    return Lines(np.stack(across), np.stack(down))


def _spread(side: int) -> NDArray[np.intp]:
    """Places of the lines, not evenly, or they might all lie at one phase of the fringe."""
    number = np.arange(_LINES)
    return ((number + number * _GOLDEN % 1.0) * side / _LINES).astype(np.intp)


def _luma(picture: NDArray[np.uint8 | np.uint16]) -> NDArray[np.float32]:
    """Luma in codes of 8 bits."""
    scale = np.float32(1.0 if picture.dtype == np.uint8 else 255.0 / 65535.0)
    return _fitted(np.asarray(cv2.transform(picture.astype(np.float32), (_LUMA * scale)[None]), dtype=np.float32))


def _fitted(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same picture, made smaller if it is very large."""
    height, width = picture.shape[:2]
    scale = math.sqrt(_MOST_PX / (height * width))
    if scale >= 1.0:
        return picture
    size = (2 * round(0.5 * scale * width), 2 * round(0.5 * scale * height))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.float32)


def _check_complete(folder: Path, plan: PatternPlan, holds: Sequence[Hold | None]) -> None:
    missing = [hold for hold in pictures_of(plan) if hold not in set(holds)]
    if not missing:
        return
    names = ", ".join(picture_name(plan, hold) for hold in missing[:_NAMED])
    more = f" and {len(missing) - _NAMED} more" if len(missing) > _NAMED else ""
    short = " --short" if plan.short else ""
    unknown = sum(hold is None for hold in holds)
    blurred = f" ({unknown} photos show none of the pictures clearly enough)" if unknown else ""
    raise InputError(
        f"{folder}: {len(missing)} of the pattern's {len(pictures_of(plan))} pictures have no photo: {names}{more}"
        f"{blurred}. If the camera still stands where it stood, show those PNGs of 'limewash scan pattern --stills DIR"
        f"{short} --size {plan.size[0]}x{plan.size[1]}', photograph each, and add the photos to the folder; otherwise "
        "photograph all of them again"
    )


def _take(
    paths: Sequence[Path], plan: PatternPlan, holds: Sequence[Hold | None], progress: Progress
) -> tuple[Takes, NDArray[np.uint8]]:
    """The mean of each picture's photos, and the white one in colour."""
    sums: NDArray[np.uint16] | None = None
    photo: NDArray[np.uint8] | None = None
    wanted = pictures_of(plan)
    counts = np.zeros(len(plan.body), dtype=np.int64)
    for k, hold in enumerate(wanted):
        of_hold = [path for path, shown in zip(paths, holds, strict=True) if shown == hold]
        pictures = [read_photo(path) for path in of_hold]
        mean = np.asarray(np.mean([_luma(picture) for picture in pictures], axis=0), dtype=np.float32)
        if sums is None:
            sums = np.zeros((len(plan.body), *mean.shape), dtype=np.uint16)
        if hold.kind == "white":
            photo = _in_colour(pictures)
        # References that the clip shows several times are filled once: the last, where the photo of a clip comes from.
        n = max(n for n, body in enumerate(plan.body) if body == hold)
        sums[n], counts[n] = np.rint(mean * _FINER), _FINER
        progress((k + 1) / len(wanted), "averaging the photos")
    assert sums is not None
    assert photo is not None
    return _as_takes(plan, sums, counts), photo


def _in_colour(pictures: Sequence[NDArray[np.uint8 | np.uint16]]) -> NDArray[np.uint8]:
    eight = [picture if picture.dtype == np.uint8 else picture / 257.0 for picture in pictures]
    mean = _fitted(np.asarray(np.mean(eight, axis=0), dtype=np.float32))
    return np.asarray(np.rint(mean), dtype=np.uint8)


def _as_takes(plan: PatternPlan, sums: NDArray[np.uint16], counts: NDArray[np.int64]) -> Takes:
    few = (slice(None, None, 5), slice(None, None, 5))
    black, white = (sums[n][few] / _FINER for n in (_where(plan, counts, kind)[-1] for kind in ("black", "white")))
    lit = white - black > max(8.0, 0.1 * float(np.quantile(white - black, 0.98)))
    levels = np.array([float(picture[few][lit].mean()) for picture in sums])
    equal = [
        n for kind in ("fringe", "code") for n in _where(plan, counts, kind) if kind == "fringe" or plan.body[n].bit
    ]
    gains = np.ones(len(counts))
    gains[equal] = levels[equal] / np.median(levels[equal])
    height, width = sums.shape[1:]
    return Takes(
        plan=replace(plan, checks=()),
        info=ClipInfo((width, height), Fraction(1), math.nan, None, "photos", "gray", 0, 8, full_range=True),
        sums=sums,
        counts=counts,
        spans_s=np.repeat(np.arange(len(counts), dtype=np.float64)[:, None], 2, axis=1),
        gains=gains,
        lit_share=float(lit.mean()),
        beat_s=math.nan,
        unsteady_s=math.nan,
        end_seen=True,
        checks=np.zeros((0, height, width), dtype=np.uint16),
        check_counts=np.zeros(0, dtype=np.int64),
    )


def _where(plan: PatternPlan, counts: NDArray[np.int64], kind: str) -> list[int]:
    return [n for n, hold in enumerate(plan.body) if hold.kind == kind and counts[n]]


def _notes(paths: Sequence[Path], plan: PatternPlan, holds: Sequence[Hold | None]) -> list[Finding]:
    """How many photos there were of each picture, and which were of no use."""
    often = Counter(hold for hold in holds if hold is not None)
    least = min(often.values())
    times = "once" if least == 1 else f"{least} times"
    text = (
        f"{len(paths)} photos show the {len(often)} pictures of the pattern, each {times} or more. They are taken for "
        f"those of {plan.size[0]}x{plan.size[1]}: unlike the video, photos do not tell for which projector they are."
    )
    numbers = {"photos": float(len(paths)), "pictures": float(len(often))}
    found = [Finding("photos", "good", text, "", numbers)]
    unknown = [path.name for path, hold in zip(paths, holds, strict=True) if hold is None]
    if unknown:
        text = f"{len(unknown)} photos show none of the pattern's pictures and were left out: {', '.join(unknown[:5])}."
        remedy = "Nothing has to be done if they show something else."
        found.append(Finding("photos-left-out", "note", text, remedy, {"photos": float(len(unknown))}))
    return found
