"""Teach the scan which claims of surfaces to believe: makes src/limewash/scan/likely.npz anew.

    python bench/train_likely.py [--keep DIR]

The gardens are not those that the accuracy is measured in: both houses with other leaves on every tree and bush,
stands up to a metre and a half elsewhere, phones of other sharpness and light, four sizes of film. What a claim is
worth follows from the truth: 1 if the ray through the projector pixel's middle ends on what the camera sees, within a
pixel and a half of where it is claimed. A claim that is wrong by many pixels counts for more than one that is wrong
by two. With --keep, what was decoded is kept and used again. Takes about half an hour, most of it filming, and 2 GB
on the disk.
"""

from __future__ import annotations

import argparse
import pickle
import tempfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench_scan_accuracy import PROJECTOR, phone
from limewash.scan.claims import Claims, claims_of
from limewash.scan.clip import take_clip
from limewash.scan.correspondence import Correspondence
from limewash.scan.decode import Decoded, decode_takes
from limewash.scan.likely import FILE, Network, described, described_again, doubts, first_odds, mean_around
from limewash.scan.passing import take_off_passing_light
from limewash.scan.pattern import plan_pattern, write_pattern
from limewash.scan.steady import hold_still
from limewash.scan.surface import find_surfaces
from limewash.world.accuracy import errors_px
from limewash.world.display import under_video
from limewash.world.film import film
from limewash.world.model import CameraStand, ProjectorStand, read_house
from limewash.world.truth import Truth
from limewash.world.virtual import VirtualHouse

Floats = NDArray[np.float32]

EVENINGS = (
    ("painted", 1920, 101),
    ("brick", 1920, 102),
    ("painted", 1920, 103),
    ("brick", 1920, 104),
    ("painted", 3840, 105),
    ("brick", 3840, 106),
    ("painted", 1280, 107),
    ("brick", 1280, 108),
    ("brick", 1920, 110),
    ("painted", 1920, 111),
    ("brick", 1920, 112),
    ("painted", 1920, 113),
    ("brick", 3840, 114),
    ("painted", 3840, 115),
    ("brick", 1280, 116),
    ("painted", 1280, 117),
    ("painted", 960, 118),
    ("brick", 960, 119),
)
HIDDEN = ((64, 32), (32, 16))  # width of the inner layers of either network
WRONG_PX = 1.5  # from here on a claimed place is wrong
OF_EACH = 150_000  # claims of an evening, at most
EPOCHS, BATCH, RATE, DECAY = 30, 4096, 2e-3, 1e-5


