"""Published classes of contrast, and how bright a wall is against a cinema screen."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

CONTRAST_CLASSES = (
    ("passive viewing", 7.0),
    ("basic decisions", 15.0),
    ("analytical decisions", 50.0),
    ("full motion video", 80.0),
)
"""Name and lowest contrast of the viewing classes of ANSI/INFOCOMM 3M-2011 (ANSI/AVIXA V201.01); 80 from memory.

The standard measures with a 16-zone black and white board, not with a whole white and a whole black picture;
light that strays from white to black inside the projector is not in our figures, so that a class is an upper
estimate.
"""

BELOW = "below all classes"

CINEMA_WHITE_CD_M2 = 48.0
"""SMPTE ST 431-1 / ISO 26431-1. [cd m⁻²]"""


def contrast_class(ratio: float) -> str:
    """The highest class that a contrast reaches."""
    reached = [name for name, least in CONTRAST_CLASSES if ratio >= least]
    return reached[-1] if reached else BELOW


def class_index(ratio: ArrayLike) -> NDArray[np.int64]:
    """0 below all classes, 1 to 4 for the classes in order; any shape."""
    return np.searchsorted([least for _, least in CONTRAST_CLASSES], np.asarray(ratio), side="right").astype(np.int64)
