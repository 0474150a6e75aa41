"""Where SVG puts things: lengths with units, transform lists, view boxes. Matrices are 3x3, acting on (x, y, 1)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError, did_you_mean

Matrix = NDArray[np.float64]

_PX_PER_UNIT = {"": 1.0, "px": 1.0, "in": 96.0, "cm": 96.0 / 2.54, "mm": 9.6 / 2.54, "q": 2.4 / 2.54}
_PX_PER_UNIT |= {"pt": 96.0 / 72.0, "pc": 16.0, "em": 16.0, "ex": 8.0}
"""CSS's fixed ratios; em and ex as for a 16 px font, since no text is set here."""

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*([a-zA-Z]*|%)\s*")
_NUMBERS = re.compile(rf"{_NUMBER}")
_TRANSFORM = re.compile(r"[\s,]*([a-zA-Z]+)\s*\(([^()]*)\)[\s,]*")


def parse_length(text: str, *, whole_px: float) -> float:
    """A length in px; per cent are of `whole_px`. Raises InputError for anything else."""
    found = _LENGTH.fullmatch(text)
    if found is None:
        raise InputError(f"{text!r} is not a length; write a number with px, mm, cm, in, pt, pc or %")
    value, unit = float(found.group(1)), found.group(2).lower()
    if not math.isfinite(value):
        raise InputError(f"{text!r} is too large for a length")
    if unit == "%":
        return value / 100.0 * whole_px
    if unit not in _PX_PER_UNIT:
        raise InputError(f"unknown unit in {text!r}{did_you_mean(unit, [u for u in _PX_PER_UNIT if u])}")
    return value * _PX_PER_UNIT[unit]


def parse_numbers(text: str) -> list[float]:
    """Numbers separated by spaces or commas. Raises InputError if anything else is between them."""
    if _NUMBERS.sub("", text).strip(" ,\t\r\n"):
        raise InputError(f"{text!r} must be numbers separated by spaces or commas")
    values = [float(word) for word in _NUMBERS.findall(text)]
    if not all(math.isfinite(value) for value in values):
        raise InputError(f"{text!r} has a number that is too large")
    return values


def translation(x: float, y: float) -> Matrix:
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def parse_transform(text: str) -> Matrix:
    """The matrix of a `transform` attribute: the first in the list acts last.

    Raises
    ------
    InputError
        For an unknown function, or a wrong count of numbers in one.
    """
    matrix, at = np.eye(3), 0
    while at < len(text):
        found = _TRANSFORM.match(text, at)
        if found is None:
            if text[at:].strip(" ,\t\r\n") in ("", "none"):
                break
            raise InputError(f"transform {text!r} cannot be read from character {at + 1} on")
        matrix = matrix @ _function(found.group(1), parse_numbers(found.group(2)), text)
        at = found.end()
    return matrix


def _function(name: str, v: list[float], text: str) -> Matrix:
    counts = {"matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3), "skewX": (1,), "skewY": (1,)}
    if name not in counts:
        raise InputError(f"transform {text!r}: unknown function {name!r}{did_you_mean(name, counts)}")
    if len(v) not in counts[name]:
        wanted = " or ".join(map(str, counts[name]))
        raise InputError(f"transform {text!r}: {name} takes {wanted} numbers, got {len(v)}")
    if name == "matrix":
        return np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]], [0.0, 0.0, 1.0]])
    if name == "translate":
        return translation(v[0], v[1] if len(v) == 2 else 0.0)
    if name == "scale":
        return np.diag([v[0], v[-1], 1.0])
    if name == "rotate":
        return _rotation(*v)
    lean = math.tan(math.radians(v[0]))
    return np.array(
        [[1.0, lean if name == "skewX" else 0.0, 0.0], [lean if name == "skewY" else 0.0, 1.0, 0.0], [0, 0, 1]]
    )


def _rotation(angle_deg: float, x: float = 0.0, y: float = 0.0) -> Matrix:
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y], [0.0, 0.0, 1.0]])


@dataclass(frozen=True)
class Rectangle:
    """Upright rectangle. [user units]"""

    x: float
    y: float
    width: float
    height: float


def parse_view_box(text: str) -> Rectangle:
    """A `viewBox` attribute. Raises InputError if it is not four numbers with a positive size."""
    values = parse_numbers(text)
    if len(values) != 4 or values[2] <= 0.0 or values[3] <= 0.0:
        raise InputError(f"viewBox {text!r} must be four numbers, the last two (width and height) > 0")
    return Rectangle(*values)


_ALIGN = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}


def fit(view: Rectangle, into: Rectangle, preserve: str) -> Matrix:
    """The matrix that lays `view` into the rectangle `into` by a `preserveAspectRatio` attribute.

    References
    ----------
    .. [1] W3C, Scalable Vector Graphics (SVG) 2, section 8.6 "The preserveAspectRatio attribute" (cited from memory).
    """
    words = [word for word in preserve.split() if word != "defer"] or ["xMidYMid"]
    sx, sy = into.width / view.width, into.height / view.height
    align = re.fullmatch(r"x(Min|Mid|Max)Y(Min|Mid|Max)", words[0])
    if align is None and words[0] != "none":
        raise InputError(f"preserveAspectRatio {preserve!r} is not one of SVG's values")
    if align is not None:
        sx = sy = max(sx, sy) if words[1:] == ["slice"] else min(sx, sy)
    ax, ay = (_ALIGN[word] for word in align.groups()) if align else (0.0, 0.0)
    x = into.x + ax * (into.width - sx * view.width) - sx * view.x
    y = into.y + ay * (into.height - sy * view.height) - sy * view.y
    return np.array([[sx, 0.0, x], [0.0, sy, y], [0.0, 0.0, 1.0]])
