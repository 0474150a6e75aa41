"""What to mind, told where it is done. Nothing here says that anything is safe or allowed."""

from __future__ import annotations

from limewash.project.lengths import Units, show_length
from limewash.site.people import HEADROOM_M
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.shown import show_light

_NAMED = 3
_MUCH_PAST = 0.4
"""Share of the picture beside the front that is worth a word. Common practice, no source."""

ALWAYS = (
    "Do not look into the lens, and let nobody stand before it; switch the picture to black before you work there.",
    "Stand, projector and box must hold in wind and when somebody stumbles: weigh them down and tie them.",
    "Cords, plugs and tapes lie where nobody walks, off wet ground; no joint in a puddle.",
    "These figures come from what house.toml says. Look for yourself, in the dark, before you invite anyone.",
)


def cautions(placement: Placement, scene: Scene) -> list[str]:
    """What to mind with this rig at this stand, the particular before the general."""
    return [*_eyes(placement, scene), *_spilled(placement), *_data_sheet(placement, scene), *ALWAYS]


def _eyes(placement: Placement, scene: Scene) -> list[str]:
    found = []
    for hit in placement.in_beam[:_NAMED]:
        found.append(
            f"Eyes at {hit.where!r} can be in the beam, {show_length(hit.lens_m, scene.units)} from the lens "
            f"(up to {show_light(hit.eye_lx, scene.units)}): move the stand, raise it, or keep people out of there."
        )
    low = [hit for hit in placement.in_beam if hit.beam_low_m < HEADROOM_M]
    if low:
        found.append(
            f"The beam comes down to {show_length(min(hit.beam_low_m for hit in low), scene.units)} over ground where "
            f"people can be; {show_length(HEADROOM_M, scene.units)} is the headroom that the lamp standard names for "
            "the strongest class. Read the risk group on your projector's label."
        )
    return found


def _spilled(placement: Placement) -> list[str]:
    """Light on neighbours and roads: the worst by name, the others by their number, so that a card can hold it."""
    found = []
    if placement.lit_m2 <= 0.0:
        found.append("None of the picture falls on the front: turn, tilt or move the projector before anything else.")
    elif placement.wasted > _MUCH_PAST:
        found.append(
            f"{placement.wasted:.0%} of the picture falls past what is to be lit, onto the sky, the ground or whatever "
            "stands behind: look where it lands, and keep it dark in the map."
        )
    neighbours = [spill for spill in placement.spills if spill.kind == "neighbour"]
    for spill in neighbours[:_NAMED]:
        found.append(f"{_lumens(spill.light_lm)} fall on {spill.name!r}: ask, and keep that area dark in the map.")
    if len(neighbours) > _NAMED:
        found.append(f"Less light falls on {len(neighbours) - _NAMED} more windows or walls of neighbours.")
    roads = [spill for spill in placement.spills if spill.kind == "road"]
    if roads:
        light = sum(spill.light_lm for spill in roads)
        found.append(
            f"{_lumens(light)} fall on the road ({roads[0].name!r}): look from a driver's place whether it dazzles, "
            "and keep that area dark."
        )
    return found


def _lumens(light_lm: float) -> str:
    return f"{light_lm:.0f} lm" if light_lm >= 0.5 else f"{light_lm:.1g} lm"


def _data_sheet(placement: Placement, scene: Scene) -> list[str]:
    projector = placement.projector
    found = []
    if projector.light_measured in (None, "unknown", "centre"):
        found.append(
            "How its light was measured is not known (light_measured): a figure that was not measured over nine points "
            "(ISO 21118, ANSI) often promises more than there is. Measure nine points on the wall to be sure."
        )
    if projector.focus_range_m is not None and placement.main is not None:
        near, far = projector.focus_range_m
        if placement.main.far_m > far or placement.main.near_m < near:
            found.append(
                f"The wall is {_span(placement.main.near_m, placement.main.far_m, scene.units)} away along the lens "
                f"axis, outside of the focus range {_span(near, far, scene.units)}."
            )
    if projector.fan_clearance_m:
        free = show_length(projector.fan_clearance_m, scene.units)
        found.append(f"Keep {free} free before the projector's air openings, in a box too.")
    return found


def _span(near_m: float, far_m: float, units: Units) -> str:
    return f"{show_length(near_m, units)} to {show_length(far_m, units)}"
