"""Why one stand beats another, and what would help where none is good enough; in sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.light.photometry import white_needed_lx
from limewash.project.lengths import Units, show_length
from limewash.project.models import House
from limewash.site import aim_kernel as k
from limewash.site.scene import Scene
from limewash.site.search import CRITERIA, Candidate, SearchResult, Trial, projectors_to_try, weights
from limewash.site.shown import show_area, show_light
from limewash.site.sights import Lookout
from limewash.site.tables import halves, section_table

_SMALLEST_GAIN = 0.002
_TRIED_STANDS = 400


@dataclass(frozen=True)
class Help:
    """What would help for one section that no stand serves well enough.

    Attributes
    ----------
    section : str
        Which section.
    short : str
        What the best stand reaches, against what is needed.
    steps : tuple of str
        What to change, each a sentence.
    """

    section: str
    short: str
    steps: tuple[str, ...]


def why_first(first: Candidate, second: Candidate, scene: Scene) -> str:
    """One sentence: what makes the first better than the second, and what it gives up for that."""
    share = dict(zip(CRITERIA, weights(scene.site.search.weights), strict=True))
    gains = {name: share[name] * (first.parts[name] - second.parts[name]) for name in CRITERIA}
    names = sorted(gains, key=lambda name: -gains[name])
    better = [name for name in names if gains[name] > _SMALLEST_GAIN][:2]
    worse = [name for name in names[::-1] if gains[name] < -_SMALLEST_GAIN][:1]
    told = {name: _pair(name, first, second, scene.units) for name in CRITERIA}
    if first.meets and not second.meets:
        needs = scene.site.search
        return (
            f"The first meets what is needed ({needs.need_coverage:.0%} of its section at "
            f"{needs.need_contrast:g}:1), the second does not: {told['coverage']}, {told['contrast']}."
        )
    if not better:
        return "The two are as good as each other; take the one that is easier to reach."
    sentence = f"The first is better for {' and '.join(told[name] for name in better)}"
    return f"{sentence}, though not for {told[worse[0]]}." if worse else f"{sentence}."


def what_would_help(house: House, scene: Scene, result: SearchResult) -> tuple[Help, ...]:
    """For each section that no stand serves well enough: smaller section, more light, shorter throw, two projectors."""
    served = {trial.section for trial in result.trials if trial.meets.any()}
    poor = dict.fromkeys(trial.section for trial in result.trials if trial.section not in served)
    if not poor:
        return ()
    lookout = Lookout(scene, result.stands)
    return tuple(_help(house, scene, result, section, served, lookout) for section in poor)


def _help(house: House, scene: Scene, result: SearchResult, section: str, served: set[str], lookout: Lookout) -> Help:
    need_coverage, need_contrast = result.needs
    trials = [trial for trial in result.trials if trial.section == section]
    wide = max(trials, key=lambda trial: float(trial.results[:, k.COVERAGE].max()))
    steps = []
    smaller = sorted(name for name in served if _area_m2(scene, name) < _area_m2(scene, section))
    if smaller:
        steps.append(f"Light a smaller section: a stand that serves {' or '.join(map(repr, smaller))} was found.")
    covering = [_clearest(trial, need_coverage) for trial in trials]
    if any(index is not None for index in covering):
        found = [(trial, index) for trial, index in zip(trials, covering, strict=True) if index is not None]
        trial, index = max(found, key=lambda pair: float(pair[0].results[pair[1], k.LOG_CONTRAST]))
        contrast = float(np.exp(trial.results[index, k.LOG_CONTRAST]))
        short = (
            f"{section!r}: the best stand that covers {need_coverage:.0%} reaches {contrast:.1f}:1 "
            f"with {trial.label}; {need_contrast:g}:1 is needed"
        )
        steps += _more_light(trial, index, need_contrast, scene)
    else:
        index = int(wide.results[:, k.COVERAGE].argmax())
        reach = float(wide.results[index, k.COVERAGE])
        short = f"{section!r}: no stand covers more than {reach:.0%} of it; {need_coverage:.0%} is needed"
        steps += _shorter_throw(scene, result, wide, lookout)
        steps += _less_shadow(wide, index, need_coverage)
    steps += _two_projectors(house, scene, result, section, lookout)
    if not steps:
        steps.append("Allow more ground to stand on (site.zone), other heights, or a lower site.search.need_contrast.")
    return Help(section, short, tuple(steps))


def _clearest(trial: Trial, need_coverage: float) -> int | None:
    """The stand of best contrast among those that cover enough."""
    enough = trial.results[:, k.COVERAGE] >= need_coverage
    if not enough.any():
        return None
    return int(np.where(enough, trial.results[:, k.LOG_CONTRAST], -np.inf).argmax())


def _area_m2(scene: Scene, section: str) -> float:
    return float(sum(scene.watched[part.name].area for part in scene.section(section)))


def _more_light(trial: Trial, index: int, need_contrast: float, scene: Scene) -> list[str]:
    native = trial.projector.contrast
    reached = float(np.exp(trial.results[index, k.LOG_CONTRAST]))
    # What gives the contrast that is needed, over what gives the contrast that is reached.
    ambient_lx, units = scene.ambient_lx, scene.units
    if need_contrast >= native:
        return [f"{trial.label} has a contrast of {native:g}:1 of its own; take one with more."]
    lux = [white_needed_lx(c, ambient_lx=ambient_lx, native=native) for c in (need_contrast, reached)]
    factor = lux[0] / lux[1]
    lumens = trial.projector.light_left_lm * factor
    rounded = math.ceil(lumens / 100.0) * 100
    darker = ambient_lx / factor
    return [
        f"More light: about {rounded:g} lm instead of {trial.projector.light_left_lm:g} lm from the same stand.",
        f"Less light on the wall from elsewhere: {show_light(darker, units)} instead of "
        f"{show_light(ambient_lx, units)} would do as well (own lamps off, a shade towards "
        "a street lamp if its owner agrees).",
    ]


def _shorter_throw(scene: Scene, result: SearchResult, trial: Trial, lookout: Lookout) -> list[str]:
    """The largest throw ratio below the zoom's that would serve, tried out at the stands that need it least."""
    room = trial.results[:, k.ROOM]
    shortest = (trial.projector.throw_range or (trial.projector.throw_ratio,))[0]
    sights = lookout.sights(section_table(trial.section, scene))
    narrow = np.flatnonzero((room > 0.0) & (room < 1.0))
    for index in narrow[np.argsort(-room[narrow])][:_TRIED_STANDS]:
        ratio = math.floor(room[index] * shortest * 98.0) / 100.0
        if ratio < 0.1:
            break
        lens = trial.projector.model_copy(update={"throw_ratio": ratio, "throw_range": None})
        tried = sights.at(int(index)).judge(lens, scene.ambient_lx)
        if tried[0, k.COVERAGE] >= result.needs[0]:
            place = _place(result.stands[index], scene.units)
            return [f"A shorter throw: a ratio of {ratio:.2f} instead of {shortest:g} would hold it from {place}."]
    return []


