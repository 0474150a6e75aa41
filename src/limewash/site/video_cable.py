"""How long a video cable may be."""

from __future__ import annotations

from dataclasses import dataclass

from limewash.project.lengths import FOOT_M, Units, show_length

_PIXEL_CLOCK_HZ = {
    (1280, 720, 60): 74.25e6, (1280, 720, 50): 74.25e6,
    (1920, 1080, 24): 74.25e6, (1920, 1080, 25): 74.25e6, (1920, 1080, 30): 74.25e6,
    (1920, 1080, 50): 148.5e6, (1920, 1080, 60): 148.5e6,
    (3840, 2160, 24): 297e6, (3840, 2160, 25): 297e6, (3840, 2160, 30): 297e6,
    (3840, 2160, 50): 594e6, (3840, 2160, 60): 594e6,
}  # fmt: skip
"""Of the usual picture formats, CTA-861 (values from memory). [Hz]"""

_BLANKING = 1.25
"""Pixels sent for a pixel shown, where the format is not in the table."""

_PASSIVE_M = ((148.5e6, 10.0), (297e6, 5.0), (600e6, 3.0))
"""Pixel clock up to which a plain copper cable of that length may be expected to work.

The interface's standard sets no length; a maker's table gives 10 to 15 m for 1080p, 5 m for 2160p up to 30 Hz
and 3 m for 2160p up to 60 Hz [1]_. We take its cautious side.

.. [1] table of cable lengths in a signal extender's manual, 88.208.23.73:8080/en/manual/cyp/ch-2540rx/2705434?page=59
"""


@dataclass(frozen=True)
class CableAdvice:
    """Bit rate of a picture format over three data pairs [bit/s], longest plain copper cable [m], and what to use."""

    bit_rate: float
    passive_m: float
    text: str


def video_cable(size: tuple[int, int], rate_hz: float, length_m: float, units: Units = "metric") -> CableAdvice:
    """What a picture of `size` at `rate_hz` asks of an HDMI cable of `length_m`."""
    clock = pixel_clock_hz(size, rate_hz)
    passive = next((length for limit, length in _PASSIVE_M if clock <= limit * 1.001), 2.0)
    length, limit = show_length(length_m, units), _about(passive, units)
    if length_m <= passive:
        text = f"plain copper cable, {length} (up to about {limit} for this format)"
    else:
        text = (
            f"{length} is beyond about {limit} of plain copper for this format: use an active or optical "
            "cable (mind its direction), or put the player beside the projector"
        )
    return CableAdvice(clock * 30.0, passive, text)


def _about(length_m: float, units: Units) -> str:
    return f"{length_m / FOOT_M:.0f} ft" if units == "imperial" else f"{length_m:g} m"


def pixel_clock_hz(size: tuple[int, int], rate_hz: float) -> float:
    """Of a picture format; reckoned with a quarter of blanking where it is not a usual one. [Hz]"""
    known = _PIXEL_CLOCK_HZ.get((*size, round(rate_hz)))
    return known if known is not None else size[0] * size[1] * rate_hz * _BLANKING
