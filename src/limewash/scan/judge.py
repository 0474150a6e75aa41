"""Judging a scan: from what the camera took and what came of it to findings."""

from __future__ import annotations

from collections.abc import Callable
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.scan.correspondence import Correspondence
from limewash.scan.decode import Decoded
from limewash.scan.findings import Finding, Findings, Severity
from limewash.scan.focus import measure_focus
from limewash.scan.judge_chain import chain_findings, focus_findings
from limewash.scan.judge_lost import find_lost, lost_findings
from limewash.scan.passing import Passing
from limewash.scan.reach import Reach, find_reach
from limewash.scan.scaling import measure_scaling, phone_tone
from limewash.scan.surface import Surfaces
from limewash.scan.takes import SPARSE, Takes
from limewash.scan.threads import all_of

Picture = NDArray[np.float32]

_MOVED_PX = 0.3  # of a 1920 wide picture; below it lies within the noise of the measurement
_MUCH_OUTSIDE = 0.4  # of the projector's picture
_SOME_SHADOW = 0.005  # of the front
_DRIFTED = 0.12  # share by which the exposure may wander
_GLARING = 5e-5  # of the camera's picture
_MUCH_OTHER_LIGHT = 0.3  # of the projector's white
_USUAL_TONE = 2.0
_MUCH_PASSES = 0.2  # of the holds
_UNSTEADY_S = 0.05
_FEWEST_SHARE = 0.005  # of the projector's picture: less is no scan


def judge(
    path: Path,
    takes: Takes,
    decoded: Decoded,
    surfaces: Surfaces,
    correspondence: Correspondence,
    moved_px: float,
    passing: Passing,
) -> Findings:
    """All findings of a scan.

    Parameters
    ----------
    path : Path
        The clip, for messages.
    takes, decoded, surfaces, correspondence
        What the camera took and what came of it.
    moved_px : float
        How far the camera moved; NaN where that cannot be told. [px]
    passing : Passing
        Light and people that came by.

    Raises
    ------
    InputError
        If next to nothing could be decoded.
    """
    seen_share = float(correspondence.seen.mean())
    if seen_share < _FEWEST_SHARE:
        raise InputError(f"{path}: the pattern was found but {_why_nothing(takes, seen_share)}")
    held = _drift(takes) <= _DRIFTED
    size = correspondence.projector_size
    parts: list[Callable[[], list[Finding]]] = [
        lambda: [coverage_finding(seen_share)],
        lambda: reach_findings(find_reach(correspondence)),
        lambda: lost_findings(find_lost(takes, decoded, surfaces, correspondence, passing)),
        lambda: [precision_finding(surfaces)],
        lambda: _exposure(takes),
        lambda: _lamps(takes),
        lambda: [*_movement(moved_px, takes), *_passing(passing), *_timing(takes), *_framing(surfaces)],
        lambda: orientation_findings(surfaces),
        lambda: chain_findings(measure_scaling(takes, correspondence), size, exposure_held=held),
        lambda: focus_findings(measure_focus(takes, surfaces)),
    ]
    return Findings.sorted(list(chain.from_iterable(all_of(parts))))


def _why_nothing(takes: Takes, seen_share: float) -> str:
    lit = f"only {100 * seen_share:.1f} % of the projector's picture could be told apart"
    if takes.lit_share < 0.02:
        small = f"it fills just {100 * takes.lit_share:.1f} % of the camera's picture"
        return f"{lit}: {small}; bring the camera closer or zoom in"
    if not takes.end_seen:
        return (
            f"{lit}: it did not keep time (its end mark did not come when its beginning led to expect); play the file "
            "from the device itself, unpaused, and film again"
        )
    clipped = _clipped_share(takes)
    if clipped > 0.3:
        return f"{lit}: {100 * clipped:.0f} % of the lit part is over-exposed; lower the exposure and lock it"
    return (
        f"{lit}: its fine lines are lost; focus camera and projector on the wall, wait for darkness, or bring the "
        "camera closer"
    )


def _clipped_share(takes: Takes) -> float:
    """Share of the lit part that is pure white under the white picture."""
    white, black = takes.mean("white", -1, SPARSE), takes.mean("black", -1, SPARSE)
    lit = white - black > 8.0
    # Phones store highlights above nominal white; what sticks to the top of either range is clipped.
    top = (255.0 if takes.mean("white", -1).max() > 225.0 else 235.0) - takes.info.luma_black
    return float(np.mean(white[lit] > top - 3.0)) if lit.any() else 0.0


