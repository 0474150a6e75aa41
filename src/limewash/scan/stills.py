"""Reading stills of a plain Gray-code sequence, as general structured-light tools project it.

The order is that of OpenCV's structured_light module: the columns' bits from the highest to the lowest, each
followed by its inverse, then the rows' bits likewise, then full black and full white in either order.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.jit import kernel
from limewash.light.colour import LUMA_BT709
from limewash.media.images import read_image
from limewash.progress import Progress, silent
from limewash.scan.decode import Decoded
from limewash.scan.findings import Findings
from limewash.scan.grid import to_projector_grid
from limewash.scan.judge import coverage_finding, orientation_findings, precision_finding
from limewash.scan.read import ScanResult
from limewash.scan.surface import find_surfaces
from limewash.scan.threads import in_bands

Codes = NDArray[np.uint8]

_SUFFIXES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp")
_STANDS_OUT = 5.0  # times its own noise, by which a lit pixel must brighten from black to white
_ROUNDING = 0.29  # standard deviation of a code that is rounded to whole ones
_QUANTUM = 0.29  # standard deviation of a value that is rounded to whole pixels


def gray_code_length(projector_size: tuple[int, int]) -> tuple[int, int]:
    """Bits of the columns' and of the rows' code for a projector size [px]."""
    return math.ceil(math.log2(projector_size[0])), math.ceil(math.log2(projector_size[1]))


def read_gray_stills(folder: Path, projector_size: tuple[int, int], progress: Progress = silent) -> ScanResult:
    """Read a folder of stills of the plain Gray-code sequence, in the order of their names.

    Parameters
    ----------
    folder : Path
        Holds the stills (PNG, JPEG, TIFF) and no other pictures.
    projector_size : (int, int)
        Size of the pattern. [px]
    progress : Progress
        Told how far the reading is.

    Raises
    ------
    InputError
        If the folder is missing, the number of stills does not fit the size, their sizes differ, or nothing
        can be decoded.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise InputError(f"{folder} is not a folder; give the folder that holds the stills")
    paths = sorted(
        (p for p in folder.iterdir() if p.suffix.lower() in _SUFFIXES and not p.name.startswith(".")), key=_by_number
    )
    bits_x, bits_y = gray_code_length(projector_size)
    needed = 2 * (bits_x + bits_y) + 2
    if len(paths) != needed:
        raise InputError(
            f"{folder} holds {len(paths)} pictures, but a Gray code for {projector_size[0]}x{projector_size[1]} "
            f"has {needed}: {bits_x} columns' and {bits_y} rows' pictures, each with its inverse, black and white"
        )
    stack, photo = _load(paths, progress)
    decoded = decode_gray(stack, projector_size)
    progress(0.9, "laying out the projector's pixels")
    surfaces = find_surfaces(decoded)
    correspondence = to_projector_grid(decoded, surfaces, projector_size)
    seen_share = float(correspondence.seen.mean())
    if seen_share < 0.005:
        raise InputError(
            f"{folder}: the stills show no Gray code that can be read; check their order (columns, rows, then black "
            "and white), the size, and that the camera stood still"
        )
    findings = Findings.sorted(
        [coverage_finding(seen_share), precision_finding(surfaces), *orientation_findings(surfaces)]
    )
    progress(1.0, "stills read")
    return ScanResult(correspondence, photo, findings)


def decode_gray(stack: Codes, projector_size: tuple[int, int]) -> Decoded:
    """Decode stills of the plain Gray-code sequence.

    Parameters
    ----------
    stack : ndarray of uint8, shape (2 * bits + 2, height, width)
        The stills in order; black and white at the end, in either order.
    projector_size : (int, int)
        Size of the pattern. [px]

    Returns
    -------
    decoded : Decoded
        Whole projector pixels; NaN where a camera pixel does not stand out of its own noise.

    Raises
    ------
    InputError
        If the number of stills does not fit the size.
    """
    bits_x, bits_y = gray_code_length(projector_size)
    if stack.ndim != 3 or len(stack) != 2 * (bits_x + bits_y) + 2:
        raise InputError(f"stack must have shape ({2 * (bits_x + bits_y) + 2}, H, W), got {stack.shape}")
    white = len(stack) - 1 if stack[-1].mean() >= stack[-2].mean() else len(stack) - 2
    black = 2 * len(stack) - 3 - white
    shape = stack.shape[1:]
    seen, noise = np.empty((4, *shape), dtype=np.float32), np.empty(shape, dtype=np.float32)
    in_bands(
        shape[0],
        lambda first, last: gray_rows(
            stack, bits_x, bits_y, black, white, *projector_size, first, last, seen[0], seen[1], seen[3], noise
        ),
    )
    seen[2] = _QUANTUM
    return Decoded(seen, noise)


