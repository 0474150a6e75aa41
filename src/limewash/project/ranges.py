"""Numbers with a lowest and a highest value, told whole when one is out of bounds."""

from __future__ import annotations

import math

from pydantic import AfterValidator


def ranged(low: float, high: float, unit: str = "", *, above: bool = False) -> AfterValidator:
    """A check for `Annotated[float, ranged(...)]`.

    Parameters
    ----------
    low, high : float
        Lowest and highest value; both allowed, unless `above` shuts out the lowest itself.
    unit : str
        Said behind the numbers.
    above : bool
        The value must be more than `low`.
    """
    words = f"more than {low:g} and at most {high:g}" if above else f"from {low:g} to {high:g}"
    tail = f" {unit}" if unit else ""

    def check(value: float) -> float:
        inside = math.isfinite(value) and (low < value if above else low <= value) and value <= high
        if not inside:
            raise ValueError(f"must be {words}{tail} (got {value:g})")
        return value

    return AfterValidator(check)
