"""The stages of the demo: the whole job on an invented house, through the project's own files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from fractions import Fraction
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.demo.report import write_report
from limewash.demo.run import DemoPlan, DemoState, Figures, Stage, run_stages
from limewash.demo.warm import Warmer
from limewash.facade.map import build_map, export_map, load_map
from limewash.facade.svg import read_tracing, tracing_svg
from limewash.facade.tracing import Kind
from limewash.facade.transfer import transfer
from limewash.media.images import write_image
from limewash.progress import Progress, part_of
from limewash.project.folder import Project, create_project, open_project
from limewash.project.models import House, MeasuredPoint
from limewash.scan.correspondence import load_correspondence
from limewash.scan.geometry import SceneGeometry
from limewash.scan.measure import measure_scan
from limewash.scan.pattern import plan_pattern, write_pattern
from limewash.scan.read import keep_scan, read_clip
from limewash.show.compositor import Compositor
from limewash.show.folder import open_show, start_show
from limewash.show.proof import WorldStreet, proof_picture, write_proof
from limewash.show.render import render_show, show_sound
from limewash.world.accuracy import accuracy
from limewash.world.display import under_video
from limewash.world.edges import edge_accuracy
from limewash.world.features import Feature
from limewash.world.film import film
from limewash.world.phone import Phone
from limewash.world.sketch import facade_of, rig_of, site_of
from limewash.world.view import View
from limewash.world.virtual import VirtualHouse, load_world

SHOW = "evening"
PROOF_RATE = 15
ON_WALL_M = 0.12
"""How far in front of the wall's plane a point may lie and still be taken for one of it: casings do."""


def run_demo(root: Path, plan: DemoPlan, watch: Callable[[Stage], Progress]) -> DemoState:
    """Do the whole job in a folder; a run that was broken off goes on where it stopped.

    Parameters
    ----------
    root : Path
        New, empty, or a demo of the same plan.
    plan : DemoPlan
    watch : callable
        Called before a stage begins; gives the progress callback for it.

    Returns
    -------
    state : DemoState
        Seconds and figures of each stage; the report is `root/report.html`.
    """
    return DemoJob(root, plan).run(watch)


class DemoJob:
    """Holds what several stages need: the virtual house and its view, built once a run."""

    def __init__(self, root: Path, plan: DemoPlan) -> None:
        self.root = root
        self.plan = plan
        self._warmer = Warmer()

    def run(self, watch: Callable[[Stage], Progress]) -> DemoState:
        """Do every stage, then write the report."""
        try:
            state = run_stages(self.root, self.plan, self._stages(), watch)
        finally:
            self._warmer.stop()
        write_report(self.root, state)
        return state

    def _stages(self) -> list[Stage]:
        return [
            Stage("house", "Build the house and the project", self._house),
            Stage("pattern", "Write the pattern video", self._pattern),
            Stage("film", "Film it as a phone would", self._film),
            Stage("scan", "Read the clip", self._scan),
            Stage("map", "Carry the tracing to the projector", self._map),
            Stage("show", "Render the show", self._show),
            Stage("proof", "See it from the street", self._proof),
        ]

    @cached_property
    def world(self) -> VirtualHouse:
        """The invented house."""
        return load_world(self.plan.house, camera_size=self.plan.camera_size, projector_size=self.plan.projector_size)

    @cached_property
    def view(self) -> View:
        """What the phone sees of it, by night."""
        return self.world.view()

    @cached_property
    def small_view(self) -> View:
        """The same in few pixels, on the projector too: for pictures and the proof's video."""
        if self.world.camera.size == self.plan.picture_size == self.world.projector.size:
            return self.view
        return self.world.resized(self.plan.picture_size, self.plan.picture_size).view()

    @property
    def project(self) -> Project:
        """The project folder as it is now."""
        return open_project(self.root / "project")

    def _house(self, progress: Progress) -> Figures:
        progress(0.0, "building")
        self._warmer.start()
        folder = self.root / "project"
        if not (folder / "house.toml").is_file():
            create_project(folder, project_house(self.world))
        progress(0.1, "tracing light")
        small = self.small_view
        write_image(self.root / "daylight.jpg", small.daylight(part_of(progress, 0.4, 0.7)))
        write_image(self.root / "dusk.jpg", small.dusk(part_of(progress, 0.7, 1.0)))
        return {"lumens": self.world.projector_lumens}

    def _pattern(self, progress: Progress) -> Figures:
        plan = plan_pattern(self.plan.projector_size)
        write_pattern(self.root / "pattern.mp4", plan, progress)
        return {"seconds": plan.duration_s}

    def _film(self, progress: Progress) -> Figures:
        film(
            self.root / "pattern.mp4",
            self.root / "clip.mp4",
            under_video(self.view),
            Phone(seed=self.plan.seed),
            progress,
        )
        return {"bytes": (self.root / "clip.mp4").stat().st_size}

    def _scan(self, progress: Progress) -> Figures:
        progress(0.0, "compiling")
        self._warmer.wait()
        result = read_clip(self.root / "clip.mp4", self.plan.projector_size, part_of(progress, 0.0, 0.8))
        keep_scan(self.project, result)
        progress(0.82, "measuring the scene")
        _, geometry = measure_scan(self.project)
        progress(0.95, "comparing with the truth")
        return {
            **asdict(accuracy(result.correspondence, self.world.truth())),
            "scene_median_m": scene_error_m(geometry, self.world),
        }

    def _map(self, progress: Progress) -> Figures:
        project = self.project
        scan = project.scan_folder()
        photo = (scan / "photo.png").relative_to(project.root).as_posix()
        project.write(project.tracing_file, tracing_svg(self.world.tracing(), photo).encode("utf-8"))
        progress(0.1, "transferring")
        correspondence = load_correspondence(scan / "correspondence.npz")
        transferred = transfer(read_tracing(project.tracing_file), correspondence)
        progress(0.5, "drawing the map")
        export_map(project.map_folder, build_map(transferred, correspondence.projector_size))
        return asdict(edge_accuracy(load_map(project.map_folder), self.world.features()))

    def _show(self, progress: Progress) -> Figures:
        project = self.project
        progress(0.0, "writing score and music")
        if SHOW in project.shows():
            show = open_show(project, SHOW)
        else:
            show = start_show(project, SHOW, bundled=self.plan.show)
        sound = show_sound(show.score, show.folder)
        render_show(show.score, show.fields, show.film, sound=sound, progress=part_of(progress, 0.03, 1.0))
        return {"frames": show.score.show.frame_count, "seconds": show.score.show.length_s}

    def _proof(self, progress: Progress) -> Figures:
        show = open_show(self.project, SHOW)
        street = WorldStreet(self.view)
        compositor = Compositor(show.score, show.fields)
        times = proof_times_s(show.score.show.length_s)
        for number, t_s in enumerate(times):
            progress(0.2 * number / len(times), "stills")
            write_image(self.root / f"proof-{number + 1}.jpg", proof_picture(compositor, street, t_s))
        write_proof(
            self.root / "proof.mp4",
            compositor,
            WorldStreet(self.small_view),
            rate=Fraction(PROOF_RATE),
            sound=show_sound(show.score, show.folder),
            progress=part_of(progress, 0.2, 1.0),
        )
        return {"stills_s": times}


