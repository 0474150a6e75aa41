"""A camera's view of a virtual house, kept so that pictures under new projected light are cheap."""

from __future__ import annotations

from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.geometry.device import Device
from limewash.geometry.rays import pack_device
from limewash.progress import Progress, silent
from limewash.world.backdrop import backdrop
from limewash.world.cast import cast_rows, gather_rows, openness
from limewash.world.develop import develop
from limewash.world.lighting import Lighting, daylight, dusk
from limewash.world.model import House
from limewash.world.rows import in_rows
from limewash.world.scene import Scene
from limewash.world.truth import Hits, cast

Array = NDArray[np.float64]
Picture = NDArray[np.float32]


class View:
    """What the camera sees of the house, ready for any projected picture.

    Attributes
    ----------
    camera, projector : Device
    spot : ndarray of float32, shape (h, w, samples², 2)
        Projector pixel that lights each sub-pixel; negative where none does. [px]
    gain : ndarray of float32, shape (h, w, samples², 3)
        What the sub-pixel adds to its pixel under full white. [cd/m2]
    ambient : ndarray of float32, shape (h, w, 3)
        The picture with the projector off. [cd/m2]
    albedo : ndarray of float32, shape (h, w, 3)
        Diffuse reflectance R, G, B; 0 on glass and sky.
    """

    def __init__(
        self,
        house: House,
        scene: Scene,
        camera: Device,
        projector: Device,
        light: Lighting,
        *,
        samples: int = 2,
        progress: Progress = silent,
    ) -> None:
        if samples < 1:
            raise InputError(f"samples must be at least 1, got {samples}")
        self.camera = camera
        self.projector = projector
        width, height = camera.size
        self.spot = np.empty((height, width, samples**2, 2), dtype=np.float32)
        self.gain = np.zeros((height, width, samples**2, 3), dtype=np.float32)
        self.ambient = np.empty((height, width, 3), dtype=np.float32)
        self.albedo = np.empty((height, width, 3), dtype=np.float32)
        self._house, self._scene, self._samples = house, scene, samples
        cells, step = ambient_cells(scene, camera)
        arrays = (self.spot, self.gain, self.ambient, self.albedo)
        cast_all(scene, camera, projector, house.projector.lumens, light, cells, step, samples, arrays, progress)

    @cached_property
    def hits(self) -> Hits:
        """Position, normal and visibility from the projector of what the middles of all pixels meet, row by row."""
        width, height = self.camera.size
        grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).reshape(-1, 2)
        return cast(self._scene, self.camera, grid.astype(np.float64), self.projector.position_m)

    def picture(
        self, projected: NDArray[np.uint8] | NDArray[np.floating], *, defocus_px: float = 0.0, bounce: float = 0.0
    ) -> Picture:
        """The scene under a projected picture, in linear light.

        Parameters
        ----------
        projected : ndarray of shape (H, W) or (H, W, 3)
            Light of each projector pixel: uint8 codes are taken as linear, 255 = full; floats in [0, 1].
        defocus_px : float
            Standard deviation of the lens's blur. [projector px]
        bounce : float
            Share of the light on the house that reaches its surfaces a second time. It is spread widely
            over the picture, not traced. [-]

        Returns
        -------
        picture : ndarray of float32, shape (h, w, 3)
            Linear R, G, B whose BT.709 luma is luminance, projector and ambient together. [cd/m2]
        """
        if not 0.0 <= bounce < 1.0:
            raise InputError(f"bounce must be in [0, 1), got {bounce!r}; did you pass a percentage?")
        light = self._panel(projected, defocus_px)
        out = self.ambient.copy()
        in_rows(lambda a, b: gather_rows(light, self.spot, self.gain, a, b, out), len(out), 64)
        if bounce > 0.0:
            out += np.float32(bounce) * self.albedo * _spread(out - self.ambient)
        return out

    def daylight(self, progress: Progress = silent) -> NDArray[np.uint8]:
        """The house on a clear day, sRGB codes of shape (h, w, 3)."""
        return develop(self._under(daylight(self._house), progress), exposure=1.0 / 17_500.0, glare=0.02)

    def dusk(self, progress: Progress = silent) -> NDArray[np.uint8]:
        """The house after sunset with its lamps lit, sRGB codes of shape (h, w, 3)."""
        return develop(self._under(dusk(self._house), progress), exposure=1.0 / 6.5, glare=0.08)

    @cached_property
    def _fine_cells(self) -> tuple[Picture, int]:
        """Openness for pictures that people look at; the same under every light."""
        return ambient_cells(self._scene, self.camera, across=480, rays=24)

    def _under(self, light: Lighting, progress: Progress) -> Picture:
        """The scene under another light, the projector off. [cd/m2]"""
        cells, step = self._fine_cells
        none = np.zeros((1, 1, 1, 3), dtype=np.float32)
        arrays = (none, none, np.empty_like(self.ambient), np.empty_like(self.albedo))
        cast_all(self._scene, self.camera, self.projector, 0.0, light, cells, step, self._samples, arrays, progress)
        return arrays[2]

    def _panel(self, projected: NDArray[np.uint8] | NDArray[np.floating], defocus_px: float) -> Picture:
        width, height = self.projector.size
        if projected.shape[:2] != (height, width) or projected.shape[2:] not in ((), (3,)):
            raise InputError(
                f"projected must have shape ({height}, {width}) or ({height}, {width}, 3), got {projected.shape}"
            )
        light = projected.astype(np.float32)
        if projected.dtype == np.uint8:
            light /= np.float32(255.0)
        if defocus_px > 0.0:
            light = cv2.GaussianBlur(light, (0, 0), defocus_px).astype(np.float32)
        black = np.float32(1.0 / self._house.projector.contrast)
        light = black + (np.float32(1.0) - black) * light
        return np.ascontiguousarray(light.reshape(height, width, -1))


