"""The demo's report: what was done, how exact it was, and how to go on with one's own house."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.demo.page import Page, Picture
from limewash.demo.run import DemoState
from limewash.facade.map import HouseMap, load_map
from limewash.facade.svg import read_tracing
from limewash.facade.tracing import Tracing
from limewash.files import write_text
from limewash.geometry.path_flatten import flatten
from limewash.media.images import read_image
from limewash.media.reading import ClipReader
from limewash.project.folder import open_project
from limewash.scan.findings import load_findings

STAGE_WORDS = {
    "house": "house, daylight and dusk pictures",
    "pattern": "pattern video",
    "film": "filming it",
    "scan": "reading the clip",
    "map": "tracing to map",
    "show": "rendering the show",
    "proof": "proof from the street",
}

CAUTIONS = (
    "Mains outdoors: cords, boxes and sockets made for it, behind a residual-current device, off wet ground. Local "
    "electrical codes and licensed electricians have the last word.",
    "Nobody looks into the lens or walks through the beam close to it, children above all.",
    "Flashing light can trigger seizures in some people. Keep changes slow and warn guests.",
    "No light on roads, drivers, other people's windows or into the sky; ask neighbours and the town.",
    "Ladders, cords and tripods make people fall: two people, cords taped down, light on the path.",
)

OWN_HOUSE = (
    "`limewash new our-house --size 1920x1080` with your projector's native pixels.",
    "`limewash scan pattern pattern.mp4 --size 1920x1080`; play it on the house with the projector and player of the "
    "show, keystone correction off, and film it from start to end with a phone on a tripod.",
    "`limewash scan read CLIP.MOV --project our-house`.",
    "Draw over `our-house/scans/scan-1/photo.png` in any vector editor; then "
    "`limewash trace import house.svg --project our-house`.",
    "`limewash map export --project our-house`.",
    "`limewash show new evening --project our-house`, then `show proof` and `show render`.",
)


def write_report(root: Path, state: DemoState) -> Path:
    """Write `report.html` from the files and figures of a finished demo; gives its path."""
    project = open_project(root / "project")
    scan = project.scan_folder()
    tracing = read_tracing(project.tracing_file)
    photo = read_image(scan / "photo.png")
    house_map = load_map(project.map_folder)
    stills = [read_image(path) for path in sorted(root.glob("proof-*.jpg"))]
    times = state.figures["proof"]["stills_s"]

    page = Page(
        "The whole job, once",
        f"{project.house.name}, an invented house: from a filmed clip to a finished show, computed on this machine.",
    )
    best = int(np.argmax([float(still.mean()) for still in stills]))
    page.video(
        "proof.mp4",
        stills[best],
        "The proof: the show as it will look from the street, with its music. The film itself, for the projector, is "
        "`project/shows/evening/show.mp4`.",
    )
    page.heading("1. The house")
    page.pictures([(read_image(root / "daylight.jpg"), "By day."), (read_image(root / "dusk.jpg"), "At dusk.")])
    page.heading("2. The scan")
    page.text(
        "The projector plays a pattern; a phone films it, with its own clock, exposure, noise and lens. From that clip "
        "alone comes where each projector pixel lands, and a photo by the projector's white light."
    )
    page.pictures([(_clip_frame(root / "clip.mp4"), "A moment of the clip."), (photo, "The scan's photo.")])
    page.text(
        "Two views give depth, and a few places measured with a tape give metres: so the show knows the true size of "
        "what stands in front of the wall."
    )
    page.pictures([(read_image(scan / "depth.png"), "The measured scene, as the projector sees it.")])
    page.table(
        ["finding", "what to do"], [[f.text, f.remedy] for f in load_findings(scan / "findings.json").items], words=True
    )
    page.heading("3. The tracing and the map")
    page.text(
        "Windows, door and roof line are drawn on the photo and carried to the projector's own pixels. Glass returns "
        "no light, so the scan has nothing there; edges run straight across it all the same."
    )
    page.pictures(
        [
            (draw_tracing(photo, tracing), "The tracing on the photo."),
            (draw_map(house_map), "The map, in projector pixels."),
        ]
    )
    page.heading("4. The show")
    page.pictures([(still, f"At {t:.0f} s") for still, t in zip(stills, times, strict=True)])
    page.heading("How exact it was")
    page.text("Against the exact truth that only a virtual house has; in projector pixels.")
    page.table(["", "median", "RMSE", "95 %", "worst", "coverage"], accuracy_rows(state))
    scene_mm = 1000.0 * state.figures["scan"]["scene_median_m"]
    page.text(f"The measured scene lies {scene_mm:.0f} mm off the true one (median, in space).")
    page.heading("How long it took")
    rows = [[STAGE_WORDS[name], f"{seconds:.1f} s"] for name, seconds in state.seconds.items()]
    page.table(["stage", "time"], [*rows, ["all", f"{sum(state.seconds.values()):.0f} s"]])
    page.heading("Now your own house")
    page.steps(OWN_HOUSE)
    page.cautions(CAUTIONS)
    path = root / "report.html"
    write_text(path, page.html())
    return path


def accuracy_rows(state: DemoState) -> list[list[str]]:
    """Rows of the accuracy table: scan, and the map's edges."""
    scan, edges = state.figures["scan"], state.figures["map"]
    return [
        [
            "scan, every pixel",
            f"{scan['median_px']:.3f}",
            f"{scan['rmse_px']:.3f}",
            f"{scan['p95_px']:.3f}",
            f"{scan['over3_share']:.2%} over 3",
            f"{scan['coverage']:.1%}",
        ],
        [
            "map, along all edges",
            f"{edges['median_px']:.3f}",
            f"{edges['rmse_px']:.3f}",
            f"{edges['p95_px']:.3f}",
            f"{edges['worst_px']:.2f}",
            "",
        ],
    ]


def draw_tracing(photo: Picture, tracing: Tracing) -> Picture:
    """The photo, a little dimmed, with the tracing on it."""
    chains = [(flatten(item.path, tolerance_px=0.1).points, item.is_area) for item in tracing.items]
    return _drawn((photo * 0.72).astype(np.uint8), chains, (255, 214, 110))


def draw_map(house_map: HouseMap) -> Picture:
    """The map's lines over its faintly lit areas."""
    lit = np.array([34, 40, 52], dtype=np.uint8)
    areas = (house_map.areas > 0)[..., None] * lit
    return _drawn(areas.astype(np.uint8), [(line.points, line.closed) for line in house_map.lines], (255, 255, 255))


def _drawn(picture: Picture, chains: list[tuple[NDArray[np.float64], bool]], colour: tuple[int, int, int]) -> Picture:
    width = max(1, round(picture.shape[1] / 960))
    shift = 4
    out = np.ascontiguousarray(picture)
    for points, closed in chains:
        fixed = np.rint(points * 2**shift).astype(np.int32)
        cv2.polylines(out, [fixed], closed, colour, width, cv2.LINE_AA, shift)
    return out


def _clip_frame(path: Path) -> Picture:
    """A frame two thirds through the clip, where fringes are shown."""
    with ClipReader(path) as reader:
        at = 0.66 * reader.info.duration_s
        return next(picture for _, picture in reader.rgb(at))
