"""Where to put which projector: every allowed stand judged, the best ones told apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.light.photometry import CONTRAST_CLASSES
from limewash.progress import Progress, silent
from limewash.project.models import House, Rig, Stand
from limewash.project.projector import Projector
from limewash.project.site_models import Weights
from limewash.site import aim_kernel as k
from limewash.site.projector_classes import projector_class
from limewash.site.scene import Scene
from limewash.site.sights import Lookout
from limewash.site.tables import ground_grid, section_table

Array = NDArray[np.float64]

CRITERIA = ("coverage", "contrast", "sharpness", "waste", "obstruction", "cable")
"""What a score is made of, in the order of `Weights`."""

_FULL_CONTRAST = CONTRAST_CLASSES[-1][1]
_LONG_CABLE_M = 50.0
_MOST_ALIKE = 3
_NEXT_AREA_M2, _NEXT_LOG, _NEXT_SHARP = 0.5, 0.05, 0.05
"""Differences that nobody would see: on the Pareto picture, what differs by less is the same."""


@dataclass(frozen=True)
class Trial:
    """All stands judged for one projector and one section."""

    projector: Projector
    label: str
    section: str
    results: Array
    """Columns of `aim_kernel`, a row a stand."""
    parts: Array
    """Shape (S, 6): each criterion from 0 (bad) to 1 (good), in the order of `CRITERIA`."""
    score: Array
    """Weighted mean of `parts`. [-]"""
    meets: NDArray[np.bool_]
    """Which stands reach the needed coverage and contrast."""


@dataclass(frozen=True)
class Candidate:
    """One stand with one projector for one section."""

    label: str
    section: str
    rig: Rig
    score: float
    meets: bool
    parts: dict[str, float]
    coverage: float
    """Of what the audience sees of its section. [-]"""
    lit_m2: float
    contrast: float
    mean_lx: float
    sharpness: float
    wasted: float
    shaded: float
    in_beam: float
    cable_m: float


@dataclass(frozen=True)
class SearchResult:
    """What the search found.

    Attributes
    ----------
    best : tuple of Candidate
        Best first, told apart by a metre, by projector or by section; those that meet the needs come first.
    pareto : tuple of Candidate
        None of these is beaten in lit area, contrast and sharpness at once.
    stands : ndarray of shape (S, 3)
        All lens places that were tried. [m]
    trials : tuple of Trial
        One for each projector and section.
    evaluated : int
        How many combinations were judged.
    """

    best: tuple[Candidate, ...]
    pareto: tuple[Candidate, ...]
    stands: Array
    trials: tuple[Trial, ...]
    evaluated: int
    needs: tuple[float, float]


def search(house: House, scene: Scene, *, progress: Progress = silent, count: int = 6) -> SearchResult:
    """Judge all allowed stands x heights x projectors x sections.

    Parameters
    ----------
    house, scene : House, Scene
        The house file, and the scene built from it.
    progress : Progress
        Told after each projector and section.
    count : int
        How many of the best to tell apart.

    Raises
    ------
    InputError
        If no stand is allowed at all, or a projector class or section is unknown.
    """
    settings = scene.site.search
    stands = stand_places(scene)
    lookout, cable = Lookout(scene, stands), cable_lengths_m(scene, stands)
    names = settings.sections or scene.sections
    sections = [section_table(name, scene) for name in names]
    whole_m2 = sum(shape.area for shape in scene.watched.values())
    projectors = projectors_to_try(house)
    trials: list[Trial] = []
    for label, projector, sights in (
        (*named, sights) for sights in map(lookout.sights, sections) for named in projectors
    ):
        section = sights.section
        progress(len(trials) / (len(projectors) * len(sections)), f"{label}, {section.name}")
        results = sights.judge(projector, scene.ambient_lx)
        parts = criteria(results, section.area_m2 / whole_m2, cable)
        contrast = np.exp(results[:, k.LOG_CONTRAST])
        meets = (results[:, k.COVERAGE] >= settings.need_coverage) & (contrast >= settings.need_contrast)
        trials.append(Trial(projector, label, section.name, results, parts, parts @ weights(settings.weights), meets))
    areas = {section.name: section.area_m2 for section in sections}
    best = _told_apart(trials, stands, cable, areas, count)
    front = _pareto(trials, stands, cable, areas)
    needs = (settings.need_coverage, settings.need_contrast)
    return SearchResult(best, front, stands, tuple(trials), len(stands) * len(trials), needs)


def stand_places(scene: Scene) -> Array:
    """Lens places to try, shape (S, 3). [m]"""
    settings = scene.site.search
    ground = ground_grid(scene, settings.step_m)
    if len(ground) == 0:
        raise InputError(
            "site.zone leaves no ground to stand on; allow a stand (stand = true) in a zone in front of the house"
        )
    heights = np.array(settings.heights_m)
    if (heights <= 0.0).any():
        raise InputError(f"site.search.heights_m must be more than 0 m (got {heights.min():g})")
    x, y = np.meshgrid(ground[:, 0], heights, indexing="ij")
    z, _ = np.meshgrid(ground[:, 1], heights, indexing="ij")
    return np.stack([x, y, z], axis=-1).reshape(-1, 3)


def projectors_to_try(house: House) -> list[tuple[str, Projector]]:
    """The rigs' own projectors, by their own name or the rig's, then the generic classes that the person named."""
    assert house.site is not None
    own = [(rig.projector.name or rig.name, rig.projector) for rig in house.rig]
    taken = {label for label, _ in own}  # `--take` writes a class as a rig of that name
    return own + [(name, projector_class(name)) for name in house.site.search.projectors if name not in taken]


def cable_lengths_m(scene: Scene, stands: Array) -> Array:
    """Cord from the outlet down, along the ground in straight legs and up to the projector, shape (S,). [m]"""
    power = scene.site.power
    outlet = (0.0, 0.3, 0.0) if power is None else (power.outlet_x_m, power.outlet_height_m, power.outlet_distance_m)
    legs = np.abs(stands[:, 0] - outlet[0]) + np.abs(stands[:, 2] - outlet[2])
    lengths: Array = legs + outlet[1] + stands[:, 1]
    return lengths


def criteria(results: Array, section_share: float, cable_m: Array) -> Array:
    """Each criterion from 0 to 1, shape (S, 6) in the order of `CRITERIA`.

    Coverage counts against the WHOLE front, so that a small section pays for its brightness; contrast is
    full at the highest published class; a shadow and people in the beam both count as obstruction.
    """
    contrast = np.clip(results[:, k.LOG_CONTRAST] / math.log(_FULL_CONTRAST), 0.0, 1.0)
    reached = results[:, k.SHADED] + results[:, k.COVERAGE]
    shaded = np.divide(results[:, k.SHADED], reached, out=np.ones(len(results)), where=reached > 0.0)
    return np.column_stack(
        [
            results[:, k.COVERAGE] * section_share,
            contrast,
            results[:, k.SHARPNESS],
            results[:, k.USED],
            1.0 - np.minimum(shaded + results[:, k.IN_BEAM], 1.0),
            1.0 - np.minimum(cable_m / _LONG_CABLE_M, 1.0),
        ]
    )


def weights(chosen: Weights) -> Array:
    """The weights in the order of `CRITERIA`, adding up to 1."""
    raw = np.array([getattr(chosen, name) for name in CRITERIA])
    scaled: Array = raw / raw.sum()
    return scaled


def candidate(trial: Trial, index: int, stands: Array, cable_m: Array, area_m2: float) -> Candidate:
    """One row of a trial in words and as a rig that can be checked exactly."""
    r = trial.results[index]
    return Candidate(
        label=trial.label,
        section=trial.section,
        rig=Rig(name=trial.label, projector=_set(trial.projector, r), stand=_stand(stands[index], r)),
        score=float(trial.score[index]),
        meets=bool(trial.meets[index]),
        parts=dict(zip(CRITERIA, (float(p) for p in trial.parts[index]), strict=True)),
        coverage=float(r[k.COVERAGE]),
        lit_m2=float(r[k.COVERAGE]) * area_m2,
        contrast=float(np.exp(r[k.LOG_CONTRAST])),
        mean_lx=float(r[k.MEAN_LX]),
        sharpness=float(r[k.SHARPNESS]),
        wasted=1.0 - float(r[k.USED]),
        shaded=float(r[k.SHADED]),
        in_beam=float(r[k.IN_BEAM]),
        cable_m=float(cable_m[index]),
    )


def _set(projector: Projector, r: Array) -> Projector:
    rise = projector.offset.shift if projector.offset is not None else 0.0
    shift = (_within(r[k.SHIFT_X], projector.shift_range_x), _within(r[k.SHIFT_Y] - rise, projector.shift_range_y))
    throw = _within(r[k.THROW], projector.throw_range)
    return projector.model_copy(update={"throw_ratio": throw, "lens_shift": shift})


def _within(value: float, span: tuple[float, float] | None) -> float:
    rounded = round(float(value), 4)
    return rounded if span is None else min(max(rounded, span[0]), span[1])


def _stand(place: Array, r: Array) -> Stand:
    return Stand(
        x_m=round(float(place[0]), 3),
        height_m=round(float(place[1]), 3),
        distance_m=round(float(place[2]), 3),
        yaw_deg=round(math.degrees(r[k.YAW]), 3),
        tilt_deg=round(math.degrees(r[k.TILT]), 3),
    )


def _told_apart(
    trials: Sequence[Trial], stands: Array, cable_m: Array, areas: dict[str, float], count: int
) -> tuple[Candidate, ...]:
    lit = np.concatenate([trial.results[:, k.COVERAGE] > 0.0 for trial in trials])
    rank = np.concatenate([trial.score + 10.0 * trial.meets for trial in trials])
    chosen: list[tuple[Trial, int]] = []
    for flat in np.argsort(-rank, kind="stable"):
        trial, index = trials[flat // len(stands)], int(flat % len(stands))
        if not lit[flat]:
            continue
        near = any(other is trial and np.linalg.norm(stands[index, ::2] - stands[i, ::2]) < 1.0 for other, i in chosen)
        if not near and sum(other is trial for other, _ in chosen) < _MOST_ALIKE:
            chosen.append((trial, index))
        if len(chosen) == count:
            break
    return tuple(candidate(t, i, stands, cable_m, areas[t.section]) for t, i in chosen)


def _pareto(trials: Sequence[Trial], stands: Array, cable_m: Array, areas: dict[str, float]) -> tuple[Candidate, ...]:
    """None of these is beaten in lit area, contrast and sharpness at once; widest first."""
    steps = np.concatenate([_in_steps(trial, areas[trial.section]) for trial in trials])
    # Of those that look the same, one is enough; told apart by one number, which is quicker than by three.
    _, first = np.unique(steps @ np.array([10**8, 10**4, 1]), return_index=True)
    open_ = first[steps[first, 0] > 0]
    front = []
    while len(open_):
        top = open_[np.lexsort(steps[open_].T[::-1])[-1]]
        front.append(int(top))
        open_ = open_[(steps[open_] > steps[top]).any(axis=1)]
    return tuple(
        candidate(trials[f // len(stands)], f % len(stands), stands, cable_m, areas[trials[f // len(stands)].section])
        for f in front
    )


def _in_steps(trial: Trial, area_m2: float) -> NDArray[np.int64]:
    """Lit area, contrast and sharpness in whole steps that can be seen, shape (S, 3)."""
    r = trial.results
    values = (
        r[:, k.COVERAGE] * area_m2 / _NEXT_AREA_M2,
        r[:, k.LOG_CONTRAST] / _NEXT_LOG,
        r[:, k.SHARPNESS] / _NEXT_SHARP,
    )
    return np.column_stack([np.rint(value) for value in values]).astype(np.int64)