def evening(name: str, width: int, seed: int) -> VirtualHouse:
    """A house with other leaves, seen and lit from elsewhere."""
    rng, house = np.random.default_rng([seed, 77]), read_house(name)

    def moved(stand: CameraStand | ProjectorStand) -> dict[str, object]:
        return {
            "place_m": tuple((np.asarray(stand.place_m) + rng.uniform(-1, 1, 3) * [1.2, 0.4, 0.8]).tolist()),
            "yaw_deg": stand.yaw_deg + float(rng.uniform(-1, 1)),
            "tilt_deg": stand.tilt_deg + float(rng.uniform(-0.7, 0.7)),
        }

    other: dict[str, object] = {
        part: getattr(house, part).model_copy(update=moved(getattr(house, part))) for part in ("camera", "projector")
    }
    for plants in ("trees", "bushes"):
        other[plants] = tuple(
            plant.model_copy(update={"seed": plant.seed + 1000 * seed + n})
            for n, plant in enumerate(getattr(house, plants))
        )
    size = (width, width * 9 // 16)
    return VirtualHouse(house.model_copy(update=other), camera_size=size, projector_size=PROJECTOR)


def decoded_evening(name: str, width: int, seed: int, pattern: Path, folder: Path) -> tuple[Decoded, Truth]:
    """What a phone of that evening's own sharpness and light makes of it, and the truth."""
    kept = folder / f"{name}-{width}-{seed}.pkl"
    if kept.exists():
        with kept.open("rb") as stream:
            return pickle.load(stream)  # type: ignore[no-any-return]
    house, rng, clip = evening(name, width, seed), np.random.default_rng([seed, 3]), folder / "clip.mp4"
    blur, caught = float(rng.uniform(0.55, 0.9)), float(rng.choice([0.3, 0.5, 0.8]))
    film(pattern, clip, under_video(house.view()), replace(phone(width, seed), blur_px=blur, quantum_efficiency=caught))
    takes, _ = hold_still(clip, take_clip(clip, PROJECTOR))
    takes, _ = take_off_passing_light(takes)
    clip.unlink()
    result = (decode_takes(takes), house.truth())
    with kept.open("wb") as stream:
        pickle.dump(result, stream, protocol=5)
    return result


def worth(claims: Claims, truth: Truth, places: NDArray[np.int64], camera: tuple[int, int]) -> tuple[Floats, Floats]:
    """Whether each claim is right, 0 or 1, and how much it counts."""
    sure = np.ones_like(claims.camera_x)
    found = Correspondence(claims.camera_x, claims.camera_y, sure, camera, PROJECTOR)
    errors, seen = errors_px(found, truth).ravel()[places], truth.seen.ravel()[places]
    wrong = seen & (errors >= WRONG_PX)
    weights = np.where(wrong, 1.0 + np.minimum(np.nan_to_num(errors), 30.0) ** 2 / 30.0, 1.0)
    return (seen & ~wrong).astype(np.float32), weights.astype(np.float32)


def train(described_as: Floats, right: Floats, weights: Floats, hidden: tuple[int, ...]) -> Network:
    """Fit a network by gradient descent, with the rate falling like a cosine.

    Adam, as Kingma and Ba describe it (2015; from memory).
    """
    mean = described_as.mean(axis=0, dtype=np.float64).astype(np.float32)
    spread = described_as.std(axis=0, dtype=np.float64).astype(np.float32) + np.float32(1e-3)
    inputs, weights = (described_as - mean) / spread, weights / weights.mean()
    rng, sides = np.random.default_rng(0), (inputs.shape[1], *hidden, 1)
    layers = [rng.normal(0.0, np.sqrt(2.0 / a), (a, b)).astype(np.float32) for a, b in pairwise(sides)]
    parts = layers + [np.zeros(b, dtype=np.float32) for b in sides[1:]]
    first, second = [np.zeros_like(p) for p in parts], [np.zeros_like(p) for p in parts]
    batches, t = len(inputs) // BATCH, 0
    for epoch in range(EPOCHS):
        order, loss = rng.permutation(len(inputs)), 0.0
        for k in range(batches):
            t, pick = t + 1, order[k * BATCH : (k + 1) * BATCH]
            gradient, part = gradients(parts, inputs[pick], right[pick], weights[pick])
            loss += part / batches
            rate = RATE * 0.5 * (1.0 + np.cos(np.pi * t / (EPOCHS * batches)))
            for j, slope in enumerate(gradient):
                first[j] += 0.1 * (slope - first[j])
                second[j] += 0.001 * (slope * slope - second[j])
                step = first[j] / (1.0 - 0.9**t) / (np.sqrt(second[j] / (1.0 - 0.999**t)) + 1e-8)
                parts[j] -= np.asarray(rate * step, dtype=np.float32)
        if epoch % 5 == 4:
            print(f"  epoch {epoch + 1}: loss {loss:.4f}", flush=True)
    count = len(layers)
    # What the inputs were scaled by becomes part of the first layer.
    parts[count] -= (mean / spread) @ parts[0]
    parts[0] /= spread[:, None]
    return Network(tuple(parts[:count]), tuple(parts[count:]))


def gradients(parts: list[Floats], inputs: Floats, right: Floats, weights: Floats) -> tuple[list[Floats], float]:
    """Of the weighted mean cross entropy, by every weight and bias, and the cross entropy itself."""
    count = len(parts) // 2
    values = [inputs]
    for k in range(count):
        out = values[-1] @ parts[k] + parts[count + k]
        values.append(np.maximum(out, 0.0) if k + 1 < count else out)
    likely = 1.0 / (1.0 + np.exp(-values[-1][:, 0]))
    loss = -float(np.mean(weights * np.log(np.where(right > 0, likely, 1.0 - likely) + 1e-9)))
    back = ((likely - right) * weights / len(right))[:, None].astype(np.float32)
    found: list[Floats] = list(parts)
    for k in reversed(range(count)):
        found[k], found[count + k] = values[k].T @ back + np.float32(DECAY) * parts[k], back.sum(axis=0)
        if k:
            back = (back @ parts[k].T) * (values[k] > 0)
    return found, loss


def main() -> None:
    """Draw, describe, learn, write.

    The second network learns from what the first says of the claims that this has learnt from: with a few numbers for a
    hundred claims each it hardly knows them by heart.
    """
    parser = argparse.ArgumentParser()
    parser.add_argument("--keep", type=Path, help="folder for what was decoded; a temporary one when left out")
    parser.add_argument("--out", type=Path, default=FILE)
    options = parser.parse_args()
    rng = np.random.default_rng(0)
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        pattern = Path(temporary) / "pattern.mp4"
        write_pattern(pattern, plan_pattern(PROJECTOR))
        first_set: list[tuple[Floats, ...]] = []
        picks = []
        for name, width, seed in EVENINGS:
            decoded, truth = decoded_evening(name, width, seed, pattern, folder)
            surfaces = find_surfaces(decoded)
            claims = claims_of(surfaces, PROJECTOR)
            _, places = doubts(decoded, surfaces, claims)
            picks.append(np.sort(rng.permutation(places)[:OF_EACH]))
            right, weights = worth(claims, truth, picks[-1], truth.camera_size)
            first_set.append((described(decoded, surfaces, claims, picks[-1]), right, weights))
            print(f"{name} {width} {seed}: {len(places)} claims in doubt, {100 * right.mean():.1f} % right", flush=True)
        inputs, right, weights = (np.concatenate(part) for part in zip(*first_set, strict=True))
        assert np.isfinite(inputs).all()
        first = train(inputs, right, weights, HIDDEN[0])
        second_set = []
        for (name, width, seed), pick in zip(EVENINGS, picks, strict=True):
            decoded, _ = decoded_evening(name, width, seed, pattern, folder)
            surfaces = find_surfaces(decoded)
            claims = claims_of(surfaces, PROJECTOR)
            odds = first_odds(first, decoded, surfaces, claims, *doubts(decoded, surfaces, claims))
            second_set.append(described_again(decoded, surfaces, claims, odds, mean_around(odds), pick))
        second = train(np.concatenate(second_set), right, weights, HIDDEN[1])
    arrays = {
        f"{kind}_{k}_{layer}": part
        for k, network in ((1, first), (2, second))
        for kind, parts in (("weights", network.weights), ("biases", network.biases))
        for layer, part in enumerate(parts)
    }
    np.savez_compressed(options.out, **arrays)


if __name__ == "__main__":
    main()
