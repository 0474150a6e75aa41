"""Robust fit of one plane's map from photo to projector: a homography, and a slight bend where the data ask for it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limewash.geometry.homography import apply_homography

Array = NDArray[np.float64]

HYPOTHESES = 72
SCORED, FOUND, FITTED = 400, 1200, 3000
"""How many samples are used at most for scoring guesses, for finding a plane, and for its last fit: more tell nothing
new."""

CUT = 3.2
"""Residuals beyond so many times the noise do not count: they belong to another surface. [-]"""

GROWTHS = 4

BEND_PRIOR_PX, BEND_HALF_PX = 0.3, 500.0
"""How far a plane's map may be expected to stray from a homography at the rim of its samples [projector px], if the rim
is so far from their middle; less for smaller planes, with the square of their size. [projector px]"""


TIED = 25.0
"""Neighbouring samples err together (blur, decoding): so many count as one against the prior. [-]"""


@dataclass(frozen=True)
class Frame:
    """Shift and scale that bring points to about -1 to 1."""

    centre: Array
    scale: float

    @classmethod
    def around(cls, points: Array) -> Frame:
        low, high = points.min(axis=0), points.max(axis=0)
        return cls((low + high) / 2.0, max(float((high - low).max()) / 2.0, 1e-9))

    def into(self, points: Array) -> Array:
        return (points - self.centre) / self.scale

    def matrix(self) -> Array:
        return np.array(
            [
                [1.0 / self.scale, 0.0, -self.centre[0] / self.scale],
                [0.0, 1.0 / self.scale, -self.centre[1] / self.scale],
                [0.0, 0.0, 1.0],
            ]
        )


@dataclass(frozen=True, eq=False)
class PlaneFit:
    """The map of one plane.

    Attributes
    ----------
    matrix : ndarray of shape (3, 3)
        Homography from straightened photo px to projector px.
    bend : ndarray of shape (3, 2)
        Coefficients of x^2, xy, y^2 in `frame`, added to the homography's result. [px]
    frame : Frame
        Where the samples were.
    noise_px : float
        Spread of one coordinate's residuals. [px]
    reach_px : float
        A sample with a larger residual does not lie on this plane. [px]
    fixed : bool
        True if the plane is known better than a few samples could tell.
    """

    matrix: Array
    bend: Array
    frame: Frame
    noise_px: float
    reach_px: float
    fixed: bool = False

    def map(self, points: Array) -> Array:
        """Projector px for straightened photo points (N, 2)."""
        mapped = apply_homography(self.matrix, points)
        return mapped + _bend_terms(self.frame.into(points)) @ self.bend if self.bend.any() else mapped

    def residual(self, source: Array, target: Array) -> Array:
        """Distance between mapped `source` and `target`, shape (N,). [px]"""
        gap = self.map(source) - target
        return np.asarray(np.hypot(gap[:, 0], gap[:, 1]))


def fit_plane(
    source: Array,
    target: Array,
    weight: Array,
    *,
    noise_px: float,
    rng: np.random.Generator,
    guesses: int = HYPOTHESES,
    shortest: float = 0.15,
) -> PlaneFit | None:
    """The plane on which most of the weight lies.

    Parameters
    ----------
    source, target : ndarray of shape (N, 2)
        Straightened photo px and projector px. Their order is taken as the order along the path: guesses are
        drawn from stretches of it, since a path may cross several planes.
    weight : ndarray of shape (N,)
    noise_px : float
        Expected noise of one projector coordinate. [px]
    rng : numpy Generator
    guesses : int
        How many guesses are tried.
    shortest : float
        Shortest stretch from which a guess is drawn, as a share of all samples. [-]

    Returns
    -------
    fit : PlaneFit or None
        None if there are too few samples, or they do not fix a plane.
    """
    if len(source) < 12:
        return None
    reach_px = float(np.clip(3.5 * noise_px, 0.4, 3.0))
    src, dst = Frame.around(source), Frame.around(target)
    picked = _every(len(source), FOUND)
    a, b, w = src.into(source[picked]), dst.into(target[picked]), weight[picked]
    guess = _best_guess(a, b, w, reach_px / dst.scale, _draws(len(a), rng, guesses, shortest))
    if guess is None:
        return None
    matrix, noise = _polish(guess, a, b, w, reach_px / dst.scale, noise_px / dst.scale)
    whole = np.linalg.inv(dst.matrix()) @ matrix @ src.matrix()
    return PlaneFit(whole / whole[2, 2], np.zeros((3, 2)), src, noise * dst.scale, reach_px)


def polished(fit: PlaneFit, source: Array, target: Array, weight: Array) -> PlaneFit:
    """The same plane, grown step by step to all samples that lie on it wherever they are."""
    for _ in range(GROWTHS):
        near = np.flatnonzero(fit.residual(source, target) < 1.5 * fit.reach_px)
        if len(near) < 12:
            return fit
        near = near[_every(len(near), 4 * FITTED)]
        src, dst = Frame.around(source[near]), Frame.around(target[near])
        start = dst.matrix() @ fit.matrix @ np.linalg.inv(src.matrix())
        a, b, scale = src.into(source[near]), dst.into(target[near]), dst.scale
        matrix, noise = _polish(start, a, b, weight[near], fit.reach_px / scale, fit.noise_px / scale, rounds=3)
        whole = np.linalg.inv(dst.matrix()) @ matrix @ src.matrix()
        fit = replace(fit, matrix=whole / whole[2, 2], frame=src, noise_px=noise * scale)
    return fit


def with_bend(fit: PlaneFit, source: Array, target: Array, weight: Array) -> PlaneFit:
    """Refit a plane to all its samples, letting it bend as far as the samples outweigh a stiff prior.

    A lens that the homography cannot follow bends a plane's map slightly. The prior says "straight, give or take
    `BEND_PRIOR_PX`"; few or one-sided samples leave it straight.
    """
    picked = _every(len(source), FITTED)
    source, target, weight = source[picked], target[picked], weight[picked]
    src, dst = Frame.around(source), Frame.around(target)
    a, b = src.into(source), dst.into(target)
    matrix = dst.matrix() @ fit.matrix @ np.linalg.inv(src.matrix())
    params = np.concatenate([(matrix / matrix[2, 2]).ravel()[:8], np.zeros(6)])
    terms = _bend_terms(a)
    noise_px = max(fit.noise_px, 0.02)
    stiff = np.zeros(14)
    prior_px = BEND_PRIOR_PX * min(dst.scale / BEND_HALF_PX, 1.0) ** 2
    stiff[8:] = TIED * float(weight.mean()) * (noise_px / prior_px) ** 2
    for _ in range(3):
        value, slope = _value_and_slope(params[:8], a)
        gap = b - value - terms @ params[8:].reshape(3, 2)
        rows = np.zeros((2, len(a), 14))
        rows[:, :, :8] = slope
        rows[0, :, 8::2] = terms
        rows[1, :, 9::2] = terms
        robust = weight * _tukey(np.hypot(gap[:, 0], gap[:, 1]), CUT * noise_px / dst.scale)
        params = params + _step(rows, gap, robust, (stiff, params))
    whole = np.linalg.inv(dst.matrix()) @ np.append(params[:8], 1.0).reshape(3, 3) @ src.matrix()
    return PlaneFit(whole / whole[2, 2], params[8:].reshape(3, 2) * dst.scale, src, fit.noise_px, fit.reach_px)


@dataclass(frozen=True, eq=False)
class Refined:
    """A homography at its best, with what a larger fit needs.

    Attributes
    ----------
    matrix : ndarray of shape (3, 3)
    gap : ndarray of shape (N, 2)
        Target minus mapped source. [px]
    weight : ndarray of shape (N,)
        Given weights, less for outliers.
    by_point : ndarray of shape (N, 2, 2)
        Derivative of the mapped points by the source points.
    by_matrix : ndarray of shape (2, N, 8)
        Derivative by eight numbers that span the homography's changes.
    """

    matrix: Array
    gap: Array
    weight: Array
    by_point: Array
    by_matrix: Array


def refined(matrix: Array, source: Array, target: Array, weight: Array, *, cut_px: float) -> Refined:
    """Polish a homography that is right to some pixels, on samples that may lie on its plane.

    Residuals beyond `cut_px` do not count at last; a wider cut is narrowed down to it step by step.
    """
    src, dst = Frame.around(source), Frame.around(target)
    a, b = src.into(source), dst.into(target)
    start = dst.matrix() @ matrix @ np.linalg.inv(src.matrix())
    params = start.ravel()[:8] / start[2, 2]
    for cut in (8.0 * cut_px, 4.0 * cut_px, 2.0 * cut_px, cut_px, cut_px):
        value, slope = _value_and_slope(params, a)
        robust = weight * _tukey(np.hypot(*(b - value).T), cut / dst.scale)
        params = params + _step(slope, b - value, robust)
    value, slope = _value_and_slope(params, a)
    robust = weight * _tukey(np.hypot(*(b - value).T), cut_px / dst.scale)
    w = params[6] * a[:, 0] + params[7] * a[:, 1] + 1.0
    turn = params[[0, 1, 3, 4]].reshape(1, 2, 2) - value[:, :, None] * params[6:8]
    whole = np.linalg.inv(dst.matrix()) @ np.append(params, 1.0).reshape(3, 3) @ src.matrix()
    by_point = turn / w[:, None, None] * dst.scale / src.scale
    return Refined(whole / whole[2, 2], (b - value) * dst.scale, robust, by_point, slope * dst.scale)


def _every(count: int, most: int) -> NDArray[np.intp]:
    """Evenly chosen indices, at most so many."""
    if count <= most:
        return np.arange(count)
    return np.linspace(0, count - 1, most).astype(np.intp)


def _bend_terms(p: Array) -> Array:
    """x^2, xy, y^2 of points in a frame, held beyond its rim so that nothing runs away outside the samples."""
    x, y = np.clip(p, -1.25, 1.25).T
    return np.stack([x * x, x * y, y * y], axis=-1)


def _best_guess(a: Array, b: Array, w: Array, reach: float, draws: NDArray[np.intp]) -> Array | None:
    """RANSAC: the homography through four samples that leaves the least truncated squared residual."""
    guesses = _four_point_maps(a, b, draws)
    if len(guesses) == 0:
        return None
    scored = _every(len(a), SCORED)
    p = np.column_stack([a[scored], np.ones(len(scored))])
    mapped = guesses @ p.T  # (G, 3, N)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        gap = mapped[:, :2] / mapped[:, 2:] - b[scored].T
        cost = np.minimum(np.einsum("gcn,gcn->gn", gap, gap) / reach**2, 1.0)
    cost = np.where((mapped[:, 2] > 0.05) & np.isfinite(cost), cost, 1.0) @ w[scored]
    best = int(np.argmin(cost))
    return guesses[best] if cost[best] < float(w[scored].sum()) else None


def _draws(count: int, rng: np.random.Generator, sets: int, shortest: float) -> NDArray[np.intp]:
    """Sets of four sample numbers, each set from a stretch of random length and place."""
    share = np.exp(rng.uniform(np.log(shortest), 0.0, sets))
    start = rng.uniform(0.0, 1.0, sets) * (1.0 - share)
    # One from each quarter of the stretch, so that the four lie apart.
    place = (np.arange(4) + rng.uniform(0.0, 1.0, (sets, 4))) / 4.0
    return np.minimum((start[:, None] + place * share[:, None]) * count, count - 1).astype(np.intp)


def _four_point_maps(a: Array, b: Array, draws: NDArray[np.intp]) -> Array:
    p, q = a[draws], b[draws]  # (G, 4, 2)
    x, y, u, v = p[..., 0], p[..., 1], q[..., 0], q[..., 1]
    one, zero = np.ones_like(x), np.zeros_like(x)
    rows_u = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y], axis=-1)
    rows_v = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y], axis=-1)
    system = np.concatenate([rows_u, rows_v], axis=1)
    wanted = np.concatenate([u, v], axis=1)
    sound = np.abs(np.linalg.det(system)) > 1e-14
    if not sound.any():
        return np.empty((0, 3, 3))
    h = np.linalg.solve(system[sound], wanted[sound][..., None])[..., 0]
    return np.concatenate([h, np.ones((len(h), 1))], axis=1).reshape(-1, 3, 3)


def _polish(
    matrix: Array, a: Array, b: Array, w: Array, reach: float, noise: float, rounds: int = 6
) -> tuple[Array, float]:
    """Gauss-Newton with Tukey weights, whose cut follows the spread of the residuals down to the real noise."""
    params = matrix.ravel()[:8] / matrix[2, 2]
    cut = 2.0 * reach
    least = 0.25 * noise + 1e-12
    spread = noise
    for _ in range(rounds):
        value, slope = _value_and_slope(params, a)
        gap = b - value
        length = np.hypot(gap[:, 0], gap[:, 1])
        near = length < cut
        if np.count_nonzero(near) < 8:
            break
        # The median of a two-dimensional normal's length is 1.1774 times its spread along one axis.
        spread = float(np.median(length[near])) / 1.1774
        cut = max(min(reach, CUT * spread), CUT * least, 0.1 * reach)
        params = params + _step(slope, gap, w * _tukey(length, cut))
    return np.append(params, 1.0).reshape(3, 3), spread


def _step(slope: Array, gap: Array, weight: Array, hold: tuple[Array, Array] | None = None) -> Array:
    """Weighted least-squares step: slope (2, N, K), gap (N, 2), weight (N,).

    `hold` pulls the K parameters to zero: how stiffly, and where they are now.
    """
    rows = slope.reshape(-1, slope.shape[2])
    weighted = rows * np.tile(weight, 2)[:, None]
    normal, pull = weighted.T @ rows, weighted.T @ gap.T.ravel()
    if hold is not None:
        normal[np.diag_indices_from(normal)] += hold[0]
        pull -= hold[0] * hold[1]
    normal[np.diag_indices_from(normal)] *= 1.0 + 1e-13
    try:
        return np.asarray(np.linalg.solve(normal, pull))
    except np.linalg.LinAlgError:
        return np.zeros(slope.shape[2])


def _tukey(length: Array, cut: float) -> Array:
    share = np.minimum(length / max(cut, 1e-300), 1.0)
    return np.asarray((1.0 - share**2) ** 2)


def _value_and_slope(params: Array, a: Array) -> tuple[Array, Array]:
    """Mapped points (N, 2) and their derivatives by the eight parameters (2, N, 8)."""
    x, y = a[:, 0], a[:, 1]
    w = params[6] * x + params[7] * y + 1.0
    # On the plane's horizon a sample is mapped endlessly far: far enough to be no sample of it.
    w = np.where(np.abs(w) < 1e-9, 1e-9, w)
    u = (params[0] * x + params[1] * y + params[2]) / w
    v = (params[3] * x + params[4] * y + params[5]) / w
    slope = np.zeros((2, len(a), 8))
    for row, value in enumerate((u, v)):
        slope[row, :, 3 * row] = x / w
        slope[row, :, 3 * row + 1] = y / w
        slope[row, :, 3 * row + 2] = 1.0 / w
        slope[row, :, 6] = -value * x / w
        slope[row, :, 7] = -value * y / w
    return np.stack([u, v], axis=-1), slope
