"""What to buy, borrow and carry out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from limewash.project.lengths import show_length, show_small
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.services import Services
from limewash.site.shown import show_air, show_weight

_SLACK = 1.1
_CORDS_M = (5, 10, 15, 20, 25, 30, 40, 50)
_CORDS_FT = (15, 25, 50, 75, 100, 150)


@dataclass(frozen=True)
class PackedThing:
    """So many of something."""

    count: int
    what: str


def packing_list(placement: Placement, scene: Scene, services: Services) -> tuple[PackedThing, ...]:
    """Everything that goes outside with this rig, with quantities."""
    rig, projector = placement.rig, placement.projector
    name = projector.name or "projector"
    weight = f", {show_weight(projector.weight_kg, scene.units)}" if projector.weight_kg else ""
    things = [
        PackedThing(1, f"{name}{weight}, with its remote control and cord"),
        PackedThing(1, rig.player or "player, with the show on it and a spare copy"),
        PackedThing(1, f"video cable: {services.video.text}"),
        PackedThing(
            1, f"stand that holds the lens at {show_length(placement.stand.height_m, scene.units)}, with weights"
        ),
        PackedThing(2, "tape measures, for the two tapes that cross"),
        PackedThing(4, "marks for the feet (paint, pegs or glued discs)"),
        PackedThing(1, "spirit level or a phone that shows tilt"),
    ]
    if services.power is not None:
        things += _cords(services.power.cord_m, services.power.cord, scene, own=_has_own_cord(scene))
    if placement.prop_m is not None and abs(placement.prop_m) > 0.001:
        feet = "rear" if placement.prop_m > 0.0 else "front"
        things.append(
            PackedThing(
                2, f"props of {show_small(abs(placement.prop_m), scene.units)} for the {feet} feet, that cannot slip"
            )
        )
    if services.box is not None:
        air = f"{show_air(services.box.needed_m3_h, scene.units)} of air through it"
        things.append(PackedThing(1, f"box against rain, with {air}"))
    things.append(PackedThing(1, "this card, a pencil and a torch"))
    return tuple(things)


def _has_own_cord(scene: Scene) -> bool:
    return scene.site.power is not None and scene.site.power.cord_m is not None


def _cords(length_m: float, size: str, scene: Scene, *, own: bool) -> list[PackedThing]:
    need = length_m * _SLACK
    if own:
        told = show_length(length_m, scene.units)
    elif scene.units == "imperial":
        need_ft = need / 0.3048
        told = next((f"{cord} ft" for cord in _CORDS_FT if cord >= need_ft), f"{math.ceil(need_ft)} ft")
    else:
        told = next((f"{cord} m" for cord in _CORDS_M if cord >= need), f"{math.ceil(need)} m")
    return [
        PackedThing(1, f"outdoor extension cord, {told}, {size}, in one piece"),
        PackedThing(1, "portable residual current device (RCD, GFCI), unless the outlet has one"),
        PackedThing(1, "splash-proof cover for the plug joint"),
    ]
