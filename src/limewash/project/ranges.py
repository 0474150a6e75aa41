"""Numbers with a lowest and a highest value, told whole when one is out of bounds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pydantic import AfterValidator, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema


@dataclass(frozen=True)
class Ranged(AfterValidator):
    """A check that also tells its bounds and unit to whoever makes a form from the model's JSON Schema."""

    low: float
    high: float
    unit: str
    above: bool

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        low = "exclusiveMinimum" if self.above else "minimum"
        return {**handler(core), low: self.low, "maximum": self.high, "unit": self.unit}


def ranged(low: float, high: float, unit: str = "", *, above: bool = False) -> Ranged:
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

    return Ranged(check, low, high, unit, above)
