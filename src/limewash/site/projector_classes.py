"""Generic projectors by type, to try before one is bought or borrowed.

The figures are of our own choosing, in the middle of what data sheets of such types say; they stand for no
product. Put the data sheet of the real one into `house.toml` before relying on a result.
"""

from __future__ import annotations

from limewash.errors import InputError, did_you_mean
from limewash.project.projector import Feet, Offset, Projector

_PANEL_M = 0.0144
_EDGE_110 = Offset(percent=110.0, of="edge")

PROJECTOR_CLASSES: dict[str, Projector] = {
    "pocket": Projector(
        name="pocket",
        size=(1280, 720),
        throw_ratio=1.2,
        offset=Offset(percent=100.0, of="edge"),
        light_lm=500.0,
        light_measured="unknown",
        contrast=800.0,
        weight_kg=1.0,
        feet=Feet(front_to_rear_m=0.12, apart_m=0.12),
        f_number=2.0,
        panel_width_m=0.0102,
        power_w=65.0,
        fan_clearance_m=0.15,
    ),
    "standard": Projector(
        name="standard",
        throw_ratio=1.3,
        throw_range=(1.15, 1.5),
        offset=_EDGE_110,
        light_lm=3500.0,
        light_measured="unknown",
        contrast=1500.0,
        weight_kg=3.0,
        feet=Feet(front_to_rear_m=0.20, apart_m=0.26),
        focus_range_m=(1.0, 12.0),
        f_number=2.4,
        panel_width_m=_PANEL_M,
        power_w=290.0,
        fan_clearance_m=0.3,
    ),
    "short throw": Projector(
        name="short throw",
        throw_ratio=0.5,
        offset=Offset(percent=115.0, of="edge"),
        light_lm=3500.0,
        light_measured="unknown",
        contrast=1500.0,
        weight_kg=3.2,
        feet=Feet(front_to_rear_m=0.20, apart_m=0.26),
        focus_range_m=(0.5, 4.0),
        f_number=2.6,
        panel_width_m=_PANEL_M,
        power_w=290.0,
        fan_clearance_m=0.3,
    ),
    "laser": Projector(
        name="laser",
        size=(1920, 1200),
        throw_ratio=1.4,
        throw_range=(1.3, 2.1),
        shift_range_x=(-0.2, 0.2),
        shift_range_y=(-0.1, 0.5),
        light_lm=5500.0,
        light_measured="ISO 21118",
        contrast=2000.0,
        weight_kg=9.0,
        feet=Feet(front_to_rear_m=0.28, apart_m=0.36),
        focus_range_m=(1.2, 15.0),
        f_number=2.0,
        panel_width_m=_PANEL_M,
        power_w=400.0,
        fan_clearance_m=0.5,
    ),
    "large laser": Projector(
        name="large laser",
        size=(1920, 1200),
        throw_ratio=1.2,
        throw_range=(0.95, 1.5),
        shift_range_x=(-0.3, 0.3),
        shift_range_y=(-0.3, 0.6),
        light_lm=12000.0,
        light_measured="ISO 21118",
        contrast=2500.0,
        weight_kg=22.0,
        feet=Feet(front_to_rear_m=0.38, apart_m=0.42),
        focus_range_m=(1.5, 25.0),
        f_number=2.0,
        panel_width_m=0.0216,
        power_w=900.0,
        fan_clearance_m=0.5,
    ),
}


def projector_class(name: str) -> Projector:
    """One of the generic projectors.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    if name not in PROJECTOR_CLASSES:
        raise InputError(
            f"site.search.projectors: unknown projector class {name!r}{did_you_mean(name, PROJECTOR_CLASSES)}"
        )
    return PROJECTOR_CLASSES[name]
