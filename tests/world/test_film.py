"""Films of videos as a phone would make them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from limewash.errors import InputError
from limewash.media.reading import ClipReader
from limewash.media.writing import VideoWriter
from limewash.world.film import film
from limewash.world.phone import Phone

SIZE = (160, 90)


def video(path: Path, levels: list[int], *, hold: int = 6, rate: int = 30) -> Path:
    """Flat grey pictures, each held for some frames."""
    with VideoWriter(path, SIZE, Fraction(rate)) as out:
        for level in levels:
            for _ in range(hold):
                out.write_grey(np.full((SIZE[1], SIZE[0]), level, np.uint8))
    return path


class House:
    """A white screen seen straight on; counts how often it is looked at."""

    def __init__(self) -> None:
        self.looks = 0

    def picture(self, projected: np.ndarray) -> np.ndarray:
        self.looks += 1
        assert projected.shape == (SIZE[1], SIZE[0], 3)
        return (0.5 + 80.0 * (projected / 255.0) ** 2.4).astype(np.float32)


def levels_of(path: Path) -> list[tuple[float, float]]:
    with ClipReader(path) as clip:
        return [(t, float(luma.mean())) for t, luma in clip.luma()]


def test_a_film_holds_what_came_before_and_after(tmp_path: Path) -> None:
    phone = Phone(lead_s=1.0, tail_s=0.5)
    film(video(tmp_path / "p.mp4", [255] * 5), tmp_path / "c.mp4", House().picture, phone)
    with ClipReader(tmp_path / "c.mp4") as clip:
        assert clip.info.rate == Fraction(30000, 1001)
        assert clip.info.size == SIZE
        assert clip.info.duration_s == pytest.approx(2.5, abs=0.08)
    found = levels_of(tmp_path / "c.mp4")
    for t, level in found:
        if t < 0.95 or t > 2.1:
            assert level < 90
        elif 1.1 < t < 1.95:
            assert level > 170


def test_held_and_returning_pictures_are_looked_at_once_each(tmp_path: Path) -> None:
    house = House()
    film(video(tmp_path / "p.mp4", [255, 0, 128, 30], hold=40), tmp_path / "c.mp4", house.picture)
    assert house.looks == 4 + 3  # four pictures; white for the exposure; no signal before and after


def test_a_slow_fade_is_followed(tmp_path: Path) -> None:
    # Steps of one code: each alone is below what counts as a change.
    phone = Phone(follow=0.0, drift=0.0, jitter_s=0.0)
    film(video(tmp_path / "p.mp4", list(range(100, 200)), hold=1), tmp_path / "c.mp4", House().picture, phone)
    inside = [level for t, level in levels_of(tmp_path / "c.mp4") if 1.3 < t < 4.4]
    assert inside[-1] - inside[0] > 60
    assert np.max(np.abs(np.diff(inside))) < 4


def test_the_phones_clock_runs_free_of_the_players(tmp_path: Path) -> None:
    # Black and white in turn at 10 Hz: grey frames are those whose exposure held a change. With 25 ms of
    # exposure, a change every 100 ms and no lock between the clocks, that is a quarter of all frames.
    phone = Phone(exposure_s=0.025, readout_s=0.0, quantum_efficiency=5e4, full_well_per_um2=7e7, follow=0.0, drift=0.0)
    film(video(tmp_path / "p.mp4", [0, 255] * 60, hold=3), tmp_path / "c.mp4", House().picture, phone)
    inside = np.array([level for t, level in levels_of(tmp_path / "c.mp4") if 1.3 < t < 13.0])
    black, white = inside.min(), inside.max()
    mixed = np.mean((inside > black + 8) & (inside < white - 8))
    # 29.97 against 30: the phase moves by 1 ms in 1 s, so 12 s see only a third of all phases.
    assert 0.1 < mixed < 0.45


@pytest.mark.parametrize("seed", [1, 2])
def test_filming_twice_gives_the_same_bytes(tmp_path: Path, seed: int) -> None:
    pattern = video(tmp_path / "p.mp4", [255, 0])
    for name in ("a", "b", "other"):
        phone = Phone(seed=seed + (name == "other"), lead_s=0.2, tail_s=0.2)
        film(pattern, tmp_path / f"{name}.mp4", House().picture, phone)
    with ClipReader(tmp_path / "a.mp4") as a, ClipReader(tmp_path / "b.mp4") as b:
        assert all(np.array_equal(x[1], y[1]) for x, y in zip(a.luma(), b.luma(), strict=True))
    assert (tmp_path / "a.mp4").stat().st_size != (tmp_path / "other.mp4").stat().st_size


def test_the_hand_lets_go_before_the_pattern_starts(tmp_path: Path) -> None:
    def stripes(projected: np.ndarray) -> np.ndarray:
        picture = np.zeros((90, 160, 3), np.float32)
        picture[:, 80:] = 40.0
        return picture

    phone = replace(
        Phone(), quantum_efficiency=5e4, full_well_per_um2=7e7, drift=0.0, follow=0.0, lead_s=1.2, tail_s=0.5
    )
    film(video(tmp_path / "p.mp4", [0] * 5), tmp_path / "c.mp4", stripes, phone)
    with ClipReader(tmp_path / "c.mp4") as clip:
        edges = [(t, float((luma[45] < 120).sum())) for t, luma in clip.luma()]
    early = [edge for t, edge in edges if t < 0.3]
    during = [edge for t, edge in edges if 1.2 < t < 2.0]
    assert np.ptp(early) >= 4
    assert np.ptp(during) <= 1


def test_progress_runs_to_the_end(tmp_path: Path) -> None:
    told: list[float] = []
    pattern = video(tmp_path / "p.mp4", [255])
    film(pattern, tmp_path / "c.mp4", House().picture, Phone(), lambda share, _doing: told.append(share))
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_a_missing_video_leaves_no_clip(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        film(tmp_path / "none.mp4", tmp_path / "c.mp4", House().picture)
    assert list(tmp_path.iterdir()) == []
