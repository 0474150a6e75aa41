"""What is wrong in a house file is told in one line that names the key and what is allowed."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from limewash.errors import InputError
from limewash.project.models import House
from limewash.site.placement import check_rig
from limewash.site.scene import build_scene

Make = Callable[[dict[str, Any]], House]


def put(*path: str | int, value: Any) -> Callable[[dict[str, Any]], None]:
    """A mistake: one value of the house file."""

    def change(data: dict[str, Any]) -> None:
        for step in path[:-1]:
            data = data[step]  # type: ignore[index]
        data[path[-1]] = value  # type: ignore[index]

    return change


CROSSED = [[0, 0], [7, 0], [0, 4], [7, 4]]


@pytest.mark.parametrize(
    ("mistake", "said"),
    [
        (put("facade", "part", 0, "polygon", value=CROSSED), r"facade\.part\[1\]: polygon must be a simple polygon"),
        (put("facade", "part", 0, "polygon", value=CROSSED[:2]), r"facade\.part\[1\]\.polygon must have at least 3 "),
        (
            put("facade", "part", 0, "openings", value=[[70, 1, 1, 1]]),
            r"facade\.part\[1\]\.openings\[1\] must lie on 'wall' \(x from 0 to 7\.6 m, height from 0 to 7\.37 m",
        ),
        (put("facade", "part", 0, "openings", value=[[0, 0, 7.6, 9]]), r"facade\.part\[1\]\.openings\[1\] must lie on"),
        (put("facade", "part", 1, "openings", value=[[7.6, 0, 4.3, 2.75]]), r"facade\.part\[2\]\.openings must leave"),
        (
            put("rig", 0, "projector", "throw_range", value=[1.5, 1.1]),
            r"rig\[1\]\.projector: throw_range must be \[smallest, largest\], each from 0\.1 to 20 .*reversed",
        ),
        (
            put("facade", "part", 1, "reflectance", value=-0.5),
            r"facade\.part\[2\]\.reflectance must be more than 0 and at most 1 \(got -0\.5\)",
        ),
        (
            put("rig", 0, "stand", value={"x_m": 9, "height_m": 1, "distance_m": 1}),
            r"rig\[1\]\.stand\.distance_m must be more than 2 m and at most 1000 m, .*'garage' and not inside",
        ),
        (
            put("site", "ambient", value=None),
            r"site: site\.ambient is missing: add wall_lx \(0 to 1000.*street \(P1 to",
        ),
        (put("site", "ambient", value={}), r"site\.ambient: give either wall_lx \(0 to 1000.* or street \(P1 to P6"),
        (put("site", "ambient", "wall_lx", value=-1), r"site\.ambient\.wall_lx must be from 0 to 1000 lx \(got -1\)"),
    ],
)
def test_each_mistake_is_one_line_with_its_key(
    data: dict[str, Any], make: Make, mistake: Callable[[dict[str, Any]], None], said: str
) -> None:
    mistake(data)
    with pytest.raises(InputError) as caught:
        house = make(data)
        check_rig(build_scene(house), house.rig[0])
    message = str(caught.value)
    assert "\n" not in message
    assert re.search(said, message), message
