"""Video cables: bit rates by arithmetic, lengths on the cautious side of a published table."""

import pytest

from limewash.site.video_cable import pixel_clock_hz, video_cable


@pytest.mark.parametrize(
    ("size", "rate", "gigabit"),
    [((1920, 1080), 60.0, 4.455), ((3840, 2160), 30.0, 8.91), ((3840, 2160), 60.0, 17.82), ((1280, 720), 60.0, 2.2275)],
)
def test_bit_rate_is_thirty_bits_a_clock(size: tuple[int, int], rate: float, gigabit: float) -> None:
    # Pixel clocks of CTA-861 (from memory): 148.5, 297, 594 and 74.25 MHz, ten bits on each of three pairs.
    assert video_cable(size, rate, 2.0).bit_rate / 1e9 == pytest.approx(gigabit)


@pytest.mark.parametrize(
    ("size", "rate", "table_m"), [((1920, 1080), 60.0, 15.0), ((3840, 2160), 30.0, 5.0), ((3840, 2160), 60.0, 3.0)]
)
def test_no_plain_cable_longer_than_a_makers_table(size: tuple[int, int], rate: float, table_m: float) -> None:
    # Table of a signal extender's manual (88.208.23.73:8080/en/manual/cyp/ch-2540rx/2705434?page=59).
    assert 0.0 < video_cable(size, rate, 1.0).passive_m <= table_m


def test_a_long_run_is_told_to_be_active_or_optical() -> None:
    assert "active or optical" in video_cable((1920, 1080), 60.0, 15.0).text
    assert "plain copper" in video_cable((1920, 1080), 60.0, 2.0).text


def test_an_unusual_format_lies_between_its_neighbours() -> None:
    assert pixel_clock_hz((1920, 1080), 60) < pixel_clock_hz((1920, 1200), 60) < pixel_clock_hz((3840, 2160), 30)
