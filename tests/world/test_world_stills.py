"""Pictures for people: exposure, shoulder, and the three stills."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from bare import small_world
from hypothesis import given
from hypothesis import strategies as st

from limewash.light.colour import encode_srgb
from limewash.media.images import read_image
from limewash.world.develop import develop, exposure_for
from limewash.world.stills import banded_picture, save_stills


@given(level=st.floats(0.001, 0.59))
def test_below_the_shoulder_a_grey_is_plain_srgb(level: float) -> None:
    picture = np.full((8, 8, 3), level * 50.0, np.float32)
    codes = develop(picture, exposure=1.0 / 50.0, glare=0.0)
    assert int(codes[0, 0, 0]) == pytest.approx(255.0 * float(encode_srgb(level)), abs=0.51)


def test_brighter_light_never_gets_darker() -> None:
    ramp = np.repeat(np.geomspace(0.01, 50.0, 500, dtype=np.float32)[None, :, None], 3, axis=2)
    codes = develop(ramp, exposure=1.0, glare=0.0).astype(int)
    assert (np.diff(codes[0, :, 0]) >= 0).all()
    assert codes[0, -1].tolist() == [255, 255, 255]


def test_exposure_puts_the_bright_parts_at_its_level() -> None:
    picture = np.full((10, 10, 3), 2.0, np.float32)
    picture[0, 0] = 1000.0  # one lamp does not darken the rest
    assert exposure_for(picture, share=0.9, level=0.8) == pytest.approx(0.4)


def test_glare_keeps_most_of_the_light_and_spreads_some() -> None:
    dark = np.zeros((64, 64, 3), np.float32)
    dark[30:34, 30:34] = 1.0
    plain, glaring = (develop(dark, exposure=1.0, glare=share).astype(int) for share in (0.0, 0.3))
    assert plain[20, 32, 0] == 0
    assert glaring[36, 32, 0] > 0
    assert glaring[32, 32, 0] < plain[32, 32, 0]


def test_the_stills_are_written_and_look_like_day_dusk_and_light(tmp_path: Path) -> None:
    heard: list[float] = []
    paths = save_stills(small_world("painted"), tmp_path / "stills", progress=lambda share, _: heard.append(share))
    day, dusk, lit = (read_image(path).astype(float) for path in paths)
    assert [path.name for path in paths] == ["day.png", "dusk.png", "lit.png"]
    assert day.shape == (216, 384, 3)
    assert day.mean() > 1.2 * dusk.mean() > 1.2 * lit.mean()
    sky = np.s_[2:20, 150:230]
    assert day[sky][..., 2].mean() > day[sky][..., 0].mean()  # blue by day
    door = np.s_[140:150, 118:130]
    assert dusk[door].mean() > dusk[sky].mean()  # the lit porch stands out at dusk
    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_the_banded_picture_is_light_within_range() -> None:
    picture = banded_picture((64, 36))
    assert picture.shape == (36, 64, 3)
    assert (picture.min() >= 0.0) and (picture.max() <= 1.0)
    assert picture[:, 0].tolist() == np.ones((36, 3)).tolist()  # a grid line at the edge