def _less_shadow(trial: Trial, index: int, need_coverage: float) -> list[str]:
    shaded, coverage = float(trial.results[index, k.SHADED]), float(trial.results[index, k.COVERAGE])
    if shaded < 0.02 or coverage + shaded < need_coverage:
        return []
    return [f"Less in the way: {shaded:.0%} of it lies in the shadow of other parts and of obstacles from there."]


def _two_projectors(house: House, scene: Scene, result: SearchResult, section: str, lookout: Lookout) -> list[str]:
    """The first projector of which two, each lighting one half, reach what is needed."""
    need_coverage, need_contrast = result.needs
    both = [lookout.sights(half) for half in halves(section_table(section, scene))]
    for label, projector in projectors_to_try(house):
        places = []
        for sights in both:
            r = sights.judge(projector, scene.ambient_lx)
            fits = (r[:, k.COVERAGE] >= need_coverage) & (np.exp(r[:, k.LOG_CONTRAST]) >= need_contrast)
            if fits.any():
                places.append(
                    _place(result.stands[np.where(fits, r[:, k.LOG_CONTRAST], -np.inf).argmax()], scene.units)
                )
        if len(places) == 2:
            return [
                f"Two projectors: two of {label}, each lighting one half, reach what is needed; "
                f"for the left half from {places[0]}, for the right half from {places[1]}."
            ]
    return []


def _place(stand_m: NDArray[np.float64], units: Units) -> str:
    x, y, z = (show_length(float(value), units) for value in stand_m)
    return f"x {x}, height {y}, distance {z}"


def _pair(name: str, a: Candidate, b: Candidate, units: Units) -> str:
    return {
        "coverage": f"lit area ({show_area(a.lit_m2, units)} against {show_area(b.lit_m2, units)})",
        "contrast": f"contrast ({a.contrast:.1f}:1 against {b.contrast:.1f}:1)",
        "sharpness": f"fine detail ({a.sharpness:.0%} against {b.sharpness:.0%} of what the eye can see)",
        "waste": f"used picture ({1 - a.wasted:.0%} against {1 - b.wasted:.0%})",
        "obstruction": f"a free way ({a.parts['obstruction']:.0%} against {b.parts['obstruction']:.0%})",
        "cable": f"cable ({show_length(a.cable_m, units)} against {show_length(b.cable_m, units)})",
    }[name]
