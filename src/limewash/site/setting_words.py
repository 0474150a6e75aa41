"""How a rig is set, in words that card and report share."""

from __future__ import annotations

import math

from limewash.project.lengths import Units, show_length, show_small
from limewash.project.projector import Projector
from limewash.site.optics import Focus
from limewash.site.placement import Placement
from limewash.site.scene import Scene


def prop_words(placement: Placement, scene: Scene) -> str:
    """Lift under the feet, in words."""
    if placement.prop_m is None:
        return "foot spacing not known (rig.projector.feet)"
    if abs(placement.prop_m) < 0.0005:
        return "none: level"
    feet = "rear" if placement.prop_m > 0.0 else "front"
    return f"{show_small(abs(placement.prop_m), scene.units)} under both {feet} feet"


def sharp_words(focus: Focus, units: Units) -> str:
    """From where to where the picture is sharp."""
    far = f"to {show_length(focus.far_m, units)}" if math.isfinite(focus.far_m) else "on"
    return f"from {show_length(focus.near_m, units)} {far}"


def zoom_words(projector: Projector) -> str:
    """The throw ratio in use, and the zoom's range."""
    span, zoom = projector.throw_range, f"throw ratio {projector.throw_ratio:.2f}"
    return f"{zoom} (of {span[0]:g} to {span[1]:g})" if span else zoom


def shift_words(projector: Projector) -> str:
    """The lens shift in use."""
    across, up = projector.lens_shift
    return f"{across:+.0%} across, {up:+.0%} up, of the full picture"