def coverage_finding(seen_share: float) -> Finding:
    """Share of the projector's picture that was found."""
    text = f"{100 * seen_share:.0f} % of the projector's picture lands where the camera sees it."
    numbers = {"seen_share": seen_share}
    if seen_share < 0.2:
        remedy = "Aim or move the projector so that the house fills its picture, and let the camera see all of it."
        return Finding("coverage", "warning", text, remedy, numbers)
    return Finding("coverage", "good", text, "", numbers)


def reach_findings(reach: Reach) -> list[Finding]:
    """Where the rest of the light goes, and what of the house it does not reach."""
    outside = 1.0 - reach.seen_share - reach.inside_share
    numbers = {"seen_share": reach.seen_share, "inside_share": reach.inside_share, "outside_share": outside}
    text = (
        f"Of the projector's picture {100 * reach.seen_share:.0f} % lights what the camera sees, "
        f"{100 * reach.inside_share:.0f} % is lost in between (glass, dark paint, gaps, places out of the camera's "
        f"sight), and {100 * outside:.0f} % goes past the house, into the sky or out of the camera's view."
    )
    found = [Finding("light-shares", "note" if outside > _MUCH_OUTSIDE else "good", text, "", numbers)]
    if reach.shadow_share > _SOME_SHADOW:
        text = (
            f"{100 * reach.shadow_share:.1f} % of the front that the camera sees lies in the shadow of posts, trees or "
            f"the like; another {100 * reach.dark_share:.1f} % is glass or too dark to tell."
        )
        remedy = "The findings picture shows where. Move the projector sideways or higher if that part matters."
        shares = {"shadow_share": reach.shadow_share, "dark_share": reach.dark_share}
        found.append(Finding("shadows", "note", text, remedy, shares))
    return found


def precision_finding(surfaces: Surfaces) -> Finding:
    """How far noise may move a position."""
    sigma = surfaces.sigma[SPARSE]
    sigma = sigma[np.isfinite(sigma)]
    if not sigma.size:  # next to nothing was read
        sigma = surfaces.sigma[np.isfinite(surfaces.sigma)]
    half, worst = float(np.median(sigma)), float(np.quantile(sigma, 0.95))
    text = (
        f"Noise leaves each position uncertain by {half:.2f} projector pixels (95 % of them by less than {worst:.2f})."
    )
    numbers = {"sigma_px": half, "sigma_p95_px": worst}
    if worst > 0.5:
        remedy = "Darker surroundings, a brighter projector mode, or the camera closer to the house make it better."
        return Finding("precision", "note", text, remedy, numbers)
    return Finding("precision", "good", text, "", numbers)


def _exposure(takes: Takes) -> list[Finding]:
    found = []
    clipped = _clipped_share(takes)
    white, black = takes.mean("white", -1, SPARSE), takes.mean("black", -1, SPARSE)
    lit = white - black > 8.0
    span = takes.info.luma_white - takes.info.luma_black
    level = float(np.median(white[lit]) / span) if lit.any() else 0.0
    numbers = {"clipped_share": clipped, "lit_level": level}
    if clipped > 0.02:
        text = f"{100 * clipped:.0f} % of the lit part is over-exposed."
        found.append(
            Finding("over-exposed", "warning", text, "Lower the camera's exposure, lock it, and scan again.", numbers)
        )
    elif level < 0.15:
        text = f"The lit part is dark in the camera's picture: half of it stays below {100 * level:.0f} % of white."
        remedy = "Raise the camera's exposure or bring it closer; use the projector's brightest plain mode."
        found.append(Finding("under-exposed", "warning", text, remedy, numbers))
    else:
        found.append(Finding("exposure", "good", "The exposure suits the pattern.", "", numbers))
    drift = _drift(takes)
    if drift > _DRIFTED:
        text = f"The exposure wandered by {100 * drift:.0f} % during the pattern; this was taken out."
        found.append(
            Finding("exposure-drift", "note", text, "Lock exposure and focus before you start.", {"drift": drift})
        )
    return found


def _movement(moved_px: float, takes: Takes) -> list[Finding]:
    if np.isnan(moved_px):
        return []
    if moved_px <= _MOVED_PX * takes.info.size[0] / 1920:
        return [Finding("still", "good", "The camera stood still.", "", {"moved_px": moved_px})]
    text = (
        f"The camera moved by {moved_px:.1f} of its pixels while the pattern played; a slow movement was taken out, a "
        "sudden one leaves errors."
    )
    remedy = "Use a tripod or wedge the camera, start it with a delay or a remote, and scan again."
    if np.isnan(takes.beat_s):
        text = f"The camera moved by {moved_px:.1f} of its pixels between the photos; that leaves errors."
        remedy = "Use a tripod and a self-timer or a remote, and photograph all pictures again."
    return [Finding("camera-moved", "warning", text, remedy, {"moved_px": moved_px})]


