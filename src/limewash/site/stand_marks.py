"""Where the feet go: tapes from two fixed points of the house, and a diagonal to check them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.project.projector import Feet
from limewash.site.placement import Placement
from limewash.site.scene import Scene

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Anchor:
    """A fixed point of the house at the ground: its letter, what it is, and its place in plan. [m]"""

    letter: str
    what: str
    plan_m: Array


@dataclass(frozen=True)
class Foot:
    """A foot of the projector: its place in plan [m] and its distances along the ground from the anchors. [m]"""

    name: str
    plan_m: Array
    tapes_m: tuple[float, float]


@dataclass(frozen=True)
class Feetprint:
    """The four feet, and the two diagonals between front left and rear right, front right and rear left. [m]"""

    feet: tuple[Foot, ...]
    diagonals_m: tuple[float, float]


def anchors(scene: Scene) -> tuple[Anchor, Anchor]:
    """The lowest left and lowest right corner of the front: points that will be there next year."""
    corners = np.concatenate([part.world(shapely.get_coordinates(part.outline)) for part in scene.parts])
    low = corners[corners[:, 1] < corners[:, 1].min() + 0.3]
    left, right = low[low[:, 0].argmin()], low[low[:, 0].argmax()]
    return (
        Anchor("A", "foot of the left corner of the front", left[[0, 2]]),
        Anchor("B", "foot of the right corner of the front", right[[0, 2]]),
    )


def lens_plan(placement: Placement) -> Array:
    """The lens in plan. [m]"""
    stand = placement.stand
    return np.array([stand.x_m, stand.distance_m])


def feet_of(placement: Placement, scene: Scene, feet: Feet) -> Feetprint:
    """Where the four feet stand on their (level) support, from the lens and the way it looks.

    The lens sits `lens_ahead_m` in front of the front feet and `lens_aside_m` to the right of their middle;
    yaw turns all of it, and the tilt's shortening of the base is regarded.
    """
    yaw = math.radians(placement.stand.yaw_deg)
    tilt = math.radians(placement.stand.tilt_deg)
    forward, right = np.array([math.sin(yaw), -math.cos(yaw)]), np.array([math.cos(yaw), math.sin(yaw)])
    level = math.cos(tilt)
    # The lens stands above the feet's plane; tilted up it leans back over them.
    lean = feet.lens_above_m * math.sin(tilt)
    front = lens_plan(placement) - forward * (feet.lens_ahead_m * level - lean) - right * feet.lens_aside_m
    rear = front - forward * feet.front_to_rear_m * level
    half = right * feet.apart_m / 2.0
    places = (
        ("front left", front - half),
        ("front right", front + half),
        ("rear left", rear - half),
        ("rear right", rear + half),
    )
    a, b = anchors(scene)
    found = tuple(
        Foot(name, place, (float(np.linalg.norm(place - a.plan_m)), float(np.linalg.norm(place - b.plan_m))))
        for name, place in places
    )
    by_name = {foot.name: foot.plan_m for foot in found}
    diagonals = (
        float(np.linalg.norm(by_name["front left"] - by_name["rear right"])),
        float(np.linalg.norm(by_name["front right"] - by_name["rear left"])),
    )
    return Feetprint(found, diagonals)
