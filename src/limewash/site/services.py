"""Power, cable, box and dew for one rig at one stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from limewash.site.enclosure import BoxPlan, DewHour, dew_through_the_night, plan_box
from limewash.site.placement import Placement
from limewash.site.power import PowerPlan, plan_power
from limewash.site.scene import Scene
from limewash.site.search import cable_lengths_m
from limewash.site.shown import show_warmth
from limewash.site.video_cable import CableAdvice, video_cable

USUAL_POWER_W = 300.0
"""Taken where the data sheet's power is not given, and said so. [W]"""

_USUAL_CABLE_M = 2.0
_USUAL_EVENING_C = 10.0


@dataclass(frozen=True)
class Services:
    """What keeps the rig running; None where `house.toml` says nothing about it."""

    power: PowerPlan | None
    video: CableAdvice
    box: BoxPlan | None
    dew: tuple[DewHour, ...]
    assumed: tuple[str, ...]


def services_of(placement: Placement, scene: Scene) -> Services:
    """Reckon power, video cable, box and condensation."""
    site, projector, rig = scene.site, placement.projector, placement.rig
    assumed = []
    watts = projector.power_w
    if watts is None:
        watts = USUAL_POWER_W
        assumed.append(f"power_w of the projector is not given: {USUAL_POWER_W:g} W taken")
    stand = placement.stand
    cord = float(cable_lengths_m(scene, np.array([[stand.x_m, stand.height_m, stand.distance_m]]))[0])
    power = (
        plan_power(site.power, projector_w=watts, cord_m=cord, units=scene.units) if site.power is not None else None
    )
    size, rate = rig.player_size or projector.size, rig.player_rate_hz or 60.0
    video = video_cable(size, rate, rig.video_cable_m or _USUAL_CABLE_M, scene.units)
    air = max(site.night.air_c) if site.night is not None else _USUAL_EVENING_C
    if site.box is not None and site.night is None:
        assumed.append(
            f"site.night is not given: an evening of {show_warmth(_USUAL_EVENING_C, scene.units)} taken for the box"
        )
    box = plan_box(site.box, heat_w=watts, air_c=air, units=scene.units) if site.box is not None else None
    dew = dew_through_the_night(site.night) if site.night is not None else ()
    return Services(power, video, box, dew, tuple(assumed))
