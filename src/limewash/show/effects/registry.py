"""How an effect is declared, and the list of all of them."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.show.effects.patch import Draws, Flat, Part, Sheet

Grid = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Light:
    """What an effect gives for each pixel of its patch, or of a part of it.

    Attributes
    ----------
    amount : ndarray of float32 and shape (n,)
        Light, 0 to 1.
    tone : ndarray of float32 and shape (n,), optional
        Place in the cue's row of colours, 0 (first; also when left out) to 1 (last).
    part : Part, optional
        The pixels, where they are not all of the patch.
    """

    amount: Flat
    tone: Flat | None = None
    part: Part | None = None


@dataclass(frozen=True, eq=False)
class SheetLight:
    """Light that changes smoothly over the wall: given on a sheet, and lifted while it is laid.

    Attributes
    ----------
    sheet : Sheet
        Of the effect's patch.
    amount, tone : ndarray of shape (ny, nx)
        As in `Light`.
    cover : ndarray of float32 and shape (n,), optional
        What of each pixel is lit, in place of the patch's cover.
    """

    sheet: Sheet
    amount: Grid
    tone: Grid
    cover: Flat | None = None


@dataclass(frozen=True, eq=False)
class CurveLight:
    """Light that depends on one number per pixel: given as curves over it, and read while it is laid.

    Attributes
    ----------
    at : ndarray of float32 and shape (n,)
        That number, 0 to 1; beyond both, the curves' ends go on.
    amount, tone : ndarray of shape (k,)
        Even samples of the curves over 0 to 1, as in `Light`.
    part : Part, optional
        As in `Light`.
    cover : ndarray of float32 and shape (n,), optional
        What of each pixel is lit, in place of the patch's or part's cover.
    """

    at: Flat
    amount: Grid
    tone: Grid
    part: Part | None = None
    cover: Flat | None = None


AnyLight = Light | SheetLight | CurveLight


@dataclass(frozen=True)
class Moment:
    """A moment of a cue.

    Attributes
    ----------
    t_s : float
        Time since the cue's start. [s]
    length_s : float
        How long the cue lasts. [s]
    beats : float
        Beats of the music since the cue's start. [-]
    seed : int
        The cue's own, for `chance`.
    """

    t_s: float
    length_s: float
    beats: float
    seed: int

    @property
    def share(self) -> float:
        """Share of the cue that is over, 0 to 1."""
        return min(max(self.t_s / self.length_s, 0.0), 1.0)


@dataclass(frozen=True)
class Param:
    """A number that a score may set."""

    default: float
    lo: float
    hi: float
    unit: str
    help: str


Draw = Callable[..., AnyLight | list[AnyLight]]
"""The function behind an effect, ``draw(patch, now, **how)``: pure, with no clock or random state of its own."""


@dataclass(frozen=True)
class Effect:
    """One effect, as the score, the studio and the reference know it."""

    name: str
    title: str
    summary: str
    draws: Draws
    colours: tuple[str, ...]
    params: Mapping[str, Param]
    draw: Draw
    reach_m: Callable[[Mapping[str, float]], float]

    def settings(self, given: Mapping[str, float]) -> dict[str, float]:
        """All parameters: those given, and the defaults of the rest."""
        return {name: float(given.get(name, param.default)) for name, param in self.params.items()}


EFFECTS: dict[str, Effect] = {}


def effect(
    *,
    title: str,
    draws: Draws,
    colours: tuple[str, ...],
    reach_m: Callable[[Mapping[str, float]], float] = lambda _how: 0.0,
    **params: Param,
) -> Callable[[Draw], Draw]:
    """Put a function into `EFFECTS` under its own name, with hyphens.

    Parameters
    ----------
    title : str
        For people.
    draws : Draws
        Where it puts light.
    colours : tuple of str
        Used where the score names none.
    reach_m : callable
        Farthest that the light gets from edges or outlines, from the parameters. [m]
    **params : Param
        Its keyword arguments.
    """

    def register(function: Draw) -> Draw:
        name = str(getattr(function, "__name__", "")).replace("_", "-")
        signature = inspect.signature(function)
        declared = [p.name for p in signature.parameters.values() if p.kind is p.KEYWORD_ONLY]
        if name in EFFECTS:
            raise TypeError(f"two effects are called {name!r}")
        if sorted(declared) != sorted(params):
            raise TypeError(f"effect {name!r} takes {declared} but declares {list(params)}")
        if not function.__doc__:
            raise TypeError(f"effect {name!r} has no docstring")
        summary = inspect.cleandoc(function.__doc__).split("\n\n", maxsplit=1)[0].replace("\n", " ")
        EFFECTS[name] = Effect(name, title, summary, draws, colours, params, function, reach_m)
        return function

    return register
