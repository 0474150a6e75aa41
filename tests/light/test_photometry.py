"""Photometric figures against unit definitions, published tables and pint."""

import math

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.light.materials import REFLECTANCES
from limewash.light.photometry import (
    BELOW_CLASSES,
    CINEMA_WHITE_CD_M2,
    FOOT_CANDLE_LX,
    FOOT_LAMBERT_CD_M2,
    contrast_class,
    contrast_ratio,
    illuminance_lx,
    nine_point_flux_lm,
    wall_luminance_cd_m2,
    white_needed_lx,
)


def test_foot_units_agree_with_their_definition_in_pint() -> None:
    # pint has neither foot-lambert nor foot-candle; from lumen, candela and the international foot.
    units = pint.UnitRegistry()
    foot_candle = (1 * units.lumen / units.foot**2).to("lux").magnitude
    foot_lambert = (1 / math.pi * units.candela / units.foot**2).to("candela / meter ** 2").magnitude
    assert foot_candle == pytest.approx(FOOT_CANDLE_LX, rel=1e-12)
    assert foot_lambert == pytest.approx(FOOT_LAMBERT_CD_M2, rel=1e-12)
    assert (1 * units.lambert).to("candela / meter ** 2").magnitude == pytest.approx(3183.0989, abs=1e-3)


def test_published_foot_units() -> None:
    # convertworld.com foot-lambert, sizes.com footcandle.
    assert pytest.approx(3.4262591, abs=1e-6) == FOOT_LAMBERT_CD_M2
    assert pytest.approx(10.763910, abs=1e-5) == FOOT_CANDLE_LX


@pytest.mark.parametrize(("reflectance", "luminance"), [(0.8, 84.883), (0.2, 21.221)])
def test_wall_luminance(reflectance: float, luminance: float) -> None:
    # L = E rho / pi, as a luminaire maker prints it; E = 3000 lm / 9 m2.
    assert wall_luminance_cd_m2(3000 / 9, reflectance=reflectance) == pytest.approx(luminance, abs=1e-3)


def test_luminance_in_foot_lamberts_is_foot_candles_times_reflectance() -> None:
    # 30.968 fc x 0.8 = 24.774 fL.
    lambert = float(wall_luminance_cd_m2(3000 / 9, reflectance=0.8)) / FOOT_LAMBERT_CD_M2
    assert lambert == pytest.approx(24.774, abs=1e-3)
    assert pytest.approx(30.968, abs=1e-3) == 3000 / 9 / FOOT_CANDLE_LX


def test_cinema_white() -> None:
    # SMPTE ST 431-1: 48 cd/m2, nominally 14 fL; lumens for it on 9 m2 of a perfect screen: 1357.17.
    assert pytest.approx(14.0, abs=0.01) == CINEMA_WHITE_CD_M2 / FOOT_LAMBERT_CD_M2
    needed = CINEMA_WHITE_CD_M2 * math.pi * 9.0
    assert needed == pytest.approx(1357.17, abs=0.01)
    assert wall_luminance_cd_m2(needed / 9.0, reflectance=1.0) == pytest.approx(48.0)
    # SMPTE 196M, the older 16 fL: 54.820 cd/m2.
    assert pytest.approx(54.820, rel=5e-3) == 16.0 * FOOT_LAMBERT_CD_M2


def test_nine_points() -> None:
    # The grid of ISO 11315-1: mean 336.667 lx on 9 m2 = 3030 lm, evenness 316/380.
    readings = [320, 340, 322, 350, 380, 348, 318, 336, 316]
    flux, evenness = nine_point_flux_lm(readings, 9.0)
    assert flux == pytest.approx(3030.0, abs=1e-6)
    assert evenness == pytest.approx(0.83158, abs=1e-5)
    with pytest.raises(InputError, match="nine"):
        nine_point_flux_lm(readings[:8], 9.0)


