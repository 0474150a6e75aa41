"""Scans: the pattern film, clips, findings, which one is in use."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal

import cv2
from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import FileResponse
from pydantic import Field

from limewash.errors import InputError
from limewash.scan.findings import load_findings
from limewash.scan.mark import FORMS, Form
from limewash.studio.ground import BY_EYE, make_by_eye
from limewash.studio.jobs import JobState
from limewash.studio.routes.common import PICTURE, TheDesk
from limewash.studio.routes.uploads import received
from limewash.studio.scan_overlay import scan_overlay
from limewash.studio.wire import Fault, Wire

router = APIRouter(prefix="/api/scan", tags=["scan"], responses={422: {"model": Fault}})

CLIPS = (".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".3gp", ".mts", ".ts", ".zip")
ScanName = Annotated[str, Field(min_length=1, max_length=80)]
VIDEO: dict[int | str, dict[str, Any]] = {200: {"content": {"video/mp4": {}}}}


class ScanEntry(Wire):
    """One scan of the project."""

    name: str
    in_use: bool
    made: str
    warnings: int
    by_eye: bool
    settled: bool


class Scans(Wire):
    """All scans, and whether the pattern film is there."""

    projector_size: tuple[int, int]
    scans: list[ScanEntry]
    pattern: str | None
    """Name of the pattern film, when it has been made for this projector."""
    pattern_s: dict[Form, float]
    """How long each form of it plays."""


class FindingEntry(Wire):
    """One thing that a scan found."""

    code: str
    severity: Literal["good", "note", "warning"]
    text: str
    remedy: str
    numbers: dict[str, float]


class UseScan(Wire):
    """The scan to trace on."""

    name: ScanName


class PatternWish(Wire):
    """The pattern film to make."""

    rate: Annotated[int, Field(ge=24, le=60)] = 30
    form: Form = "usual"


@router.get("")
def read_scans(desk: TheDesk) -> Scans:
    """All scans of the project."""
    from limewash.scan.pattern import plan_pattern

    project = desk.project
    in_use = project.scan_folder().name if project.scans() else None
    entries = [_entry(project.root / "scans" / name, in_use) for name in project.scans()]
    pattern = _pattern_file(desk)
    return Scans(
        projector_size=project.rig.projector.size,
        scans=entries,
        pattern=pattern.name if pattern.is_file() else None,
        pattern_s={form: plan_pattern(project.rig.projector.size, form=form).duration_s for form in FORMS},
    )


@router.post("/use")
def use_scan(wanted: UseScan, desk: TheDesk) -> Scans:
    """Trace on this scan from now on."""
    desk.use_scan(wanted.name)
    return read_scans(desk)


@router.post("/by-eye")
def begin_by_eye(desk: TheDesk) -> Scans:
    """Begin without a camera: draw on the house while looking at it."""
    if BY_EYE not in desk.project.scans():
        make_by_eye(desk.project)
    desk.use_scan(BY_EYE)
    return read_scans(desk)


@router.post("/pattern")
def make_pattern(wish: PatternWish, desk: TheDesk) -> JobState:
    """Write the pattern film for this projector."""
    size = desk.project.rig.projector.size
    arguments = {"size": size, "rate": wish.rate, "form": wish.form, "out": str(_pattern_file(desk))}
    return desk.jobs.start("pattern", "Writing the pattern film", arguments)


@router.get("/pattern/file", response_class=FileResponse, responses=VIDEO)
def pattern_file(desk: TheDesk) -> FileResponse:
    """The pattern film to carry to the player."""
    path = _there(_pattern_file(desk), "the pattern film has not been made yet")
    return FileResponse(path, media_type="video/mp4", filename=path.name)


@router.get("/pattern/film", response_class=FileResponse, responses=VIDEO)
def pattern_film(desk: TheDesk) -> FileResponse:
    """The pattern film for the projector page."""
    return FileResponse(_there(_pattern_file(desk), "the pattern film has not been made yet"), media_type="video/mp4")


@router.put("/clip")
async def take_clip(
    request: Request, desk: TheDesk, name: Annotated[str, Query(min_length=1, max_length=200)]
) -> JobState:
    """Take what the phone filmed (the body is the file) and read it."""
    root = desk.project.root
    clip = await received(request, root / "scans", name, suffixes=CLIPS)

    def done(result: dict[str, Any]) -> None:
        if desk.is_open and desk.project.root == root:  # another project may have been opened meanwhile
            desk.use_scan(result["scan"])

    return desk.jobs.start(
        "read",
        f"Reading {Path(name).name}",
        {"project": str(root), "clip": str(clip)},
        done=done,
        ended=lambda: clip.unlink(missing_ok=True),
    )


@router.get("/{name}/findings")
def findings(name: ScanName, desk: TheDesk) -> list[FindingEntry]:
    """What a scan found, warnings first."""
    path = desk.project.scan_folder(name) / "findings.json"
    if not path.is_file():
        return []
    return [FindingEntry(**item) for item in load_findings(path).to_json()["findings"]]


@router.get("/{name}/photo", response_class=FileResponse, responses=PICTURE)
def scan_photo(name: ScanName, desk: TheDesk) -> FileResponse:
    """The photo of a scan."""
    return FileResponse(desk.project.scan_folder(name) / "photo.png", headers={"cache-control": "no-cache"})


@router.get("/{name}/overlay", response_class=Response, responses=PICTURE)
def overlay(name: ScanName, desk: TheDesk) -> Response:
    """The projector's pixels as a net over the photo: where the picture lands and where nothing was seen."""
    _, data = cv2.imencode(".jpg", scan_overlay(desk.project.scan_folder(name))[..., ::-1])
    return Response(data.tobytes(), media_type="image/jpeg", headers={"cache-control": "no-cache"})


def _entry(folder: Path, in_use: str | None) -> ScanEntry:
    path = folder / "findings.json"
    warnings = 0
    if path.is_file():
        found = json.loads(path.read_text(encoding="utf-8")).get("findings", [])
        warnings = sum(1 for item in found if item.get("severity") == "warning")
    made = datetime.fromtimestamp((folder / "correspondence.npz").stat().st_mtime)
    return ScanEntry(
        name=folder.name,
        in_use=folder.name == in_use,
        made=made.isoformat(timespec="minutes"),
        warnings=warnings,
        by_eye=folder.name == BY_EYE,
        settled=folder.name.endswith("-settled"),
    )


def _pattern_file(desk: TheDesk) -> Path:
    width, height = desk.project.rig.projector.size
    return desk.project.root / "scans" / f"pattern-{width}x{height}.mp4"


def _there(path: Path, missing: str) -> Path:
    if not path.is_file():
        raise InputError(missing)
    return path
