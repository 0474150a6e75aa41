"""Small scenes whose light can be reckoned by hand."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from limewash.light.colour import decode_srgb
from limewash.world.model import EVERY_HOUSE_HAS, House
from limewash.world.virtual import VirtualHouse, load_world

GREY = "#b4b4b4"
REFLECTANCE = float(decode_srgb(0xB4 / 255))
ROOF = {"gable": "side", "pitch_deg": 20.0, "overhang_m": 0.0, "rake_m": 0.0, "covering": "grey", "fascia": "grey"}
WALL: dict[str, Any] = {
    "id": "wall", "title": "Wall", "x_m": (0.0, 20.0), "front_z_m": 0.0, "depth_m": 4.0,
    "eaves_y_m": 12.0, "wall": "grey", "roof": ROOF,
}  # fmt: skip
BOX: dict[str, Any] = {
    **WALL, "id": "box", "title": "Box", "x_m": (8.0, 10.0), "front_z_m": 1.5, "depth_m": 1.5, "eaves_y_m": 4.0,
}  # fmt: skip


def bare_house(*blocks: dict[str, Any], **changes: Any) -> House:
    """A grey wall 20 m wide and 12 m high, or other blocks, with a projector 6 m off and nothing else."""
    materials = {name: {"colour": GREY} for name in (*EVERY_HOUSE_HAS, "grey", "plinth", "shingle")}
    data: dict[str, Any] = {
        "name": "bare",
        "title": "Bare wall",
        "materials": {**materials, "glass": {"kind": "glass", "colour": "#000000"}},
        "blocks": blocks or (WALL,),
        "sky": {"night_lx": 0.0},
        "projector": {"lumens": 3000.0, "contrast": 1e9, "throw_ratio": 1.5, "place_m": (10.0, 6.0, 6.0)},
        "camera": {"focal_per_width": 1.0, "place_m": (10.0, 6.0, 6.0)},
    }
    return House.model_validate({**data, **changes})


def bare_world(*blocks: dict[str, Any], size: tuple[int, int] = (192, 108), **changes: Any) -> VirtualHouse:
    return VirtualHouse(bare_house(*blocks, **changes), camera_size=size, projector_size=(192, 108))


@cache
def small_world(name: str) -> VirtualHouse:
    """A house of ours at a size for quick tests; made once."""
    return load_world(name, camera_size=(384, 216), projector_size=(384, 216))


def luminance(picture: np.ndarray) -> np.ndarray:
    return np.asarray(picture, dtype=np.float64) @ np.array([0.2126, 0.7152, 0.0722])
