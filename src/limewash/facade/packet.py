"""The packet for an outside artist: all that is needed to draw a film for this house, in one zip."""

from __future__ import annotations

import json
import math
import tempfile
import zipfile
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.map import HouseMap
from limewash.facade.map_files import export_map
from limewash.facade.tracing import Kind
from limewash.files import replacing
from limewash.progress import Progress, silent

FORMAT = 1

_TINTS: dict[Kind, tuple[int, int, int]] = {
    Kind.WINDOW: (110, 90, 24),
    Kind.DOOR: (110, 52, 32),
    Kind.GARAGE: (96, 56, 72),
    Kind.WALL: (44, 62, 34),
    Kind.KEEP_DARK: (90, 0, 0),
}
_PLAIN_TINT = (56, 56, 64)
_UNKNOWN_MM = 65535


@dataclass(frozen=True, eq=False)
class PacketContents:
    """What goes in.

    Attributes
    ----------
    house : str
        What people call the house.
    house_map : HouseMap
    rate : Fraction
        Frames per second that the player wants. [1/s]
    photo : Path
        The photo that was traced on.
    daylight : Path or None
        The same view by day, if there is one.
    wall_m : ndarray of float32 and shape (H, W, 2), or None
        Where on the wall each projector pixel lands, NaN where unknown. [m]
    measured : bool
        Whether those metres were measured on the house, or follow from an assumed width.
    """

    house: str
    house_map: HouseMap
    rate: Fraction
    photo: Path
    daylight: Path | None = None
    wall_m: NDArray[np.float32] | None = None
    measured: bool = False


def write_packet(path: Path, contents: PacketContents, progress: Progress = silent) -> None:
    """Write the zip, whole or not at all.

    Raises
    ------
    InputError
        If the map has nothing in it, or the file cannot be written.
    """
    if not contents.house_map.lines:
        raise InputError("the map has no path yet: trace the house and make the map first")
    with replacing(path) as part, zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as packet:
        progress(0.0, "map and masks")
        _add_map(packet, contents.house_map)
        progress(0.5, "template")
        _add_picture(packet, "template.png", template_frame(contents.house_map, contents.house, contents.rate))
        progress(0.6, "photos")
        packet.write(contents.photo, f"photo{contents.photo.suffix}")
        if contents.daylight is not None:
            packet.write(contents.daylight, f"daylight{contents.daylight.suffix}")
        progress(0.7, "metres of the wall")
        wall = _add_wall(packet, contents)
        packet.writestr("about.json", json.dumps(_about(contents, wall), indent=2, ensure_ascii=False) + "\n")
        packet.writestr("README.txt", _readme(contents))
        progress(1.0, "packed")


def template_frame(house_map: HouseMap, house: str, rate: Fraction) -> NDArray[np.uint8]:
    """A frame at native size to draw over: areas tinted, outlines white, names, the outermost pixels lit.

    Returns
    -------
    picture : ndarray of uint8 and shape (H, W, 3)
        R'G'B'.
    """
    width, height = house_map.size
    picture = np.zeros((height, width, 3), dtype=np.uint8)
    for line in house_map.lines:
        if line.closed:
            cover = house_map.cover(line.id)[..., None].astype(np.float32) / np.float32(255.0)
            tint = np.asarray(_TINTS.get(line.kind, _PLAIN_TINT), dtype=np.float32)
            picture = np.rint(picture * (1.0 - cover) + tint * cover).astype(np.uint8)
    for line in house_map.lines:
        points = np.rint(line.points * 16.0).astype(np.int32)
        cv2.polylines(picture, [points], line.closed, (255, 255, 255), 1, cv2.LINE_AA, shift=4)
    scale = max(height / 1080.0, 0.4)
    for line in house_map.lines:
        _write(picture, line.title or line.id, _middle(line.points), 0.42 * scale)
    picture[[0, -1], :] = 255
    picture[:, [0, -1]] = 255
    words = f"{house}  {width} x {height} px, {float(rate):g} frames/s. Template: not part of the film."
    _write(picture, words, (width / 2, height - 14.0 * scale), 0.5 * scale)
    return picture


def _write(picture: NDArray[np.uint8], words: str, at: tuple[float, float], scale: float) -> None:
    plain = words.encode("ascii", "replace").decode("ascii")  # the drawing font has no more letters than these
    (wide, high), _ = cv2.getTextSize(plain, cv2.FONT_HERSHEY_SIMPLEX, scale, 1)
    place = (round(at[0] - wide / 2), round(at[1] + high / 2))
    cv2.putText(picture, plain, place, cv2.FONT_HERSHEY_SIMPLEX, scale, (0, 0, 0), 3, cv2.LINE_AA)
    cv2.putText(picture, plain, place, cv2.FONT_HERSHEY_SIMPLEX, scale, (235, 235, 235), 1, cv2.LINE_AA)


