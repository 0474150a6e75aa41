"""A house front of plain rectangles, drawn straight into projector pixels: the fields' own test ground."""

from __future__ import annotations

import cv2
import numpy as np

from limewash.facade.map import HouseMap, MapPath, Mask
from limewash.facade.tracing import Kind
from limewash.geometry.homography import apply_homography, fit_homography
from limewash.scan.correspondence import Correspondence
from limewash.show.wall import Wall, wall_metres

WALL_M = [(0.6, 0.2), (9.4, 0.2), (9.4, 3.6), (5.0, 6.3), (0.6, 3.6)]


def half_round(x: float, y: float, radius: float) -> list[tuple[float, float]]:
    angles = np.linspace(0.0, np.pi, 40)
    return [(x + radius * float(np.cos(a)), y + radius * float(np.sin(a))) for a in angles]


def box(x: float, y: float, width: float, height: float) -> list[tuple[float, float]]:
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]


PATHS_M: list[tuple[str, Kind, bool, list[tuple[float, float]]]] = [
    ("wall", Kind.WALL, True, WALL_M),
    ("window-1", Kind.WINDOW, True, box(1.3, 1.2, 1.0, 1.4)),
    ("window-2", Kind.WINDOW, True, box(2.9, 1.2, 1.0, 1.4)),
    ("window-3", Kind.WINDOW, True, box(6.3, 1.2, 1.0, 1.4)),
    ("window-4", Kind.WINDOW, True, box(7.8, 1.2, 1.0, 1.4)),
    ("half-round", Kind.WINDOW, True, half_round(5.0, 4.2, 0.7)),
    ("door", Kind.DOOR, True, box(4.5, 0.2, 1.1, 2.2)),
    ("lamp", Kind.KEEP_DARK, True, box(5.75, 1.9, 0.25, 0.35)),
    ("roof", Kind.ROOF_LINE, False, [(0.3, 3.45), (5.0, 6.35), (9.7, 3.45)]),
]


def wall_to_projector(size: tuple[int, int]) -> np.ndarray:
    """A picture that lands about 10 m wide with a little keystone."""
    corners_m = [(-0.2, -0.1), (10.3, 0.1), (10.0, 6.6), (0.0, 6.7)]
    width, height = size[0] - 1, size[1] - 1
    return fit_homography(corners_m, [(0, height), (width, height), (width, 0), (0, 0)])


def invented_map(size: tuple[int, int] = (480, 270)) -> HouseMap:
    to_pixel = wall_to_projector(size)
    lines, masks = [], {}
    areas = np.zeros((size[1], size[0]), np.int32)
    label = 0
    for name, kind, closed, points_m in PATHS_M:
        points = apply_homography(to_pixel, points_m)
        if closed:
            label += 1
            cover = _cover(points, size)
            masks[name] = Mask(0, 0, cover)
            areas[cover > 127] = label
        lines.append(MapPath(name, kind, name, closed, points, label if closed else 0))
    return HouseMap(size, tuple(lines), areas, masks)


def _cover(points: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    fine = np.zeros((size[1] * 8, size[0] * 8), np.uint8)
    corners = np.rint(((points + 0.5) * 8 - 0.5) * 256).astype(np.int32)
    cv2.fillPoly(fine, [corners], 255, shift=8)
    return cv2.resize(fine, size, interpolation=cv2.INTER_AREA)


CAMERA_SIZE = (640, 360)


def camera_to_wall() -> np.ndarray:
    return fit_homography([(0, 359), (639, 359), (639, 0), (0, 0)], [(-1, -0.5), (11, -0.5), (11, 7), (-1, 7)])


def invented_correspondence(size: tuple[int, int] = (480, 270), *, glass: bool = True) -> Correspondence:
    """Exact, with holes where the windows are if `glass`."""
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    wall = apply_homography(np.linalg.inv(wall_to_projector(size)), np.stack([x, y], axis=-1))
    camera = apply_homography(np.linalg.inv(camera_to_wall()), wall).astype(np.float32)
    confidence = np.ones((size[1], size[0]), np.float32)
    if glass:
        house = invented_map(size)
        for item in house.of_kind(Kind.WINDOW):
            hole = house.cover(item.id) > 0
            camera[hole] = np.nan
            confidence[hole] = 0.0
    return Correspondence(
        np.ascontiguousarray(camera[..., 0]), np.ascontiguousarray(camera[..., 1]), confidence, CAMERA_SIZE, size
    )


def invented_wall(size: tuple[int, int] = (480, 270)) -> Wall:
    return wall_metres(invented_correspondence(size), camera_to_wall())
