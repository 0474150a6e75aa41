"""A film that comes back from outside: does it fit the projector pixel by pixel, and is its black black?"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.media.opening import opened
from limewash.media.reading import ClipInfo, ClipReader
from limewash.progress import Progress, silent
from limewash.scan.findings import Finding, Findings

LOOK_EVERY_S = 0.5
"""How often a frame's levels are looked at."""
_THIN = 4
_RATE_TOLERANCE = 1e-3
_LOWEST, _HIGHEST = 5, 246
_BEYOND_SHARE = 0.01
"""Codes and share of the picture that EBU R 103 allows beyond black and white (cited from memory).

Encoders overshoot at sharp edges."""
_BLACK_HAZE = 4
_DARK_HAZE = 6


@dataclass
class _Levels:
    """What was seen of luma, over all frames that were looked at."""

    frames: int = 0
    beyond: float = 0.0
    darkest: float = math.inf
    kept_dark: float = 0.0
    times_s: list[float] = field(default_factory=list)


def check_returned(
    path: Path,
    size: tuple[int, int],
    rate: Fraction,
    *,
    keep_dark: NDArray[np.bool_] | None = None,
    progress: Progress = silent,
) -> Findings:
    """Look a film through.

    Parameters
    ----------
    path : Path
    size : (int, int)
        The projector's native width and height. [px]
    rate : Fraction
        Frames per second that were asked for. [1/s]
    keep_dark : ndarray of bool and shape (H, W), optional
        Where no light may go.
    progress : Progress

    Returns
    -------
    findings : Findings
        A "warning" is a reason not to play it as it is.

    Raises
    ------
    InputError
        If it is missing, no film, or cut short.
    """
    aspect, has_sound = _container_facts(path)
    with ClipReader(path) as reader:
        info = reader.info
        levels = _look_through(reader, keep_dark if info.size == size else None, progress)
    if levels.frames == 0:
        raise InputError(f"{path} holds no picture; ask for the film again")
    found = [
        _size(info, size),
        _aspect(aspect),
        _rate(info, rate, levels),
        _levels(info, levels),
        _black(info, levels),
        *([_dark(levels)] if keep_dark is not None and info.size == size else []),
        _format(info),
        Finding("sound", "good" if has_sound else "note", "It has sound." if has_sound else "It has no sound."),
    ]
    return Findings.sorted(found)


def _container_facts(path: Path) -> tuple[Fraction, bool]:
    with opened(path) as container:
        if not container.streams.video:
            raise InputError(f"{path} holds no film")
        aspect = container.streams.video[0].sample_aspect_ratio
        return aspect or Fraction(1), bool(container.streams.audio)


def _look_through(reader: ClipReader, keep_dark: NDArray[np.bool_] | None, progress: Progress) -> _Levels:
    levels = _Levels()
    info = reader.info
    length_s = info.duration_s if math.isfinite(info.duration_s) else 0.0
    next_s = 0.0
    dark = None if keep_dark is None else keep_dark[::_THIN, ::_THIN]
    for t_s, luma in reader.luma():
        levels.times_s.append(t_s)
        if t_s < next_s:
            continue
        next_s = t_s + LOOK_EVERY_S
        progress(min(t_s / length_s, 1.0) if length_s else 0.0, "looking the film through")
        thin = luma[::_THIN, ::_THIN]
        levels.frames += 1
        levels.beyond = max(levels.beyond, float(((thin < _LOWEST) | (thin > _HIGHEST)).mean()))
        levels.darkest = min(levels.darkest, float(np.percentile(thin, 5)))
        if dark is not None and dark.any():
            levels.kept_dark = max(levels.kept_dark, float(np.percentile(thin[dark], 90)) - info.luma_black)
    return levels


