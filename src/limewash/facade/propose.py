"""What could be traced: windows, doors and roof lines found on the scan's photo, for the person to accept or refuse.

Glass does not answer the scan and is dark in the projector's light: clean dark holes in rows and columns are panes,
panes stand in frames, and around the frame the wall begins. Doors without glass are plain leaves below which the wall
does not go on. Roof lines are long straight edges with light below and
darkness above.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.leaves import find_leaves
from limewash.facade.openings import Opening, open_leaf, open_up
from limewash.facade.panes import find_panes
from limewash.facade.roof_lines import RoofLine, find_roof_lines
from limewash.facade.snap import SettledPath, settle_path
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.facade.upright import Upright, make_upright
from limewash.geometry.path import Arc, Line, Path2, Point, Segment, polyline
from limewash.geometry.path_measure import bounding_box
from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]

LEAST_CONFIDENCE = 0.55

WORDS: dict[Kind, tuple[str, str]] = {
    Kind.WINDOW: ("window", "windows"),
    Kind.DOOR: ("door", "doors"),
    Kind.GARAGE: ("garage door", "garage doors"),
    Kind.ROOF_LINE: ("roof line", "roof lines"),
}


@dataclass(frozen=True)
class Proposal:
    """Something that could be traced.

    Attributes
    ----------
    traced : Traced
        As it would go into the tracing, in photo pixels.
    confidence : float
        0 to 1; an ordering, not a probability.
    """

    traced: Traced
    confidence: float


def propose(photo: NDArray[np.uint8], correspondence: Correspondence | None = None) -> list[Proposal]:
    """Find windows, doors, garage doors and roof lines.

    Parameters
    ----------
    photo : ndarray of uint8, shape (H, W, 3)
        The scan's own photo, in the projector's light.
    correspondence : Correspondence, optional
        The scan; without it dark panes alone must do, and much less is certain.

    Returns
    -------
    proposals : list of Proposal
        Openings from left to right, then roof lines; ids do not repeat.

    Raises
    ------
    InputError
        If the photo has the wrong shape, or the scan is of another photo's size.
    """
    if photo.ndim != 3 or photo.shape[2] != 3 or photo.dtype != np.uint8:
        raise InputError(f"photo must be uint8 of shape (H, W, 3), got {photo.dtype} of shape {photo.shape}")
    size = (photo.shape[1], photo.shape[0])
    if correspondence is not None and correspondence.camera_size != size:
        camera = correspondence.camera_size
        raise InputError(f"the scan is of a photo of {camera[0]} x {camera[1]}, this one has {size[0]} x {size[1]}")
    upright = make_upright(photo, correspondence)
    groups = find_panes(upright, scanned=correspondence is not None)
    openings = _apart([one for one in (open_up(upright, group) for group in groups) if one is not None])
    if correspondence is not None:
        openings = sorted([*openings, *_plain_doors(upright, openings)], key=lambda o: o.box.left)
    found = [_from_opening(photo, upright, opening) for opening in openings]
    roofs = find_roof_lines(upright, [opening.box for opening in openings])
    found += [_from_roof(photo, upright, roof) for roof in roofs]
    return _named([one for one in found if one[2] >= LEAST_CONFIDENCE and _is_within(one[0], size)])


def in_words(proposals: list[Proposal]) -> str:
    """Such as "7 windows, 1 door, 2 roof lines"; "nothing" when there is none."""
    counts = {kind: sum(p.traced.kind is kind for p in proposals) for kind in WORDS}
    return ", ".join(f"{n} {WORDS[kind][n != 1]}" for kind, n in counts.items() if n) or "nothing"


def fresh(proposals: list[Proposal], tracing: Tracing) -> list[Traced]:
    """Proposals that a tracing does not have yet, under ids and names that are free in it.

    One is there already if a path of its kind has its middle within 0.3 of the proposal's size.
    """
    taken = {item.id for item in tracing.items}
    new: list[Traced] = []
    for proposal in proposals:
        traced = proposal.traced
        if any(_is_there(traced, item) for item in tracing.of_kind(traced.kind)):
            continue
        number = next(n for n in itertools.count(1) if f"{traced.kind.value}-{n}" not in taken)
        taken.add(f"{traced.kind.value}-{number}")
        title = f"{WORDS[traced.kind][0].capitalize()} {number}"
        new.append(replace(traced, id=f"{traced.kind.value}-{number}", title=title))
    return new


def _is_there(found: Traced, drawn: Traced) -> bool:
    a, b = bounding_box(found.path), bounding_box(drawn.path)
    size = max(a.right - a.left, a.bottom - a.top)
    return max(abs(a.left + a.right - b.left - b.right), abs(a.top + a.bottom - b.top - b.bottom)) / 2 < 0.3 * size


def _plain_doors(upright: Upright, openings: list[Opening]) -> list[Opening]:
    """Doors without glass where nothing was found by its panes."""
    leaves = [leaf for leaf in find_leaves(upright) if not any(leaf.box.overlaps(o.box) for o in openings)]
    return [one for one in (open_leaf(upright, leaf) for leaf in leaves) if one is not None]


def _apart(openings: list[Opening]) -> list[Opening]:
    """Of openings that overlap, the larger one."""
    kept: list[Opening] = []
    for opening in sorted(openings, key=lambda o: -o.box.width * o.box.height):
        if not any(opening.box.overlaps(other.box) for other in kept):
            kept.append(opening)
    return sorted(kept, key=lambda o: o.box.left)


def _from_opening(photo: NDArray[np.uint8], upright: Upright, opening: Opening) -> tuple[Path2, Kind, float]:
    b = opening.box
    # Edges of pixels, not centres: half a pixel off.
    left, top, right, bottom = b.left - 0.5, b.top - 0.5, b.right - 0.5, b.bottom - 0.5
    if opening.half_round:
        path = _half_round(upright, (left, right), bottom, opening.legs_px)
    else:
        ring = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
        path = polyline(upright.to_photo(ring), closed=True)
    settled = _settled(photo, upright, path)
    confidence = 0.75 * opening.sureness + 0.25 * settled.support
    return settled.path, opening.kind, float(np.clip(confidence, 0.0, 0.99))


def _half_round(upright: Upright, span: tuple[float, float], foot: float, legs: float) -> Path2:
    """Circles turn into ellipses in the photo; over a window's width an affine map tells them closely enough."""
    left, right = span
    middle, radius, spring = 0.5 * (left + right), 0.5 * (right - left), foot - legs
    spots = np.array([(left, spring), (right, spring), (middle, spring - radius), (left, foot), (right, foot)])
    seen = upright.to_photo(spots)
    across, rise = 0.5 * (seen[1] - seen[0]), seen[2] - 0.5 * (seen[0] + seen[1])
    u, radii, _ = np.linalg.svd(np.column_stack([across, rise]))
    turn_deg = float(np.degrees(np.arctan2(u[1, 0], u[0, 0])))
    corners = [_point(p) for p in seen]
    crown = Arc(corners[0], corners[1], (float(radii[0]), float(radii[1])), turn_deg, large=False, sweep=True)
    below: list[Segment]
    if legs < 1.0:
        below = [Line(corners[1], corners[0])]
    else:
        below = [Line(corners[1], corners[4]), Line(corners[4], corners[3]), Line(corners[3], corners[0])]
    return Path2((crown, *below), closed=True)