def scene_error_m(geometry: SceneGeometry, world: VirtualHouse) -> float:
    """Median distance of the measured scene from the true one, from every seventh pixel each way [m]."""
    rows, columns = np.nonzero(np.isfinite(geometry.depth_m))
    pick = (rows % 7 == 0) & (columns % 7 == 0)
    rows, columns = rows[pick], columns[pick]
    true = world.landings(np.column_stack([columns, rows]))
    return float(np.nanmedian(np.linalg.norm(geometry.points_m()[rows, columns] - true, axis=1)))


def proof_times_s(length_s: float) -> list[float]:
    """When the stills of the report are taken: spread over the show, away from its very ends."""
    return [round(length_s * share, 2) for share in (0.12, 0.3, 0.45, 0.6, 0.78, 0.94)]


def project_house(world: VirtualHouse) -> House:
    """What a person would have put into `house.toml` for a virtual house: tape, data sheet, the ground in front."""
    facade = facade_of(world.house).model_copy(update={"measured": measured_points(world)})
    return House(
        name=world.house.title,
        facade=facade,
        site=site_of(world.house),
        rig=(rig_of(world.house, world.projector.size),),
    )


def measured_points(world: VirtualHouse) -> tuple[MeasuredPoint, ...]:
    """Corners of windows and doors on the main wall, as a tape and a look at the photo would give them."""
    found: list[MeasuredPoint] = []
    for feature in world.features():
        if feature.kind not in (Kind.WINDOW, Kind.DOOR):
            continue
        corners = corners_m(feature)
        on_wall = np.abs(corners[:, 2]) < ON_WALL_M
        for (x, y, _), (u, v) in zip(corners[on_wall], world.camera.project(corners[on_wall]), strict=True):
            found.append(
                MeasuredPoint(
                    what=f"{feature.title}, corner {len(found) + 1}",
                    wall_m=(round(float(x), 3), round(float(y), 3)),
                    photo_px=(round(float(u), 1), round(float(v), 1)),
                )
            )
    return tuple(found)


def corners_m(feature: Feature) -> NDArray[np.float64]:
    """Where the edges of a feature begin, (N, 3) [m]."""
    return np.stack([np.asarray(edge.at(0.0)).reshape(3) for edge in feature.edges])
