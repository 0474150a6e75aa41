"""Light that is neither the projector's nor the night's: a lamp that was left on, cars that drive by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.world.view import Picture, View

_WARM, _COOL = np.array([1.25, 0.95, 0.55]), np.array([0.95, 1.0, 1.1])  # R, G, B of luma about 1


@dataclass(frozen=True)
class StreetLight:
    """What it adds to a view, moment by moment.

    Attributes
    ----------
    view : View
    lamp_cd_m2 : float
        Luminance of a lamp in the picture; 0 for none. It is a disc of a hundredth of the picture's width. [cd/m2]
    lamp_at : (float, float)
        Where it is, as shares of the picture's width and height. [-]
    lamp_lx : float
        What it gives on surfaces a tenth of the picture's width away; falls with the square of that. [lx]
    cars_s : tuple of float
        When the headlights of a car come by. [s]
    car_lx : float
        What they give at the brightest spot. [lx]
    pass_s : float
        How long the light takes from one edge of the picture to the other. [s]
    """

    view: View
    lamp_cd_m2: float = 0.0
    lamp_at: tuple[float, float] = (0.42, 0.55)
    lamp_lx: float = 6.0
    cars_s: tuple[float, ...] = ()
    car_lx: float = 8.0
    pass_s: float = 2.5

    @property
    def steady(self) -> Picture:
        """The lamp's part of the picture, float32 (h, w, 3). [cd/m2]"""
        if self.lamp_cd_m2 <= 0.0:
            return np.zeros_like(self.view.ambient)
        x, y, width, height = self._grid()
        away = np.hypot(x - self.lamp_at[0], (y - self.lamp_at[1]) * height / width)
        lux = self.lamp_lx / np.maximum((away / 0.1) ** 2, 0.3)
        wall = self.view.albedo * (lux / np.pi)[..., None] * _WARM
        return np.asarray(wall + self.lamp_cd_m2 * (away < 0.005)[..., None] * _WARM, dtype=np.float32)

    def moving(self, t_s: float) -> Picture | None:
        """The headlights' part of the picture at a moment, or None where there are none. [cd/m2]"""
        through = [(t_s - start_s) / self.pass_s for start_s in self.cars_s]
        near = [share for share in through if 0.0 <= share < 1.0]
        if not near:
            return None
        x, y, _, _ = self._grid()
        beam = np.exp(-0.5 * ((x + 0.2 - 1.4 * near[0]) / 0.12) ** 2 - 0.5 * ((y - 0.7) / 0.25) ** 2)
        lit = self.view.albedo * (self.car_lx / np.pi * beam)[..., None] * _COOL
        return np.asarray(lit, dtype=np.float32)

    def _grid(self) -> tuple[NDArray[np.float64], NDArray[np.float64], int, int]:
        height, width = self.view.ambient.shape[:2]
        x, y = np.meshgrid(np.arange(width) / width, np.arange(height) / height)
        return x, y, width, height
