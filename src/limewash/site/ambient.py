"""The light on the wall that is not the projector's."""

from __future__ import annotations

from limewash.project.site_models import Ambient

STREET_LX = {
    "none": 0.0,
    "P1": 15.0, "P2": 10.0, "P3": 7.5, "P4": 5.0, "P5": 3.0, "P6": 2.0,
    "C0": 50.0, "C1": 30.0, "C2": 20.0, "C3": 15.0, "C4": 10.0, "C5": 7.5,
}  # fmt: skip
"""Mean horizontal illuminance of the lighting classes of EN 13201-2:2015, as a maker of lamps prints them [1]_. [lx]

.. [1] performanceinlighting.com/fr/de/en-13201-2-2015
"""

FULL_MOON_LX = 0.1
"""Upper end of a typical full moon (0.05 to 0.1 lx; 0.32 lx at the extreme), Kyba 2017 as quoted. [lx]"""


def ambient_on_wall_lx(ambient: Ambient) -> float:
    """Illuminance on the wall without the projector.

    What was measured is taken as it is. A street class counts light on the flat road; a wall gets less, so
    that it is an upper estimate, and the picture will look no worse than reckoned.
    """
    if ambient.wall_lx is not None:
        return ambient.wall_lx
    moon = FULL_MOON_LX if ambient.moon == "full" else 0.0
    return STREET_LX[str(ambient.street)] + moon