@pytest.mark.parametrize(
    ("ambient", "contrast", "name"),
    [
        (1.0, 250.75, "full motion video"),
        (5.0, 63.4375, "analytical decisions"),
        (10.0, 33.226, "basic decisions"),
        (50.0, 7.616, "passive viewing"),
    ],
)
def test_contrast_and_its_class(ambient: float, contrast: float, name: str) -> None:
    # (Ew + Ea) / (Eb + Ea), white 333.333 lx, native 1000:1; classes of ANSI/INFOCOMM 3M-2011 (80 from memory).
    found = float(contrast_ratio(1000 / 3, ambient_lx=ambient, native=1000.0))
    assert found == pytest.approx(contrast, abs=1e-3)
    assert contrast_class(found) == name


@pytest.mark.parametrize(
    ("ratio", "name"),
    [(6.999, BELOW_CLASSES), (7.0, "passive viewing"), (15.0, "basic decisions"), (50.0, "analytical decisions")],
)
def test_class_limits_belong_to_the_class_above(ratio: float, name: str) -> None:
    assert contrast_class(ratio) == name


@pytest.mark.parametrize(("contrast", "lux"), [(7.0, 30.0), (15.0, 70.0), (80.0, 395.0)])
def test_white_needed(contrast: float, lux: float) -> None:
    # Ew = Ea (CR - 1) for a perfect black, Ea 5 lx.
    assert white_needed_lx(contrast, ambient_lx=5.0, native=math.inf) == pytest.approx(lux)


def test_largest_picture_for_a_contrast() -> None:
    # 3000 lm at 15:1 under 5 lx: 42.857 m2, 8.7287 m wide at 16:9.
    area = 3000.0 / white_needed_lx(15.0, ambient_lx=5.0, native=math.inf)
    assert area == pytest.approx(42.857, abs=1e-3)
    assert math.sqrt(area * 16 / 9) == pytest.approx(8.7287, abs=1e-4)


@given(st.floats(1.5, 900.0), st.floats(0.01, 100.0))
def test_white_needed_gives_the_contrast(contrast: float, ambient: float) -> None:
    white = white_needed_lx(contrast, ambient_lx=ambient, native=1000.0)
    assert contrast_ratio(white, ambient_lx=ambient, native=1000.0) == pytest.approx(contrast, rel=1e-9)


def test_a_contrast_beyond_the_projectors_own_is_out_of_reach() -> None:
    assert white_needed_lx(1000.0, ambient_lx=1.0, native=1000.0) == math.inf


def test_inverse_square_and_cosine() -> None:
    # CIE law: 1000 cd at 2 m, 250 lx straight and 125 lx at 60 degrees; E = I cos3(a) / h2 at 30 degrees, h 3 m.
    assert illuminance_lx(1000.0, 2.0) == pytest.approx(250.0)
    assert illuminance_lx(1000.0, 2.0, incidence_rad=math.radians(60)) == pytest.approx(125.0)
    a = math.radians(30.0)
    assert illuminance_lx(1000.0, 3.0 / math.cos(a), incidence_rad=a) == pytest.approx(72.169, abs=1e-3)


@pytest.mark.parametrize("reflectance", [0.0, -0.2, 1.01, 80.0])
def test_an_impossible_reflectance_is_refused(reflectance: float) -> None:
    with pytest.raises(InputError, match="reflectance must be more than 0 and at most 1"):
        wall_luminance_cd_m2(100.0, reflectance=reflectance)


@pytest.mark.parametrize(
    ("name", "published"),
    [
        ("plaster", 0.8),  # a lamp maker's table
        ("light grey", 0.4),
        ("concrete", 0.3),
        ("red brick", 0.2),
        ("dark red", 0.1),
        ("black", 0.1),
        ("white paint", 0.9),  # a luminaire maker's facade table
        ("pastel paint", 0.6),
        ("light yellow brick", 0.6),
        ("light brown brick", 0.4),
        ("sandstone", 0.3),
        ("dark granite", 0.1),
    ],
)
def test_reflectances_agree_with_the_makers_tables(name: str, published: float) -> None:
    # The two tables differ by a tenth for white.
    assert REFLECTANCES[name] == pytest.approx(published, abs=0.1 + 1e-9)


def test_dark_walls_without_light_have_no_contrast() -> None:
    assert contrast_ratio(np.array([0.0]), ambient_lx=0.0, native=1000.0).tolist() == [1.0]
