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

from limewash.jit import summing_kernel
from limewash.scan.claims import Claims
from limewash.scan.decode import Decoded
from limewash.scan.describe import NEIGHBOURS, OWN, TERMS, describe, describe_neighbours, mark_plain
from limewash.scan.surface import Surfaces
from limewash.scan.threads import in_bands, in_threads

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Indices = NDArray[np.int64]

FILE = Path(__file__).with_name("likely.npz")
_MOST = np.float32(6.0)  # log odds are told from one to the other of these
_AT_ONCE = 4096  # pixels that are described together


@dataclass(frozen=True)
class Network:
    """Three layers of weighted sums, negative ones cut off between them.

    Attributes
    ----------
    weights : tuple of three ndarray of float32, each of shape (inputs, outputs)
        The outputs of one are the inputs of the next; the last has one.
    biases : tuple of three ndarray of float32, each of shape (outputs,)
    """

    weights: tuple[Image, ...]
    biases: tuple[Image, ...]

    def log_odds(self, described: Image) -> Image:
        """Logarithm of the odds of what is described, shape (n, inputs), as shape (n,)."""
        odds = np.empty(len(described), dtype=np.float32)
        (w0, w1, w2), (b0, b1, b2) = self.weights, self.biases
        pass_through(described, w0, b0, w1, b1, w2[:, 0].copy(), b2[0], odds)
        return odds


@summing_kernel
def pass_through(
    inputs: Image, w0: Image, b0: Image, w1: Image, b1: Image, w2: Image, b2: np.float32, odds: Image
) -> None:
    """What a network of two inner layers makes of each row of inputs.

    Not by the library's matrix product: that keeps threads of its own waiting, on the processor that others need.
    """
    one, two = np.empty_like(b0), np.empty_like(b1)
    for n in range(len(inputs)):
        add_layer(inputs[n], w0, b0, one)
        add_layer(one, w1, b1, two)
        total = b2
        for k in range(len(w2)):
            total += two[k] * w2[k]
        odds[n] = min(max(total, -_MOST), _MOST)


@summing_kernel
def add_layer(inputs: Image, weight: Image, bias: Image, out: Image) -> None:
    """A layer's weighted sums, negative ones as 0; eight inputs at a time, so that sums are seldom stored."""
    out[:] = bias
    count = inputs.size - inputs.size % 8
    for k in range(0, count, 8):
        a, b, c, d = inputs[k], inputs[k + 1], inputs[k + 2], inputs[k + 3]
        e, f, g, h = inputs[k + 4], inputs[k + 5], inputs[k + 6], inputs[k + 7]
        for j in range(out.size):
            low = weight[k, j] * a + weight[k + 1, j] * b + weight[k + 2, j] * c + weight[k + 3, j] * d
            high = weight[k + 4, j] * e + weight[k + 5, j] * f + weight[k + 6, j] * g + weight[k + 7, j] * h
            out[j] += low + high
    for k in range(count, inputs.size):
        for j in range(out.size):
            out[j] += weight[k, j] * inputs[k]
    for j in range(out.size):
        out[j] = max(out[j], np.float32(0.0))


@cache
def networks() -> tuple[Network, Network]:
    """The two that come with the program."""
    with np.load(FILE, allow_pickle=False) as data:
        return tuple(  # type: ignore[return-value]
            Network(
                tuple(data[f"weights_{k}_{layer}"] for layer in range(3)),
                tuple(data[f"biases_{k}_{layer}"] for layer in range(3)),
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
        at.ravel()[part] = second.log_odds(described_again(decoded, surfaces, claims, odds, mean, part))

    in_threads(again, _parts(doubtful))
    likely = np.asarray(1.0 / (1.0 + np.exp(-at)), dtype=np.float32)
    likely[plain] = 1.0
    likely[claims.whose < 0] = 0.0
    return likely


def doubts(decoded: Decoded, surfaces: Surfaces, claims: Claims) -> tuple[Mask, Indices]:
    """Which claims are plain, and the others as row times the projector's width plus column."""
    s, plain = surfaces, np.zeros(claims.whose.shape, dtype=np.bool_)

    def mark(start: int, stop: int) -> None:
        mark_plain(s.x, s.y, s.slope, decoded.seen, decoded.noise, claims.filled, claims.whose, start, stop, plain)

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
    """Some projector pixels as `describe` has it, shape (places, terms)."""
    s, c, d = surfaces, claims, decoded
    out = np.empty((len(places), terms), dtype=np.float32)
    describe(places, s.x, s.y, s.slope, s.share, d.seen, d.noise, c.filled, c.whose, out)
    return out


def described_again(
    decoded: Decoded, surfaces: Surfaces, claims: Claims, odds: Image, mean: Image, places: Indices
) -> Image:
    """The pixels themselves and those around them, by the log odds of all and their means, for the second network."""
    out, c = described(decoded, surfaces, claims, places, OWN + NEIGHBOURS), claims
    describe_neighbours(places, odds, mean, c.camera_x, c.camera_y, c.usual_px, surfaces.sigma, c.whose, out)
    return out


def mean_around(odds: Image) -> Image:
    """Mean log odds of 5 x 5 pixels."""
    return np.asarray(cv2.boxFilter(odds, -1, (5, 5)))


def _parts(places: Indices) -> list[Indices]:
    return [places[first : first + _AT_ONCE] for first in range(0, len(places), _AT_ONCE)]