@kernel
def gray_rows(
    stack: Codes,
    bits_x: int,
    bits_y: int,
    black: int,
    white: int,
    wide: int,
    high: int,
    first: int,
    last: int,
    x: NDArray[np.float32],
    y: NDArray[np.float32],
    amplitude: NDArray[np.float32],
    noise: NDArray[np.float32],
) -> None:
    """Decode rows of the stills, plane by plane, so that the loops run many pixels at a time: in 16 bits or fewer.

    A picture and its inverse add up to black and white, whatever the response: what is left over is noise, four
    times the variance of one picture. Its standard deviation comes of the mean size, sqrt(pi/2) times that.
    """
    width = stack.shape[2]
    number = np.empty(width, np.uint16)
    bit = np.empty(width, np.uint8)
    rest = np.empty(width, np.uint16)
    ground = np.empty(width, np.int16)
    share = np.float32(0.5 * np.sqrt(0.5 * np.pi) / (bits_x + bits_y))
    for row in range(first, last):
        bright, dark = stack[white, row], stack[black, row]
        for col in range(width):
            ground[col] = np.int16(np.int16(bright[col]) + np.int16(dark[col]))
            rest[col] = np.uint16(0)
        for axis in range(2):
            start, bits, length = (0, bits_x, wide) if axis == 0 else (bits_x, bits_y, high)
            out = x[row] if axis == 0 else y[row]
            for col in range(width):
                number[col] = np.uint16(0)
                bit[col] = np.uint8(0)
            for k in range(start, start + bits):
                p, q = stack[2 * k, row], stack[2 * k + 1, row]
                for col in range(width):
                    bit[col] = np.uint8(bit[col] ^ np.uint8(p[col] > q[col]))
                    number[col] = np.uint16(np.uint16(number[col] << np.uint16(1)) | np.uint16(bit[col]))
                    off = np.int16(np.int16(np.int16(p[col]) + np.int16(q[col])) - ground[col])
                    rest[col] = np.uint16(rest[col] + np.uint16(max(off, np.int16(-off))))
            for col in range(width):
                out[col] = np.float32(number[col]) if number[col] < length else np.float32(np.nan)
        for col in range(width):
            sd = max(np.float32(rest[col]) * share, np.float32(_ROUNDING))
            gain = np.float32(bright[col]) - np.float32(dark[col])
            amplitude[row, col] = np.float32(0.5) * gain
            noise[row, col] = sd
            if not gain > np.float32(_STANDS_OUT) * sd:
                x[row, col] = np.float32(np.nan)
                y[row, col] = np.float32(np.nan)


def _by_number(path: Path) -> list[tuple[int, str]]:
    """Order `pattern2` before `pattern10`."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(int(part), "") if part.isdigit() else (-1, part) for part in parts]


def _load(paths: list[Path], progress: Progress) -> tuple[Codes, Codes]:
    """All stills as luma, and the white one in colour."""
    pictures: list[Codes] = []
    ends: list[Codes] = []
    for n, path in enumerate(paths):
        rgb = read_image(path)
        if pictures and rgb.shape[:2] != pictures[0].shape:
            raise InputError(
                f"{path.name} is {rgb.shape[1]} x {rgb.shape[0]}, the stills before it {pictures[0].shape[1]} x "
                f"{pictures[0].shape[0]}; all must come from one camera standing still"
            )
        pictures.append(np.rint(rgb @ np.array(LUMA_BT709, dtype=np.float32)).astype(np.uint8))
        if n >= len(paths) - 2:
            ends.append(rgb)
        progress(0.8 * (n + 1) / len(paths), "reading the stills")
    return np.stack(pictures), max(ends, key=lambda picture: float(picture.mean()))
