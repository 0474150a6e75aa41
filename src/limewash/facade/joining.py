"""A path's points through its planes, joined where it passes from one plane to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.facade.lens import PhotoLens
from limewash.facade.plane_fit import PlaneFit
from limewash.facade.strips import Strip
from limewash.facade.surfaces import Surfaces
from limewash.geometry.path import Path2
from limewash.geometry.path_flatten import flatten

Array = NDArray[np.float64]

TOLERANCE = 0.02
"""Flattening of curves. [projector px]"""
LONGEST = 8.0
"""Longest step along straight lines, which a lens may bend. [projector px]"""
STEP_PX = 1.5
"""Planes that meet this closely are joined smoothly; otherwise the line steps from one to the other. [projector px]"""
BLEND = 12.0
"""Half the length over which a smooth joint is spread. [projector px]"""


@dataclass(frozen=True)
class _Joint:
    """Change of plane at an arc length [photo px]."""

    s: float
    before: int
    after: int


def mapped_points(path: Path2, strip: Strip, surfaces: Surfaces, lens: PhotoLens, scale: float) -> Array:
    """Points of a path in projector px, shape (N, 2); a closed path does not repeat its first point."""
    points = flatten(path, tolerance_px=TOLERANCE * scale, step_px=LONGEST * scale).points
    joints = _joints(strip, surfaces)
    if not joints:
        return surfaces.planes[int(surfaces.labels[0])].map(lens.straighten(points))
    s = _arc_lengths(points, path.closed, strip.length_px)
    steps = [joint for joint in joints if _gap(joint, strip, surfaces, lens) > STEP_PX]
    smooth = [joint for joint in joints if joint not in steps]
    label = surfaces.labels[np.minimum((s / surfaces.station_px).astype(np.intp), len(surfaces.labels) - 1)]
    for joint in joints:  # stations are coarse, and joints may have moved to a corner
        near = np.abs(_from_joint(s, joint, strip)) <= 2.0 * surfaces.station_px
        label[near] = np.where(_from_joint(s[near], joint, strip) < 0.0, joint.before, joint.after)
    mapped = _each_by_its_plane(points, label, surfaces.planes, lens)
    for joint in smooth:
        _blend(mapped, s, joint, strip, _ends(joint, strip, surfaces, lens), BLEND * scale)
    return _with_steps(mapped, s, steps, strip, surfaces, lens)


def _joints(strip: Strip, surfaces: Surfaces) -> list[_Joint]:
    labels, step = surfaces.labels, surfaces.station_px
    following = np.roll(labels, -1)
    changes = np.flatnonzero(labels != following)
    joints = []
    for i in changes:
        if i == len(labels) - 1 and not strip.closed:
            continue
        s = (i + 1) * step % strip.length_px
        if len(strip.corners):
            gaps = np.abs(_around(strip.corners - s, strip))
            if gaps.min() < 2.0 * step:
                s = strip.corners[int(np.argmin(gaps))]
        joints.append(_Joint(float(s), int(labels[i]), int(following[i])))
    return joints


def _around(offset: Array, strip: Strip) -> Array:
    """Signed way along the path, the shorter way round a closed one."""
    if not strip.closed:
        return offset
    return np.asarray((offset + strip.length_px / 2.0) % strip.length_px - strip.length_px / 2.0)


def _from_joint(s: Array, joint: _Joint, strip: Strip) -> Array:
    return _around(s - joint.s, strip)


def _arc_lengths(points: Array, closed: bool, length_px: float) -> Array:
    ends = np.vstack([points, points[:1]]) if closed else points
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ends, axis=0).T))])
    return np.asarray(at[: len(points)] * (length_px / at[-1]), dtype=np.float64)


def _ends(joint: _Joint, strip: Strip, surfaces: Surfaces, lens: PhotoLens) -> tuple[Array, Array]:
    """Where both planes put the joint."""
    place = lens.straighten(strip.points_at(np.array([joint.s])))
    return surfaces.planes[joint.before].map(place)[0], surfaces.planes[joint.after].map(place)[0]


def _gap(joint: _Joint, strip: Strip, surfaces: Surfaces, lens: PhotoLens) -> float:
    before, after = _ends(joint, strip, surfaces, lens)
    return float(np.hypot(*(after - before)))


def _each_by_its_plane(points: Array, label: NDArray[np.intp], planes: list[PlaneFit], lens: PhotoLens) -> Array:
    straight = lens.straighten(points)
    mapped = np.empty_like(straight)
    for k in np.unique(label):
        mapped[label == k] = planes[k].map(straight[label == k])
    return mapped


def _blend(mapped: Array, s: Array, joint: _Joint, strip: Strip, ends: tuple[Array, Array], half_px: float) -> None:
    """Pull both planes towards their common middle near a joint: no step is left, and no kink further off."""
    before, after = ends
    offset = _from_joint(s, joint, strip)
    share = np.clip(1.0 - np.abs(offset) / half_px, 0.0, 1.0)[:, None]
    share = share * share * (3.0 - 2.0 * share)
    half_gap = np.where(offset[:, None] < 0.0, after - before, before - after) / 2.0
    mapped += share * half_gap


def _with_steps(
    mapped: Array, s: Array, steps: list[_Joint], strip: Strip, surfaces: Surfaces, lens: PhotoLens
) -> Array:
    """Put both ends of each step into the chain, in place of a point that lies on the joint itself."""
    keep = np.ones(len(mapped), dtype=np.bool_)
    extra_s, extra = [], []
    for joint in steps:
        keep &= np.abs(_from_joint(s, joint, strip)) > 1e-6 * strip.length_px
        before, after = _ends(joint, strip, surfaces, lens)
        at_start = strip.closed and joint.s < 1e-9
        extra_s += [strip.length_px if at_start else joint.s, joint.s]
        extra += [before, after]
    if not extra:
        return mapped
    order = np.argsort(np.concatenate([s[keep], extra_s]), kind="stable")
    return np.vstack([mapped[keep], np.array(extra)])[order]
