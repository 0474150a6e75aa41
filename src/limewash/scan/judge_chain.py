"""Findings about player and projector: whether they scale, bend or blur the picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from limewash.scan.findings import Finding
from limewash.scan.focus import Focus
from limewash.scan.scaling import AxisScaling

_KEPT = 0.7  # share of the lines' contrast with which they count as shown pixel for pixel
_FEWEST_LOST_PX = 1.5  # cropping of less cannot be told from the rim
_ALIKE = 0.004  # scales that differ by less count as one
_BLURRED_PX = 1.5  # lines of two pixels begin to run into each other
_UNEVEN_PX = 1.0
_CERTAIN_BANDS = 4.0  # over the picture: so many are none of the wall's own

_ASPECTS = (
    (1.111, "16:10 and 16:9"),
    (1.333, "4:3 and 16:9"),
    (1.2, "4:3 and 16:10"),
)
"""What a picture grows or shrinks by where something takes it for one of another shape."""

_KEEP = (
    "If you leave it, keep it exactly as it is: the map is made in the video's own pixels, so it holds as long as the "
    "show goes through the same settings"
)


def chain_findings(
    axes: tuple[AxisScaling, AxisScaling], size: tuple[int, int], *, exposure_held: bool = True
) -> list[Finding]:
    """What the lines of the checks say about scaling and keystone correction; nothing if there were none.

    Parameters
    ----------
    axes : (AxisScaling, AxisScaling)
        Along x and along y.
    size : (int, int)
        Width and height of the video. [px]
    exposure_held : bool
        Whether levels of one hold can be compared with those of another; where not, a band or two may be paint.
    """
    if not exposure_held:
        axes = (_sure(axes[0], size[0]), _sure(axes[1], size[1]))
    x, y = axes
    if np.isnan(x.kept) or np.isnan(y.kept):
        return []
    numbers = {"lines_kept_x": x.kept, "lines_kept_y": y.kept}
    if x.bent or y.bent:
        return [_keystone(x, y, numbers)]
    if np.isfinite(x.bands) or np.isfinite(y.bands):
        return [_scaled(axes, size, numbers)]
    if min(x.kept, y.kept) >= _KEPT:
        text = "Player and projector show the video pixel for pixel: lines one pixel wide arrive whole."
        return [Finding("pixel-for-pixel", "good", text, "", numbers)]
    return [_lines_lost(x, y, numbers)] if exposure_held else []


def _sure(axis: AxisScaling, length: int) -> AxisScaling:
    """Without bands that are too few to be certain."""
    if not axis.bands * length < _CERTAIN_BANDS:
        return axis
    return replace(axis, bands=np.nan, bands_first=np.nan, bands_last=np.nan)


def _keystone(x: AxisScaling, y: AxisScaling, numbers: dict[str, float]) -> Finding:
    parts = []
    for axis, ends, ways in ((x, ("upper", "lower"), "across"), (y, ("left", "right"), "down")):
        if axis.bent:
            first, last = (100 * share for share in (axis.bands_first, axis.bands_last))
            parts.append(f"by {first:.1f} % {ways} in the {ends[0]} third and by {last:.1f} % in the {ends[1]} third")
    numbers |= {"keystone": max(abs(a.bands_first - a.bands_last) for a in (x, y) if a.bent)}
    text = (
        f"A keystone or corner correction is active: it scales the picture {' and '.join(parts)}. "
        "Lines one pixel wide are lost in bands, and a part of the projector's light goes unused."
    )
    remedy = (
        "Switch keystone and corner correction off (also automatic keystone), then scan again; Limewash straightens "
        f"the picture by itself. {_KEEP}."
    )
    return Finding("keystone-on", "warning", text, remedy, numbers)


def _scaled(axes: tuple[AxisScaling, AxisScaling], size: tuple[int, int], numbers: dict[str, float]) -> Finding:
    bands = [0.0 if np.isnan(axis.bands) else axis.bands for axis in axes]
    ways = [_way(axis, length) for axis, length in zip(axes, size, strict=True)]
    way = next((way for way in ways if way), 0)
    changes = [way * share if way else share for share in bands]
    numbers |= {"scaling_x": changes[0], "scaling_y": changes[1]}
    amount = " and ".join(
        f"{100 * share:.1f} % {direction}" for share, direction in zip(bands, ("across", "down"), strict=True)
    )
    if way > 0:
        lost = [length / 2 * (1 - 1 / (1 + share)) for length, share in zip(size, bands, strict=True)]
        numbers |= {"lost_each_side_px": lost[0], "lost_top_bottom_px": lost[1]}
        text = (
            f"The picture is enlarged by {amount} (overscan): of the video's pixels, {lost[0]:.0f} at the left and at "
            f"the right and {lost[1]:.0f} at the top and at the bottom never reach the wall."
        )
        also = f"{_KEEP}, only that nothing drawn in those outermost pixels can be seen."
    elif way < 0:
        text = f"The picture is shrunk by {amount}: a rim of the projector's picture stays unused."
        also = f"{_KEEP}."
    else:
        text = f"The picture is scaled by {amount}; whether it is enlarged or shrunk cannot be told from this scan."
        also = f"{_KEEP}."
    text += " Lines one pixel wide are lost in bands."
    code = "overscan" if way > 0 else "scaled"
    shape = _other_shape(bands, way)
    if shape:
        code = "aspect"
        text += f" Such a factor comes from a mix-up of the shapes {shape} in the player, a splitter or the projector."
    remedy = (
        "Set overscan, zoom and picture size of player and projector to their native, unscaled setting, the player's "
        f"output to the projector's native {size[0]} x {size[1]}, the projector's aspect to native; then scan again. "
        f"{also}"
    )
    return Finding(code, "warning", text, remedy, numbers)


def _way(axis: AxisScaling, length: int) -> int:
    """1 where the outermost pixels are missing as enlargement would have it, -1 where they are there, 0 unknown."""
    if np.isnan(axis.bands):
        return 0
    lost_px = length / 2 * (1.0 - 1.0 / (1.0 + axis.bands))
    ends = np.array([axis.lost_first_px, axis.lost_last_px])
    if lost_px < _FEWEST_LOST_PX or np.isnan(ends).any():
        return 0
    if np.any(ends < 0.5 * lost_px - 1.0):
        return -1
    return int(np.any(ends < 1.3 * lost_px + 2.0))


def _other_shape(bands: list[float], way: int) -> str:
    factors = [1.0 + way * share for share in bands]
    tried = [*factors, factors[0] / factors[1]]
    for factor, shape in _ASPECTS:
        if any(min(abs(f - factor), abs(f - 1.0 / factor)) < 2 * _ALIKE for f in tried):
            return shape
    return ""


def _lines_lost(x: AxisScaling, y: AxisScaling, numbers: dict[str, float]) -> Finding:
    lost = [
        f"{100 * (1 - min(axis.kept, 1.0)):.0f} % of the contrast of {what}"
        for axis, what in ((x, "upright lines"), (y, "level lines"))
        if axis.kept < _KEPT
    ]
    text = (
        f"Lines one pixel wide lose {' and '.join(lost)}, everywhere alike: the picture is brought to another "
        "number of pixels, or smoothed, on its way."
    )
    remedy = (
        "Check that the project's projector size is the projector's native one and that the player puts out just that; "
        "switch noise reduction and smoothing off."
    )
    return Finding("lines-lost", "warning", text, remedy, numbers)


def focus_findings(focus: Focus) -> list[Finding]:
    """Whether the projected picture is sharp, and where not."""
    blur = focus.blur_px
    if not np.isfinite(blur).any():
        return []
    best, worst = float(np.nanmin(blur)), float(np.nanmax(blur))
    numbers = {"blur_px": float(np.nanmedian(blur)), "sharpest_px": best, "softest_px": worst}
    if worst < _BLURRED_PX:
        text = f"The projected picture is sharp: its blur is below {max(worst, 0.5):.1f} projector pixels everywhere."
        return [Finding("focus", "good", text, "", numbers)]
    if worst - best < _UNEVEN_PX:
        text = f"The projected picture is soft all over: its blur is about {numbers['blur_px']:.1f} projector pixels."
        remedy = (
            "Let the projector warm up for half an hour; then turn its focus ring while somebody at the wall watches "
            "the title card's star, until its blurred middle is smallest. Nobody looks into the lens."
        )
        return [Finding("out-of-focus", "warning", text, remedy, numbers)]
    text = (
        f"The projected picture is sharp in one part and soft in another: its blur is {best:.1f} projector pixels "
        f"at the {_place(blur, best)} and {worst:.1f} at the {_place(blur, worst)}."
    )
    remedy = (
        f"Focus on a spot between the two, so that the {_place(blur, worst)} gains what the {_place(blur, best)} can "
        "spare; a projector that stands more squarely to the wall is in focus over more of it."
    )
    return [Finding("focus-uneven", "warning", text, remedy, numbers)]


def _place(blur: np.ndarray, value: float) -> str:
    row, column = (int(n) for n in np.argwhere(blur == value)[0])
    name = " ".join(part for part in (("upper", "", "lower")[row], ("left", "", "right")[column]) if part)
    return name or "middle"
