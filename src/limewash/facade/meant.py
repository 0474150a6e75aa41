"""Which of several edges near a drawn line was meant.

A person clicks near the edge that they mean, with a spread that is known; several clicks on one edge average. Boards
around a window, a board and its shadow give edges side by side, and the strongest of them need not be the one that
was meant. So each is weighed by how likely the clicks would be if it were, and by how clearly it runs along the whole
line; and against there being none, for what is drawn where the photo shows no edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

from limewash.facade.edge_fit import EdgeFit, distance_px, fit_edge
from limewash.facade.profiles import STEP_PX, Profiles, beside, best_curve, slope_along, strength
from limewash.facade.thin_lines import parted
from limewash.geometry.path import Line, Segment

Array = NDArray[np.float64]

LOOK = 3.5
"""How far to look to either side, in spreads of a click."""
MOST_EDGES = 8
LEAST_SURE = 8.0
"""Standard errors by which an edge must differ from none. [-]"""
NO_EDGE = 0.03
"""How likely it is that no edge was meant, against one that cannot be overlooked. [-]"""
_CLEAR_STEP = 0.4
"""Change of the logarithm of the light at which an edge catches half as much attention as any can. [-]"""
_FAINT = 0.02
_BANDS_PX = ((-0.75, -4.0), (0.75, 4.0))
"""Where the light to an edge's left and right is taken, from the edge. [px]"""
_APART_PX = 1.0
_DARKEST = np.float32(0.01)
"""Light below which differences are not seen. [-]"""
_WEAKEST = 0.3
"""An edge must gather so much of what the best gathers. [-]"""
_HIDDEN_ALIKE = 4.0
"""How fast an edge that is seen along less of the line than one beside it loses belief: a power of that ratio. [-]"""
_LINE_CLICKS, _CURVE_CLICKS = 2.0, 3.0
"""How many clicks fix a line, an arc or a curve."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """An edge that may have been meant; `fit` is None for staying as drawn.

    Attributes
    ----------
    fit : EdgeFit or None
    weight : float
        Logarithm of its likelihood, up to a constant that all candidates of a segment share. [-]
    rises : bool
        Whether it gets lighter along the normal, to the segment's right as one walks along it on the picture.
    beside : ndarray of shape (2, 3) or None
        Logarithm of the light R, G, B to its left and to its right; None for staying as drawn.
    """

    fit: EdgeFit | None
    weight: float
    rises: bool = False
    beside: Array | None = None


def candidates(segment: Segment, profiles: Profiles, hand_px: float) -> list[Candidate]:
    """The edges near a segment that may have been meant, and staying as drawn, which is always the last.

    Parameters
    ----------
    segment : Segment
        As drawn. [px]
    profiles : Profiles
        Across it, at least `LOOK` spreads to either side.
    hand_px : float
        Spread of a click along x and y. [px]
    """
    score = strength(profiles)
    guesses = _lines(score, profiles) if isinstance(segment, Line) else _curves(score, profiles, hand_px)
    fits: list[EdgeFit] = []
    for guess in guesses:
        fit = fit_edge(segment, profiles, guess)
        if fit is not None and fit.clear and not any(_same(fit, other) for other in fits):
            fits.append(fit)
    fits = parted(fits, profiles)
    clicks = _LINE_CLICKS if isinstance(segment, Line) else _CURVE_CLICKS
    most_seen = max((fit.support for fit in fits), default=1.0)
    edges = []
    for fit in fits:
        lights = np.stack([beside(profiles, fit.offset_px, *band) for band in _BANDS_PX])
        weight = math.log(_salience(fit, lights)) - 0.5 * clicks * _mean_square(fit, hand_px)
        # What stands before one of them stands before the others too.
        weight += _HIDDEN_ALIKE * math.log(fit.support / most_seen)
        edges.append(Candidate(fit, weight, float(slope_along(profiles, fit.offset_px).sum()) > 0.0, lights))
    # Anywhere within reach, where the clicks would be as likely as about the meant edge they are normally spread.
    spread = math.log(math.sqrt(2.0 * math.pi) / (2.0 * LOOK))
    return [*edges, Candidate(None, math.log(NO_EDGE) + clicks * spread)]


def _salience(fit: EdgeFit, lights: Array) -> float:
    """How much an edge catches the eye, up to 1: along how much of the line it runs, how the light differs across it.

    It grows slowly, so that the strongest edge far from the clicks does not win over a plain one close to them.
    """
    step = max(float(np.linalg.norm(lights[1] - lights[0])), fit.line_step)
    return float(fit.support**1.5) * (step / (step + _CLEAR_STEP) + _FAINT)


def _mean_square(fit: EdgeFit, hand_px: float) -> float:
    ends = fit.offset_px[[0, -1]] if isinstance(fit.segment, Line) else fit.offset_px
    return float(np.mean(ends**2)) / hand_px**2


def _same(a: EdgeFit, b: EdgeFit) -> bool:
    return distance_px(a, b) < 0.5 * _APART_PX


def _lines(score: Array, profiles: Profiles) -> list[Array]:
    """Offsets (N,) of straight lines with more of an edge than all lines beside them, the clearest first.

    More of an edge is either a change of colour that is the same all along, against its own spread, or a strong
    change in each profile by itself, as where a post stands before light and dark things.
    """
    share, offsets = profiles.share, profiles.offsets
    coarse = offsets[::2]
    first, last = np.meshgrid(coarse, coarse, indexing="ij")
    at = first[..., None] * (1.0 - share) + last[..., None] * share
    column = np.round((at - offsets[0]) / STEP_PX).astype(np.intp)
    rows = np.arange(len(share))
    sure = _sureness(profiles.slope[rows, column])
    seen = _sureness((profiles.slope / (profiles.light + _DARKEST))[rows, column])
    gathered = score[rows, column].mean(axis=-1)
    level = np.abs(first - last) < 0.75 * (offsets[-1] - offsets[0])
    found: dict[tuple[int, int], None] = {}  # the same line may stand out in several ways: it is tried once
    for value, least in ((sure, LEAST_SURE), (seen, LEAST_SURE), (gathered, _WEAKEST * float(gathered.max()))):
        apart = 2 * round(_APART_PX / (2.0 * STEP_PX)) + 1
        i, j = np.nonzero((value == maximum_filter(value, size=apart)) & (value >= least) & level)
        best = np.argsort(-value[i, j])[:MOST_EDGES]
        found.update(dict.fromkeys(zip(i[best].tolist(), j[best].tolist(), strict=True)))
    return [at[place] for place in found]


def _sureness(slope: NDArray[np.float32]) -> Array:
    """Mean change of colour along lines, slopes (..., N, 3), by its own standard error. [-]"""
    mean = slope.mean(axis=-2)
    size = np.sqrt((mean**2).sum(axis=-1))
    direction = mean / np.maximum(size, 1e-12)[..., None]
    along = np.einsum("...nc,...c->...n", slope, direction)
    independent = max(slope.shape[-2] / 3.0, 1.0)  # the blur ties neighbours together
    return np.asarray(size / (along.std(axis=-1) / np.sqrt(independent) + 1e-4), dtype=np.float64)


def _curves(score: Array, profiles: Profiles, hand_px: float) -> list[Array]:
    """Offsets (N,) of smooth curves through a score (N, D), one near each of some distances from the drawn one."""
    levels = np.arange(-LOOK, LOOK + 0.1, 0.5) * hand_px
    return [best_curve(score, profiles.offsets, level, prior_px=0.5 * hand_px) for level in levels]