def _spread(light: Picture) -> Picture:
    """Light blurred over an eighth of the picture's width, computed small."""
    height, width = light.shape[:2]
    small = cv2.resize(light, (max(width // 8, 1), max(height // 8, 1)), interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), max(width / 64, 1.0), borderType=cv2.BORDER_CONSTANT)
    return np.asarray(cv2.resize(soft, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def cast_all(
    scene: Scene,
    camera: Device,
    projector: Device,
    lumens: float,
    light: Lighting,
    cells: Picture,
    step: int,
    samples: int,
    arrays: tuple[Picture, Picture, Picture, Picture],
    progress: Progress,
) -> None:
    """Run the caster over all rows, into arrays `spot`, `gain`, `ambient`, `albedo` (see `cast_rows`)."""
    spot, gain, ambient, albedo = arrays
    bare = np.empty(ambient.shape[:2], dtype=np.float32)
    eye, lens = pack_device(camera), pack_device(projector)
    in_rows(
        lambda a, b: cast_rows(
            scene, eye, lens, lumens, light, cells, step, samples, a, b, spot, gain, ambient, albedo, bare
        ),
        len(ambient),
        progress=progress,
        doing="Casting rays",
    )
    rows, columns = np.nonzero(bare > 0.0)
    directions = camera.rays(np.stack([columns, rows], axis=-1))
    ambient[rows, columns] += bare[rows, columns, None] * backdrop(light, directions)


def ambient_cells(scene: Scene, camera: Device, *, across: int = 320, rays: int = 8) -> tuple[Picture, int]:
    """How open the surfaces are to the sky and the ground, on a coarse grid of camera pixels.

    Returns
    -------
    cells : ndarray of float32, shape (rows, columns, 8)
        Sky and ground openness, position [m], normal; NaN where nothing is hit.
    step : int
        Camera pixels from one cell to the next; cell (0, 0) is pixel (0, 0).
    """
    width, height = camera.size
    step = max(1, round(width / across))
    columns, rows = -(-width // step) + 1, -(-height // step) + 1
    x, y = np.meshgrid(np.arange(columns) * step, np.arange(rows) * step)
    pixels = np.stack([x, y], axis=-1).reshape(-1, 2).astype(np.float64)
    hits = cast(scene, camera, pixels, camera.position_m)
    opened = np.empty((rows * columns, 2))
    in_rows(
        lambda a, b: openness(scene, hits.position_m[a:b], hits.normal[a:b], rays, opened[a:b]),
        len(opened),
        2048,
    )
    cells = np.concatenate([opened, hits.position_m, hits.normal], axis=1).reshape(rows, columns, 8)
    return _smoothed(cells).astype(np.float32), step


def _smoothed(cells: Array) -> Array:
    """Average the openness over 5 x 5 cells that lie on the same surface, against the noise of few rays."""
    position, normal = cells[..., 2:5], cells[..., 5:8]
    padded = np.pad(cells, ((2, 2), (2, 2), (0, 0)), mode="edge")
    total = np.zeros(cells.shape[:2])
    value = np.zeros((*cells.shape[:2], 2))
    rows, columns = cells.shape[:2]
    for i in range(5):
        for j in range(5):
            other = padded[i : i + rows, j : j + columns]
            off = np.einsum("ijk,ijk->ij", normal, other[..., 2:5] - position)
            same = np.maximum(np.einsum("ijk,ijk->ij", normal, other[..., 5:8]), 0.0) ** 4
            weight = np.nan_to_num(same * np.exp(-400.0 * off * off))
            total += weight
            value += weight[..., None] * other[..., :2]
    out = cells.copy()
    out[..., :2] = value / np.maximum(total, 1e-9)[..., None]
    return out
