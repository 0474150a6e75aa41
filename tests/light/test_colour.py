"""Transfer curves against the standards' printed values and colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limewash.light.colour import (
    LUMA_BT709,
    decode_bt709,
    decode_bt1886,
    decode_srgb,
    encode_bt709,
    encode_bt1886,
    encode_srgb,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses matplotlib, which only its plots need
    import colour

LEVELS = np.linspace(0.0, 1.0, 1001)
UNIT = st.floats(0.0, 1.0)


# Check-values 7.1: Rec. ITU-R BT.709.
@pytest.mark.parametrize(
    ("linear", "signal"),
    [(0.01, 0.045), (0.018, 0.0812), (0.1, 0.290940), (0.18, 0.409008), (0.5, 0.705515), (1.0, 1.0)],
)
def test_bt709_transfer_has_the_printed_values(linear: float, signal: float) -> None:
    assert float(encode_bt709(linear)) == pytest.approx(signal, abs=5e-5 if linear == 0.018 else 1e-5)


def test_bt709_transfer_agrees_with_colour_science() -> None:
    assert encode_bt709(LEVELS) == pytest.approx(colour.models.oetf_BT709(LEVELS), abs=1e-9)
    # Its inverse takes the join at 0.0813, a hair elsewhere than 4.5 x 0.018 = 0.081.
    signals = LEVELS[(LEVELS < 0.0809) | (LEVELS > 0.0814)]
    assert decode_bt709(signals) == pytest.approx(colour.models.oetf_inverse_BT709(signals), abs=1e-9)


def test_bt709_join_is_below_a_code() -> None:
    # Check-values 7.2: both sides of an exact join are at 0.0812428583; the printed constants miss by 2e-4.
    below, above = encode_bt709([0.018 - 1e-12, 0.018 + 1e-12])
    assert abs(above - below) < 3e-4 < 1 / 1023
    assert (below + above) / 2 == pytest.approx(0.0812, abs=2e-4)


# Check-values 7.3: Rec. ITU-R BT.709.
def test_luma_weights_are_those_of_bt709() -> None:
    assert LUMA_BT709 == (0.2126, 0.7152, 0.0722)
    assert sum(LUMA_BT709) == pytest.approx(1.0, abs=1e-12)
    assert pytest.approx(colour.WEIGHTS_YCBCR["ITU-R BT.709"][0]) == LUMA_BT709[0]
    assert pytest.approx(colour.WEIGHTS_YCBCR["ITU-R BT.709"][1]) == LUMA_BT709[2]


# Check-values 7.7: the Y row of BT.709 to XYZ.
def test_luma_weights_are_the_luminance_of_the_primaries() -> None:
    row = colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ[1]
    assert pytest.approx(row, abs=5e-5) == LUMA_BT709


# Check-values 7.8: IEC 61966-2-1.
def test_srgb_has_the_printed_values() -> None:
    assert float(decode_srgb(128 / 255)) == pytest.approx(0.215861, abs=1e-6)
    assert float(decode_srgb(0.5)) == pytest.approx(0.214041, abs=1e-6)
    assert round(float(encode_srgb(0.18)) * 255) == 118
    assert round(float(encode_srgb(0.5)) * 255) == 188


def test_srgb_agrees_with_colour_science() -> None:
    assert encode_srgb(LEVELS) == pytest.approx(colour.models.eotf_inverse_sRGB(LEVELS), abs=1e-9)
    assert decode_srgb(LEVELS) == pytest.approx(colour.models.eotf_sRGB(LEVELS), abs=1e-6)


# Check-values 7.9: Rec. ITU-R BT.1886 with zero black.
def test_bt1886_has_the_printed_value() -> None:
    assert float(decode_bt1886(0.5)) == pytest.approx(0.189465, abs=1e-6)


def test_bt1886_agrees_with_colour_science() -> None:
    assert decode_bt1886(LEVELS) == pytest.approx(colour.models.eotf_BT1886(LEVELS), abs=1e-9)
    assert encode_bt1886(LEVELS) == pytest.approx(colour.models.eotf_inverse_BT1886(LEVELS), abs=1e-9)


@given(UNIT)
def test_decoding_undoes_encoding(linear: float) -> None:
    assert float(decode_srgb(encode_srgb(linear))) == pytest.approx(linear, abs=1e-5)
    assert float(decode_bt1886(encode_bt1886(linear))) == pytest.approx(linear, abs=1e-12)
    # Between 0.018 and 0.01805 the two branches of BT.709's printed curve overlap.
    assert float(decode_bt709(encode_bt709(linear))) == pytest.approx(linear, abs=6e-5)


@given(st.floats(-10.0, 10.0))
def test_what_lies_outside_is_clipped(value: float) -> None:
    for curve in (encode_bt709, decode_bt709, encode_bt1886, decode_bt1886, encode_srgb, decode_srgb):
        assert float(curve(value)) == pytest.approx(float(curve(min(max(value, 0.0), 1.0))))
        assert 0.0 <= float(curve(value)) <= 1.0
