"""Light on a wall: illuminance, luminance, contrast, and the published classes of contrast."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limewash.errors import InputError

Array = NDArray[np.float64]

FOOT_CANDLE_LX = 1.0 / 0.3048**2
"""One lumen a square foot. [lx]"""

FOOT_LAMBERT_CD_M2 = 1.0 / (math.pi * 0.3048**2)
"""Luminance of a matt white surface under one foot-candle. [cd m⁻²]"""

CINEMA_WHITE_CD_M2 = 48.0
"""White of a cinema screen, SMPTE ST 431-1 / ISO 26431-1. [cd m⁻²]"""

CONTRAST_CLASSES = (
    ("passive viewing", 7.0),
    ("basic decisions", 15.0),
    ("analytical decisions", 50.0),
    ("full motion video", 80.0),
)
"""Name and lowest contrast of the viewing classes of ANSI/INFOCOMM 3M-2011 (ANSI/AVIXA V201.01); 80 from memory.

The standard measures with a board of 16 black and white fields, not with a whole white and a whole black
picture; light that strays from white to black inside a projector is not in a figure made from the data
sheet's contrast, so that a class is an upper estimate.
"""

BELOW_CLASSES = "below all classes"


def illuminance_lx(intensity_cd: ArrayLike, distance_m: ArrayLike, *, incidence_rad: ArrayLike = 0.0) -> Array:
    """Illuminance by a small source, any shape: inverse square and cosine law. [lx]"""
    e: Array = np.asarray(intensity_cd) * np.cos(incidence_rad) / np.asarray(distance_m, dtype=np.float64) ** 2
    return e


def wall_luminance_cd_m2(illuminance_lx: ArrayLike, *, reflectance: float) -> Array:
    """Luminance of a matt wall, the same from every side: rho E / pi.

    Parameters
    ----------
    illuminance_lx : array_like
        Any shape, NaN stays NaN. [lx]
    reflectance : float
        More than 0, at most 1. [-]

    Raises
    ------
    InputError
        If the reflectance is out of range.
    """
    if not 0.0 < reflectance <= 1.0:
        raise InputError(f"reflectance must be more than 0 and at most 1, got {reflectance!r}; was it a percentage?")
    luminance: Array = np.asarray(illuminance_lx, dtype=np.float64) * reflectance / np.pi
    return luminance


def contrast_ratio(white_lx: ArrayLike, *, ambient_lx: float, native: float) -> Array:
    """White against black on the wall; its reflectance cancels. [-]

    Parameters
    ----------
    white_lx : array_like
        Illuminance of a white picture, ambient left out; any shape. [lx]
    ambient_lx : float
        All other light. [lx]
    native : float
        The projector's own contrast in the dark. [-]
    """
    e = np.asarray(white_lx, dtype=np.float64)
    black = e / native + ambient_lx
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (e + ambient_lx) / black
    defined: Array = np.where(black == 0.0, 1.0, ratio)
    return defined


def white_needed_lx(contrast: float, *, ambient_lx: float, native: float) -> float:
    """Illuminance of white that reaches a contrast; infinite if the projector's own forbids it. [lx]"""
    room = 1.0 - contrast / native
    return ambient_lx * (contrast - 1.0) / room if room > 0.0 else math.inf


def contrast_class(ratio: float) -> str:
    """The highest viewing class that a contrast reaches."""
    reached = [name for name, least in CONTRAST_CLASSES if ratio >= least]
    return reached[-1] if reached else BELOW_CLASSES


def nine_point_flux_lm(readings_lx: ArrayLike, area_m2: float) -> tuple[float, float]:
    """Light output and evenness of a projector, from nine readings over its white picture.

    Parameters
    ----------
    readings_lx : array_like of shape (9,) or (3, 3)
        In the middles of nine equal fields. [lx]
    area_m2 : float
        Of the picture. [m2]

    Returns
    -------
    flux_lm, evenness : float
        Mean reading times area; smallest over largest reading (the idea of ISO 11315-1).
    """
    readings = np.asarray(readings_lx, dtype=np.float64).ravel()
    if len(readings) != 9:
        raise InputError(f"readings_lx must be nine values, got {len(readings)}")
    return float(readings.mean() * area_m2), float(readings.min() / readings.max())
