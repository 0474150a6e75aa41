"""One flat part of the front, looked at point by point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.geometry.device import Device
from limewash.light.photometry import contrast_ratio, wall_luminance_cd_m2
from limewash.project.projector import Projector
from limewash.project.site_models import Spot
from limewash.site.light_maps import Output, illuminance_lx, incidence_rad, pixel_pitch_m
from limewash.site.optics import ARC_MINUTE_RAD, Focus, best_focus_m, blur_px, focal_length_m, focus_limits
from limewash.site.surface import Surface
from limewash.site.visibility import Seen

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PartMap:
    """Values at the middles of a grid of square cells; NaN where the part ends or gets no light.

    Attributes
    ----------
    left_m, bottom_m, step_m : float
        Outer edge of the first cell in (u, v), and the side of a cell. [m]
    inside : bool ndarray of shape (rows, columns)
        Cells whose middle lies on the part; rows from the bottom up.
    lit : bool ndarray of the same shape
        Cells that get light.
    illuminance_lx, luminance_cd_m2, contrast : ndarray
        With a white picture, ambient included in the last two.
    pitch_m, detail_m : ndarray
        Largest step from pixel to pixel, blur included, and the smallest detail to be read from the audience. [m]
    incidence_rad : ndarray
        Angle of the light to the wall's normal. [rad]
    """

    left_m: float
    bottom_m: float
    step_m: float
    inside: NDArray[np.bool_]
    lit: NDArray[np.bool_]
    illuminance_lx: Array
    luminance_cd_m2: Array
    contrast: Array
    pitch_m: Array
    detail_m: Array
    incidence_rad: Array


def map_part(
    device: Device,
    output: Output,
    surface: Surface,
    seen: Seen,
    *,
    ambient_lx: float,
    people: tuple[Spot, ...],
    blur: Blur | None,
    step_m: float,
) -> PartMap:
    """Reckon the maps of one part on a grid of cells of `step_m`."""
    left, bottom, right, top = surface.outline.bounds
    u = np.arange(left + step_m / 2, right, step_m)
    v = np.arange(bottom + step_m / 2, top, step_m)
    uv = np.stack(np.meshgrid(u, v), axis=-1)
    inside = shapely.contains_xy(surface.shape, uv[..., 0], uv[..., 1])
    lit = inside & shapely.contains_xy(seen.plane, uv[..., 0], uv[..., 1])
    points = surface.world(uv)
    white = np.where(lit, illuminance_lx(device, output, points, surface.normal), np.nan)
    pitch = np.where(lit, pixel_pitch_m(device, surface, uv)[2], np.nan)
    if blur is not None:
        pitch = pitch * np.hypot(1.0, blur.pixels(device.depth_m(points)))
    eyes = np.array([(spot.x_m, spot.eye_m, spot.distance_m) for spot in people])
    nearest = np.linalg.norm(points[..., None, :] - eyes, axis=-1).min(axis=-1)
    return PartMap(
        left_m=float(left),
        bottom_m=float(bottom),
        step_m=step_m,
        inside=inside,
        lit=lit,
        illuminance_lx=white,
        luminance_cd_m2=wall_luminance_cd_m2(white + ambient_lx, reflectance=surface.reflectance),
        contrast=np.where(lit, contrast_ratio(white, ambient_lx=ambient_lx, native=output.contrast), np.nan),
        pitch_m=pitch,
        detail_m=np.maximum(pitch, nearest * ARC_MINUTE_RAD),
        incidence_rad=np.where(lit, incidence_rad(device, surface, points), np.nan),
    )


@dataclass(frozen=True)
class Blur:
    """How a projector blurs what is not at its focus."""

    focus: Focus
    focal_m: float
    f_number: float
    pixel_m: float

    def pixels(self, depth_m: Array) -> Array:
        """Width of the blur circle at depths along the lens axis. [px]"""
        return blur_px(
            depth_m, at_m=self.focus.at_m, focal_m=self.focal_m, f_number=self.f_number, pixel_m=self.pixel_m
        )


def blur_of(projector: Projector, near_m: float, far_m: float) -> Blur | None:
    """Focus between two depths as well as the lens can; None where the data sheet does not tell enough."""
    if projector.f_number is None or projector.panel_width_m is None:
        return None
    focal = focal_length_m(projector.throw_ratio, panel_width_m=projector.panel_width_m)
    pixel = projector.panel_width_m / projector.size[0]
    at = best_focus_m(near_m, far_m)
    if projector.focus_range_m is not None:
        at = min(max(at, projector.focus_range_m[0]), projector.focus_range_m[1])
    focus = focus_limits(at, focal_m=focal, f_number=projector.f_number, blur_m=pixel)
    return Blur(focus, focal, projector.f_number, pixel)
