"""How likely it is that the camera truly sees a projector pixel where a surface claims it.

At the rims of leaves, posts and roofs a camera pixel mixes what is in front with what is behind or dark, and between
two leaves lies a strip of what only the projector reaches. No single rule tells these apart: a pixel that fills less
light may lie at a rim, on a darker side or in a shadow. So it is learnt, by two small networks, from gardens and
houses whose truth is known (`bench/train_likely.py`): the first goes by the camera pixels around the one in question,
the second also by what the first says of the projector pixels around.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.scan.claims import Claims
from limewash.scan.decode import Decoded
from limewash.scan.describe import OWN, TERMS, describe, mark_plain
from limewash.scan.surface import Surfaces
from limewash.scan.threads import in_bands, in_threads

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Indices = NDArray[np.int64]

FILE = Path(__file__).with_name("likely.npz")
CONTEXT = 19  # numbers on the projector pixels around
_MOST = np.float32(6.0)  # log odds are told from one to the other of these
_AT_ONCE = 8192  # pixels that are described together
_NEAREST, _FARTHEST = np.float32(0.05), np.float32(100.0)  # steps to neighbours, between these [projector px]


@dataclass(frozen=True)
class Network:
    """A few layers of weighted sums, negative ones cut off between them.

    Attributes
    ----------
    weights : tuple of ndarray of float32, each of shape (inputs, outputs)
    biases : tuple of ndarray of float32, each of shape (outputs,)
    """

    weights: tuple[Image, ...]
    biases: tuple[Image, ...]

    def log_odds(self, described: Image) -> Image:
        """Logarithm of the odds of what is described, shape (n, inputs), as shape (n,)."""
        values = described
        for k, (weight, bias) in enumerate(zip(self.weights, self.biases, strict=True)):
            values = values @ weight + bias
            if k + 1 < len(self.weights):
                np.maximum(values, np.float32(0.0), out=values)
        return np.asarray(np.clip(values[:, 0], -_MOST, _MOST))


@cache
def networks() -> tuple[Network, Network]:
    """The two that come with the program."""
    with np.load(FILE, allow_pickle=False) as data:
        return tuple(  # type: ignore[return-value]
            Network(
                tuple(data[f"weights_{k}_{layer}"] for layer in range(int(data["layers"]))),
                tuple(data[f"biases_{k}_{layer}"] for layer in range(int(data["layers"]))),
            )
            for k in (1, 2)
        )


def likelihood(decoded: Decoded, surfaces: Surfaces, claims: Claims) -> Image:
    """How likely each projector pixel is seen where it is claimed, shape of the projector's picture, 0 to 1.

    0 where nothing is claimed, 1 where it lies amid a surface and nothing around is in doubt.
    """
    first, second = networks()
    plain, doubtful = doubts(decoded, surfaces, claims)
    odds = first_odds(first, decoded, surfaces, claims, plain, doubtful)
    mean, at = mean_around(odds), odds.copy()

    def again(part: Indices) -> None:
        own = described(decoded, surfaces, claims, part, OWN)
        around = context(odds, mean, surfaces, claims, part)
        at.ravel()[part] = second.log_odds(np.concatenate([own, around], axis=1))

    in_threads(again, _parts(doubtful))
    likely = np.asarray(1.0 / (1.0 + np.exp(-at)), dtype=np.float32)
    likely[plain] = 1.0
    likely[claims.whose < 0] = 0.0
    return likely


def doubts(decoded: Decoded, surfaces: Surfaces, claims: Claims) -> tuple[Mask, Indices]:
    """Which claims are plain, and the others as row times the projector's width plus column."""
    s, plain = surfaces, np.zeros(claims.whose.shape, dtype=np.bool_)

    def mark(start: int, stop: int) -> None:
        mark_plain(s.x, s.y, s.slope, decoded.seen, claims.filled, claims.whose, start, stop, plain)

    in_bands(len(plain), mark)
    return plain, np.flatnonzero((claims.whose >= 0) & ~plain)


def first_odds(
    network: Network, decoded: Decoded, surfaces: Surfaces, claims: Claims, plain: Mask, doubtful: Indices
) -> Image:
    """Log odds by the camera pixels around alone; the highest where plain, the lowest where nothing is claimed."""
    odds = np.where(plain, _MOST, -_MOST)

    def tell(part: Indices) -> None:
        odds.ravel()[part] = network.log_odds(described(decoded, surfaces, claims, part))

    in_threads(tell, _parts(doubtful))
    return odds


def described(decoded: Decoded, surfaces: Surfaces, claims: Claims, places: Indices, terms: int = TERMS) -> Image:
    """Some projector pixels as `describe` has it, shape (places, terms): TERMS, or OWN for themselves alone."""
    s, out = surfaces, np.empty((len(places), terms), dtype=np.float32)
    describe(places, s.x, s.y, s.slope, s.share, decoded.seen, decoded.noise, claims.filled, claims.whose, out)
    return out


def context(odds: Image, mean: Image, surfaces: Surfaces, claims: Claims, places: Indices) -> Image:
    """What is said of the projector pixels around some, shape (places, CONTEXT), in an order that no turn changes.

    The log odds of the pixel itself, those of its eight neighbours from the lowest to the highest, logarithms of how
    far in the camera those neighbours are from it, from the nearest to the farthest [projector px], the mean log odds
    of 5 x 5 pixels, and the noise of the place [projector px].
    """
    v, u = np.divmod(places, odds.shape[1])
    x, y = claims.camera_x[v, u], claims.camera_y[v, u]
    near, steps = [], []
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            if down == right == 0:
                continue
            r, c = np.clip(v + down, 0, odds.shape[0] - 1), np.clip(u + right, 0, odds.shape[1] - 1)
            near.append(odds[r, c])
            step = np.hypot(claims.camera_x[r, c] - x, claims.camera_y[r, c] - y) / np.float32(claims.usual_px)
            steps.append(np.log(np.clip(np.nan_to_num(step, nan=0.0), _NEAREST, _FARTHEST)))
    sigma = surfaces.sigma.ravel()[claims.whose.ravel()[places]]
    return np.column_stack(
        [
            odds[v, u],
            np.sort(np.stack(near, axis=1), axis=1),
            np.sort(np.stack(steps, axis=1), axis=1),
            mean[v, u],
            np.log(np.clip(sigma, 0.003, 2.0)),
        ]
    ).astype(np.float32)


def mean_around(odds: Image) -> Image:
    """Mean log odds of 5 x 5 pixels, as `context` takes it."""
    return np.asarray(cv2.boxFilter(odds, -1, (5, 5)))


def _parts(places: Indices) -> list[Indices]:
    return np.array_split(places, max(1, len(places) // _AT_ONCE)) if len(places) else []