def _middle(points: NDArray[np.float64]) -> tuple[float, float]:
    x, y = (points.min(axis=0) + points.max(axis=0)) / 2
    return float(x), float(y)


def _add_map(packet: zipfile.ZipFile, house_map: HouseMap) -> None:
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "map"
        export_map(root, house_map)
        for path in sorted(p for p in root.rglob("*") if p.is_file()):
            packet.write(path, f"map/{path.relative_to(root).as_posix()}")


def _add_picture(packet: zipfile.ZipFile, name: str, picture: NDArray[np.uint8] | NDArray[np.uint16]) -> None:
    shown = picture[..., ::-1] if picture.ndim == 3 else picture
    _, data = cv2.imencode(".png", np.ascontiguousarray(shown))
    packet.writestr(name, data.tobytes())


def _add_wall(packet: zipfile.ZipFile, contents: PacketContents) -> dict[str, object] | None:
    """Two 16-bit pictures of millimetres; says how to read them."""
    if contents.wall_m is None:
        return None
    lowest_m = [math.floor(float(np.nanmin(contents.wall_m[..., axis]))) for axis in (0, 1)]
    for axis, name in enumerate(("wall-x.png", "wall-y.png")):
        mm = np.rint((contents.wall_m[..., axis] - lowest_m[axis]) * 1000.0)
        known = np.isfinite(mm) & (mm >= 0) & (mm < _UNKNOWN_MM)
        _add_picture(packet, name, np.where(known, mm, _UNKNOWN_MM).astype(np.uint16))
    return {
        "files": ["wall-x.png", "wall-y.png"],
        "metres": f"lowest_m + value / 1000; {_UNKNOWN_MM} where unknown",
        "lowest_m": lowest_m,
        "measured": contents.measured,
    }


def _about(contents: PacketContents, wall: dict[str, object] | None) -> dict[str, object]:
    house_map = contents.house_map
    return {
        "format": FORMAT,
        "house": contents.house,
        "size_px": list(house_map.size),
        "rate": [contents.rate.numerator, contents.rate.denominator],
        "wall": wall,
        "paths": [
            {
                "id": line.id,
                "kind": line.kind.value,
                "title": line.title,
                "closed": line.closed,
                "points_px": np.round(line.points, 3).tolist(),
                "points_m": _metres(contents, line.points),
            }
            for line in house_map.lines
        ],
    }


def _metres(contents: PacketContents, points: NDArray[np.float64]) -> list[list[float | None]] | None:
    if contents.wall_m is None:
        return None
    height, width = contents.wall_m.shape[:2]
    at = np.clip(np.rint(points), 0, [width - 1, height - 1]).astype(np.intp)
    found = contents.wall_m[at[:, 1], at[:, 0]]
    return [[round(float(v), 3) if np.isfinite(v) else None for v in row] for row in found]


def _readme(contents: PacketContents) -> str:
    width, height = contents.house_map.size
    dark = [line.title or line.id for line in contents.house_map.of_kind(Kind.KEEP_DARK)]
    daylight = "  daylight                 the same view by day\n" if contents.daylight else ""
    certain = "measured" if contents.measured else "estimated"
    metres = (
        f"  wall-x.png, wall-y.png   where each projector pixel lands on the wall, in millimetres ({certain});\n"
        "                           16 bit, about.json says how to read them\n"
    )
    return f"""{contents.house}: material for a projected film

Deliver
  {width} x {height} pixels, square, not scaled, not cropped, no bars
  {float(contents.rate):g} frames a second, constant
  H.264 in MP4, 8 bit, 4:2:0, BT.709, limited range (black 16, white 235)
  black (code 16) wherever there should be no light: the projector lights the whole picture
  no flashes: nothing large that changes between light and dark more than three times a second

Never light
  {", ".join(dark) if dark else "nothing is marked to be kept dark on this house"}

What is here
  template.png             a frame at native size to draw over
  map/map.png, map.svg     every traced line in projector pixels
  map/areas.png, .json     which area owns each pixel
  map/masks/               a mask for each area, anti-aliased
  photo                    the house by the projector's white light, as the camera saw it
{daylight}{metres if contents.wall_m is not None else ""}\
  about.json               all figures and paths, for programs

In every file the centre of the first pixel is (0, 0), x to the right, y down. Wall metres run right and up.
"""