def _drift(takes: Takes) -> float:
    """By what share of it the exposure wandered."""
    return float(takes.gains.max() / takes.gains.min() - 1.0)


def _lamps(takes: Takes) -> list[Finding]:
    """What shines on while the projector shows black."""
    glare = 0.92 * (takes.info.luma_white - takes.info.luma_black)
    glaring = float(np.mean(takes.mean("black", -1) > glare))  # a lamp is small: every pixel is asked
    black, white = takes.mean("black", -1, SPARSE), takes.mean("white", -1, SPARSE)
    lit = white - black > 8.0
    tone = phone_tone(takes) or _USUAL_TONE
    share = float(np.median(np.maximum(black[lit] / white[lit], 0.0) ** tone)) if lit.any() else 0.0
    numbers = {"glaring_share": glaring, "other_light": share}
    if glaring > _GLARING:
        text = (
            f"A lamp outshines {100 * glaring:.2f} % of the camera's picture even while the projector shows black; "
            "what it lights strongly cannot be read."
        )
        return [Finding("lamp", "warning", text, "Switch it off for the scan, or cover it.", numbers)]
    if share > _MUCH_OTHER_LIGHT:
        text = f"Other light is {100 * share:.0f} % as strong on the house as white of the projector."
        remedy = "Wait for darkness and switch lamps off; a show would look pale as well."
        return [Finding("other-light", "warning", text, remedy, numbers)]
    return []


def _passing(passing: Passing) -> list[Finding]:
    found = []
    if passing.light_share > 0.0:
        text = (
            f"Other light passed over the house (headlights, a lamp) during {100 * passing.light_share:.0f} % of the "
            "pattern. It was taken out as far as possible; dark and slanting parts may be missing."
        )
        remedy = "Film again in a moment without cars if those parts matter."
        severity: Severity = "warning" if passing.light_share > _MUCH_PASSES else "note"
        found.append(Finding("passing-light", severity, text, remedy, {"touched_share": passing.light_share}))
    if passing.hidden_share > 0.0:
        text = (
            "Something passed in front of the camera or through the light (people, a car) during "
            f"{100 * passing.hidden_share:.0f} % of the pattern. What it hid may be missing or less certain."
        )
        remedy = "Film again while nobody walks through the light."
        found.append(Finding("passer-by", "warning", text, remedy, {"hidden_share": passing.hidden_share}))
    return found


def _timing(takes: Takes) -> list[Finding]:
    if np.isnan(takes.beat_s):  # photos have no time
        return []
    found = []
    numbers = {"beat_s": takes.beat_s, "unsteady_s": takes.unsteady_s}
    if takes.unsteady_s > _UNSTEADY_S:
        text = f"The player was unsteady: a picture came {1000 * takes.unsteady_s:.0f} ms off its time."
        remedy = "Play the file from the device itself with other programs closed; a show would stutter too."
        found.append(Finding("unsteady-player", "warning", text, remedy, numbers))
    else:
        found.append(Finding("timing", "good", "The player kept time.", "", numbers))
    if not takes.end_seen:
        text = "The pattern's end mark was not seen: the recording may have been stopped early."
        found.append(Finding("no-end", "note", text, "Film until the closing card shows.", numbers))
    return found


def _framing(surfaces: Surfaces) -> list[Finding]:
    seen = np.isfinite(surfaces.x)
    edges = {"left": seen[:, 2], "right": seen[:, -3], "top": seen[2], "bottom": seen[-3]}
    cut = {name: float(edge.mean()) for name, edge in edges.items() if edge.mean() > 0.05}
    if not cut:
        return []
    text = f"The picture runs out of the camera's view at the {' and '.join(cut)}."
    remedy = "Move the camera back or turn it until it sees the whole projected picture, if that part matters."
    return [Finding("cut-off", "note", text, remedy, {f"{name}_share": share for name, share in cut.items()})]


def orientation_findings(surfaces: Surfaces) -> list[Finding]:
    seen = np.isfinite(surfaces.x[SPARSE])
    if not seen.any():
        return []
    xc, yc, xr, yr = (float(np.median(part[SPARSE][seen])) for part in surfaces.slope)
    if xc * yr - yc * xr < 0.0:
        remedy = "Switch the projector's rear projection (mirror) mode off."
        return [Finding("mirrored", "warning", "The picture is mirrored.", remedy)]
    if xc < 0.0 and yr < 0.0:
        remedy = "Switch the projector's ceiling mode off, or turn the camera, if it was upside down."
        return [Finding("upside-down", "warning", "The picture is upside down.", remedy)]
    return []