def _size(info: ClipInfo, size: tuple[int, int]) -> Finding:
    numbers = {"width_px": float(info.size[0]), "height_px": float(info.size[1])}
    words = f"{info.size[0]} x {info.size[1]} pixels"
    if info.size == size:
        return Finding("size", "good", f"{words}, the projector's own.", numbers=numbers)
    return Finding(
        "size",
        "warning",
        f"{words}; the projector has {size[0]} x {size[1]}. Scaled, every edge misses.",
        f"Ask for it again at {size[0]} x {size[1]}, not scaled up or down.",
        numbers,
    )


def _aspect(aspect: Fraction) -> Finding:
    if aspect == 1:
        return Finding("aspect", "good", "Its pixels are square.")
    return Finding(
        "aspect",
        "warning",
        f"Its pixels are not square ({aspect.numerator}:{aspect.denominator}).",
        "Ask for it with square pixels (1:1).",
        {"pixel_aspect": float(aspect)},
    )


def _rate(info: ClipInfo, rate: Fraction, levels: _Levels) -> Finding:
    steps = np.diff(levels.times_s)
    numbers = {"rate_hz": float(info.rate)}
    if len(steps) and float(np.abs(steps - 1.0 / float(info.rate)).max()) > 0.2 / float(info.rate):
        return Finding(
            "rate",
            "warning",
            f"Its frames do not come evenly (about {float(info.rate):.3g} a second).",
            "Ask for a constant frame rate.",
            numbers,
        )
    if abs(float(info.rate / rate) - 1.0) > _RATE_TOLERANCE:
        return Finding(
            "rate",
            "warning",
            f"{float(info.rate):g} frames a second; {float(rate):g} were asked for: "
            "the player would leave frames out or show them twice.",
            f"Ask for it at {float(rate):g} frames a second.",
            numbers,
        )
    return Finding("rate", "good", f"{float(info.rate):g} frames a second, evenly.", numbers=numbers)


def _levels(info: ClipInfo, levels: _Levels) -> Finding:
    numbers = {"beyond_share": levels.beyond}
    if info.full_range:
        return Finding(
            "levels",
            "warning",
            "It uses the full range of codes (0 to 255); many players take it "
            "for limited range and lose what is near black and white.",
            "Ask for limited range (black 16, white 235).",
            numbers,
        )
    if levels.beyond > _BEYOND_SHARE:
        return Finding(
            "levels",
            "warning",
            f"Up to {levels.beyond:.1%} of a frame is beyond black or white "
            f"(codes below {_LOWEST} or above {_HIGHEST}) and will be cut off.",
            "Ask for levels from 16 to 235.",
            numbers,
        )
    return Finding("levels", "good", "Its levels are between black and white.", numbers=numbers)


def _black(info: ClipInfo, levels: _Levels) -> Finding:
    above = levels.darkest - info.luma_black
    numbers = {"darkest_above_black_codes": above}
    if above > _BLACK_HAZE:
        return Finding(
            "black",
            "note",
            f"It is nowhere quite black ({above:.0f} codes above): the whole picture's rectangle will "
            "glow on the house.",
            "Ask for code 16 wherever there should be no light.",
            numbers,
        )
    return Finding("black", "good", "Its black is black.", numbers=numbers)


def _dark(levels: _Levels) -> Finding:
    numbers = {"kept_dark_codes": levels.kept_dark}
    if levels.kept_dark > _DARK_HAZE:
        return Finding(
            "keep-dark",
            "warning",
            f"It lights what is to be kept dark ({levels.kept_dark:.0f} codes above black).",
            "Ask for black in the keep-dark masks; Limewash does not darken a finished film.",
            numbers,
        )
    return Finding("keep-dark", "good", "What is to be kept dark stays dark.", numbers=numbers)


def _format(info: ClipInfo) -> Finding:
    words = f"{info.codec}, {info.pixel_format}, {info.bit_depth} bit."
    if info.codec == "h264" and info.bit_depth == 8 and "420" in info.pixel_format:
        return Finding("format", "good", words)
    return Finding(
        "format", "note", f"{words} Small players may not play that.", "H.264, 8 bit, 4:2:0 plays everywhere."
    )
