"""Descriptions of claims: the same however the camera was held and however bright the street; plain things plain."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from limewash.scan.claims import claims_of
from limewash.scan.decode import Decoded
from limewash.scan.describe import AROUND, NEIGHBOURS, OWN, TERMS
from limewash.scan.likely import described, described_again, doubts, mean_around
from limewash.scan.surface import Surfaces, find_surfaces

SIZE = 80
PROJECTOR = (96, 96)

Turn = Callable[[np.ndarray], np.ndarray]
TURNS: dict[str, Turn] = {
    "as it is": lambda picture: picture,
    "mirrored": lambda picture: picture[..., :, ::-1],
    "upside down": lambda picture: picture[..., ::-1, ::-1],
    "turned": lambda picture: np.swapaxes(picture, -1, -2),
}


def leaves(noise_px: float = 0.0) -> Decoded:
    """Two sloping planes, the nearer before the farther, a hidden strip beside it, and the dark around both."""
    row, col = np.mgrid[:SIZE, :SIZE].astype(np.float64)
    x, y = 4.0 + 1.07 * col + 0.031 * row, 3.0 + 0.023 * col + 1.13 * row
    light = np.full((SIZE, SIZE), 30.0) + 3.0 * np.sin(0.7 * col) + 2.0 * np.cos(0.9 * row)
    near = (np.abs(col - 41.3) < 15.2) & (np.abs(row - 37.8) < 12.6)
    x[near], light[near] = x[near] - 3.37, 1.4 * light[near]
    dark = (col < 3) | (row > SIZE - 5)
    x[dark] = y[dark] = np.nan
    light[dark] = 0.4
    rng = np.random.default_rng(4)
    x, y = (part + noise_px * rng.standard_normal(part.shape) for part in (x, y))
    seen = np.stack([x, y, np.where(dark, np.nan, max(noise_px, 0.02)), light]).astype(np.float32)
    return Decoded(seen, np.full((SIZE, SIZE), 0.7, dtype=np.float32))


def descriptions(decoded: Decoded) -> tuple[Surfaces, np.ndarray, np.ndarray]:
    """Surfaces, and the description of each projector pixel in doubt; NaN for the others."""
    surfaces = find_surfaces(decoded)
    claims = claims_of(surfaces, PROJECTOR)
    plain, places = doubts(decoded, surfaces, claims)
    out = np.full((PROJECTOR[0] * PROJECTOR[1], TERMS), np.nan)
    out[places] = described(decoded, surfaces, claims, places)
    return surfaces, out, plain


@pytest.mark.parametrize("name", list(TURNS)[1:])
def test_a_turned_picture_reads_the_same(name: str) -> None:
    decoded = leaves()
    turned = Decoded(np.ascontiguousarray(TURNS[name](decoded.seen)), np.ascontiguousarray(TURNS[name](decoded.noise)))
    _, usual, plain = descriptions(decoded)
    _, other, other_plain = descriptions(turned)
    # Places just in the middle between two camera pixels, or on a diagonal, may go to either side.
    clear = (np.abs(usual[:, 0] - 0.5) > 0.02) & (np.abs(usual[:, 0] - usual[:, 1]) > 0.02) & (usual[:, 1] > 0.02)
    assert clear.sum() > 300
    same = np.abs(usual[clear] - other[clear]).max(axis=1) < 0.02
    assert same.mean() > 0.97
    assert (plain == other_plain).mean() > 0.99


def test_light_counts_as_ratios() -> None:
    decoded = leaves()
    seen = decoded.seen.copy()
    seen[3] *= 2.0
    _, usual, _ = descriptions(decoded)
    _, other, _ = descriptions(Decoded(seen, 2.0 * decoded.noise))
    known = np.isfinite(usual[:, 0]) & np.isfinite(other[:, 0])
    assert known.sum() > 500
    off = other[known] - usual[known]
    off[:, 11] -= np.log(2.0)
    # In the middle between two camera pixels, rounding decides which is asked.
    assert (np.abs(off).max(axis=1) < 0.003).mean() > 0.98


def test_neighbours_are_told_by_how_far_they_are_off_the_plane() -> None:
    """Worked out anew, one pixel at a time, for claims that point to the right and less downwards."""
    decoded = leaves()
    surfaces, usual, _ = descriptions(decoded)
    claims = claims_of(surfaces, PROJECTOR)
    checked = 0
    for place in np.flatnonzero(np.isfinite(usual[:, 0]))[::3]:
        row, col = divmod(int(claims.whose.ravel()[place]), SIZE)
        v, u = divmod(int(place), PROJECTOR[0])
        matrix = surfaces.slope[:, row, col].reshape(2, 2).T.astype(float)  # columns: a step right, a step down
        inverse = np.linalg.inv(matrix)
        s, t = inverse @ [u - surfaces.x[row, col], v - surfaces.y[row, col]]
        if not s > t > 0.01 or not (AROUND <= row < SIZE - AROUND and AROUND <= col < SIZE - AROUND):
            continue
        assert usual[place, 0] == pytest.approx(s, abs=1e-3)
        k = OWN
        for down in range(-AROUND, AROUND + 1):
            for right in range(-AROUND, AROUND + 1):
                if down == right == 0:
                    continue
                x, y = decoded.x[row + down, col + right], decoded.y[row + down, col + right]
                assert usual[place, k + 3] == float(np.isnan(x))
                if np.isfinite(x):
                    expected = np.array([surfaces.x[row, col], surfaces.y[row, col]]) + matrix @ [right, down]
                    off = np.clip(inverse @ (np.array([x, y]) - expected), -4.0, 4.0)
                    np.testing.assert_allclose(usual[place, k + 1 : k + 3], off, atol=2e-3)
                k += 4
        checked += 1
    assert checked > 20


@pytest.mark.parametrize("noise_px", [0.0, 0.3])
def test_the_inside_of_a_surface_is_plain_and_its_rim_is_not(noise_px: float) -> None:
    decoded = leaves(noise_px)
    surfaces, _, plain = descriptions(decoded)
    claims = claims_of(surfaces, PROJECTOR)
    x, y = np.nan_to_num(claims.camera_x, nan=-9.0), np.nan_to_num(claims.camera_y, nan=-9.0)
    from_rim = np.minimum(15.2 - np.abs(x - 41.3), 12.6 - np.abs(y - 37.8))
    assert plain[from_rim > 5.0].mean() > 0.9  # noise of three standard deviations is not rare among 24 neighbours
    assert not plain[np.abs(from_rim) < 0.7].any()


def test_neighbours_in_the_projectors_picture_are_told_in_order() -> None:
    """Worked out anew, one pixel at a time."""
    decoded = leaves()
    surfaces = find_surfaces(decoded)
    claims = claims_of(surfaces, PROJECTOR)
    _, places = doubts(decoded, surfaces, claims)
    odds = np.random.default_rng(7).uniform(-6.0, 6.0, claims.whose.shape).astype(np.float32)
    found = described_again(decoded, surfaces, claims, odds, mean_around(odds), places)
    assert found.shape == (len(places), OWN + NEIGHBOURS)
    np.testing.assert_array_equal(found[:, :OWN], described(decoded, surfaces, claims, places)[:, :OWN])
    checked = 0
    for n in range(0, len(places), 11):
        v, u = divmod(int(places[n]), PROJECTOR[0])
        if not (2 <= v < PROJECTOR[1] - 2 and 2 <= u < PROJECTOR[0] - 2):
            continue
        around = [(v + down, u + right) for down in (-1, 0, 1) for right in (-1, 0, 1) if down or right]
        steps = [
            np.hypot(claims.camera_x[at] - claims.camera_x[v, u], claims.camera_y[at] - claims.camera_y[v, u])
            / claims.usual_px
            for at in around
        ]
        logs = np.log(np.clip(np.nan_to_num(steps, nan=0.0), 0.05, 100.0))
        sigma = surfaces.sigma.ravel()[claims.whose[v, u]]
        expected = [
            odds[v, u],
            *sorted(odds[at] for at in around),
            *sorted(logs),
            odds[v - 2 : v + 3, u - 2 : u + 3].mean(),
            np.log(np.clip(sigma, 0.003, 2.0)),
        ]
        np.testing.assert_allclose(found[n, OWN:], expected, atol=1e-4)
        checked += 1
    assert checked > 50
