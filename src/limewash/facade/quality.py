"""What the transfer says about each path."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TransferQuality:
    """How well a path's transfer rests on the scan.

    Attributes
    ----------
    support : int
        Scan points that its planes rest on.
    residual_px : float
        Root mean square distance of those points from the planes. [projector px]
    extrapolated : float
        Share of its length with no such point within 20 photo px. [-]
    surfaces : int
        How many planes it was laid on.
    warnings : tuple of str
        What the person should look at.
    """

    support: int
    residual_px: float
    extrapolated: float
    surfaces: int
    warnings: tuple[str, ...] = ()