def _from_roof(photo: NDArray[np.uint8], upright: Upright, roof: RoofLine) -> tuple[Path2, Kind, float]:
    settled = _settled(photo, upright, polyline(upright.to_photo(roof.points), closed=False))
    return settled.path, Kind.ROOF_LINE, roof.confidence * (0.7 + 0.3 * settled.support)


def _settled(photo: NDArray[np.uint8], upright: Upright, path: Path2) -> SettledPath:
    """On the photo's own edges: within two pixels of the upright picture."""
    scale = 1.0 / float(np.sqrt(abs(np.linalg.det(upright.to_upright[:2, :2]))))
    return settle_path(photo, path, reach_px=float(np.clip(2.2 * scale, 2.5, 12.0)))


def _is_within(path: Path2, size: tuple[int, int]) -> bool:
    ends = np.array([s.start for s in path.segments] + [s.end for s in path.segments])
    return bool((ends >= -0.5).all() and (ends <= np.array(size) - 0.5).all())


def _named(found: list[tuple[Path2, Kind, float]]) -> list[Proposal]:
    out: list[Proposal] = []
    counts: dict[Kind, int] = {}
    for path, kind, confidence in found:
        counts[kind] = counts.get(kind, 0) + 1
        title = f"{WORDS[kind][0].capitalize()} {counts[kind]}"
        out.append(Proposal(Traced(f"{kind.value}-{counts[kind]}", kind, path, title), confidence))
    return out


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
