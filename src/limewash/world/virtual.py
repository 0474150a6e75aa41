"""A virtual house with its projector and its camera."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.facade.tracing import Tracing
from limewash.geometry.device import Device
from limewash.progress import Progress, silent
from limewash.world.display import Chain
from limewash.world.features import Feature, features_of, tracing_of
from limewash.world.lighting import night
from limewash.world.model import HOUSES, CameraStand, House, ProjectorStand, read_house
from limewash.world.scene import Scene, build_scene, mesh_of
from limewash.world.truth import Truth, cast, inside, true_correspondence
from limewash.world.view import View

__all__ = ["HOUSES", "VirtualHouse", "load_world"]

Size = tuple[int, int]


class VirtualHouse:
    """An invented house in front of a projector and a camera, with exact truth.

    Attributes
    ----------
    house : House
        The data it was built from.
    camera, projector : Device
    """

    def __init__(self, house: House, *, camera_size: Size = (1920, 1080), projector_size: Size = (1920, 1080)) -> None:
        self.house = house
        self.camera = _camera(house.camera, camera_size)
        self.projector = _projector(house.projector, projector_size)

    @property
    def projector_lumens(self) -> float:
        """Luminous flux at full white [lm]."""
        return self.house.projector.lumens

    @cached_property
    def scene(self) -> Scene:
        """The triangles and materials."""
        return build_scene(mesh_of(self.house), self.house.materials)

    def resized(self, camera_size: Size, projector_size: Size) -> VirtualHouse:
        """The same house, lens and stand with other numbers of pixels: for small quick views."""
        other = VirtualHouse(self.house, camera_size=camera_size, projector_size=projector_size)
        other.scene = self.scene
        return other

    def view(self, samples: int = 2, size: Size | None = None, *, progress: Progress = silent) -> View:
        """The camera's view at night, ready for `View.picture`.

        Parameters
        ----------
        samples : int
            Sub-pixels along each side of a pixel.
        size : (int, int), optional
            Another picture size for the same lens and stand, for small quick views. [px]
        """
        camera = self.camera if size is None else self.camera.resized(size)
        return View(
            self.house, self.scene, camera, self.projector, night(self.house), samples=samples, progress=progress
        )

    def truth(self, chain: Chain | None = None) -> Truth:
        """Exact correspondence; NaN where no diffuse surface, glass, hidden from the camera, or outside its frame.

        Parameters
        ----------
        chain : Chain, optional
            What crops, scales or turns the video on its way; the truth is that of the video's pixels.
        """
        to_panel = None if chain is None else chain.to_panel(self.projector.size)
        return true_correspondence(self.scene, self.projector, self.camera, to_panel)

    def features(self) -> list[Feature]:
        """Windows, doors, roof lines, walls, posts, trim and steps, exact in metres and in both pictures.

        What the camera sees less than half of is left out, since nobody could trace it.
        """
        return list(self._features)

    @cached_property
    def _features(self) -> tuple[Feature, ...]:
        every = features_of(self.house, self.camera, self.projector)
        return tuple(feature for feature in every if self._shown(feature) >= 0.5)

    def _shown(self, feature: Feature) -> float:
        """Share of a feature's outline that the camera sees, within a pixel and a hand's breadth of depth."""
        points = np.concatenate([edge.at(np.linspace(0.02, 0.98, 25)) for edge in feature.edges])
        pixels, depth = self.camera.project(points), np.linalg.norm(points - self.camera.position_m, axis=1)
        off = np.full(len(points), np.inf)
        for step in ((0.0, 0.0), (1.2, 0.0), (-1.2, 0.0), (0.0, 1.2), (0.0, -1.2)):
            hits = cast(self.scene, self.camera, pixels + np.array(step), self.camera.position_m)
            travel = np.linalg.norm(hits.position_m - self.camera.position_m, axis=1)
            off = np.fmin(off, np.abs(travel - depth))
        return float(np.mean(off < 0.1))

    def tracing(self) -> Tracing:
        """The features as an exact tracing on the camera's picture."""
        return tracing_of(self.features(), self.camera.size)

    def projector_pixels(self, camera_pixels: ArrayLike) -> NDArray[np.float64]:
        """Projector pixels (N, 2) that light what the camera sees at pixels (N, 2).

        NaN where it sees no diffuse surface, or one that the projector does not reach.
        """
        pixels = np.asarray(camera_pixels, dtype=np.float64)
        hits = cast(self.scene, self.camera, pixels, self.projector.position_m)
        spot = self.projector.project(hits.position_m)
        lit = hits.diffuse & hits.free & inside(self.projector, spot)
        return np.where(lit[:, None], spot, np.nan)

    def landings(self, projector_pixels: ArrayLike) -> NDArray[np.float64]:
        """Where the light of projector pixels (N, 2) lands, (N, 3) [m]; NaN where it meets nothing."""
        pixels = np.asarray(projector_pixels, dtype=np.float64)
        return cast(self.scene, self.projector, pixels, self.camera.position_m).position_m


def load_world(
    name: str | Path, *, camera_size: Size = (1920, 1080), projector_size: Size = (1920, 1080)
) -> VirtualHouse:
    """One of the `HOUSES` by name, or a house file of your own.

    Raises
    ------
    InputError
        If there is no such house, or its file says something that is not allowed.
    """
    return VirtualHouse(read_house(name), camera_size=camera_size, projector_size=projector_size)


def _projector(stand: ProjectorStand, size: Size) -> Device:
    return Device.from_throw(
        size,
        throw_ratio=stand.throw_ratio,
        position_m=stand.place_m,
        yaw_rad=np.radians(stand.yaw_deg),
        tilt_rad=np.radians(stand.tilt_deg),
        roll_rad=np.radians(stand.roll_deg),
        lens_shift=stand.lens_shift,
    )


def _camera(stand: CameraStand, size: Size) -> Device:
    return Device.from_throw(
        size,
        throw_ratio=stand.focal_per_width,
        position_m=stand.place_m,
        yaw_rad=np.radians(stand.yaw_deg),
        tilt_rad=np.radians(stand.tilt_deg),
        roll_rad=np.radians(stand.roll_deg),
        distortion=stand.distortion,
    )
