"""Small sites to reckon with."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from typing import Any

import pytest

from limewash.project.models import House
from limewash.project.toml_models import validate

FRONT = """
format = 1
name = "Test house"

[facade]
width_m = 11.9
height_m = 7.4

[[facade.part]]
name = "wall"
polygon = [[0, 0], [7.6, 0], [7.6, 3.95], [3.8, 7.37], [0, 3.95]]
material = "pastel paint"
openings = [[0.7, 1.0, 1.15, 1.55], [5.75, 1.0, 1.15, 1.55]]

[[facade.part]]
name = "garage"
section = "garage"
rectangle = [7.6, 0, 4.3, 2.75]
forward_m = 2.0
reflectance = 0.5

[site.ambient]
wall_lx = 3.0

[[site.obstacle]]
name = "tree"
kind = "tree"
across_m = [2.0, 2.4]
height_m = [0, 5]
distance_m = [5.0, 5.4]

[[site.zone]]
name = "lawn"
kind = "lawn"
ground_m = [[0, 3], [12, 3], [12, 9], [0, 9]]

[[site.zone]]
name = "pavement"
kind = "pavement"
ground_m = [[-5, 9], [20, 9], [20, 11], [-5, 11]]

[[site.zone]]
name = "road"
kind = "road"
ground_m = [[-5, 11], [20, 11], [20, 16], [-5, 16]]

[[site.audience]]
name = "gate"
x_m = 4.0
distance_m = 10.0

[[site.neighbour]]
name = "their window"
rectangle = [12.5, 3.0, 1.0, 1.2]

[site.power]
outlet_x_m = 7.4
price_per_kwh = 0.30
currency = "EUR"

[site.box]
air_flow_m3_h = 40.0

[site.night]
air_c = [8, 7, 6, 5, 4, 3, 2, 2]
humidity_percent = [80, 84, 88, 90, 93, 95, 97, 98]

[[rig]]
name = "main"
player = "small computer"

[rig.projector]
name = "office projector"
throw_ratio = 1.3
lens_shift = [0.0, 0.31]
f_number = 2.4
panel_width_m = 0.0144
feet = { front_to_rear_m = 0.25 }
power_w = 290

[rig.stand]
x_m = 6.1
height_m = 1.25
distance_m = 14.6
tilt_deg = 1.2
yaw_deg = -0.8
"""


@pytest.fixture
def data() -> dict[str, Any]:
    """The text above as plain data, to be changed by a test."""
    return copy.deepcopy(tomllib.loads(FRONT))


@pytest.fixture
def make() -> Callable[[dict[str, Any]], House]:
    """Check plain data as a house file would be."""
    return lambda plain: validate(plain, House, where="house.toml")


@pytest.fixture
def house(data: dict[str, Any], make: Callable[[dict[str, Any]], House]) -> House:
    return make(data)
