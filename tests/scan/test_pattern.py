"""The pattern: what it promises to the eye, to the player and to the reader."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.media.reading import ClipReader
from limewash.scan import mark
from limewash.scan.mark import FORMS, Form
from limewash.scan.pattern import Hold, PatternPlan, plan_pattern, write_pattern

SIZES = [(1280, 720), (1280, 800), (1920, 1080), (1920, 1200), (3840, 2160)]
RATES = [24, 25, 30, 50, 60, Fraction(30000, 1001)]


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("size", SIZES)
def test_lengths_are_as_promised(size: tuple[int, int], rate: int | Fraction) -> None:
    full, short = (plan_pattern(size, rate, form) for form in FORMS)
    assert full.duration_s < 45.0
    assert short.duration_s < 12.0
    for plan in (full, short):
        # A hold of 0.2 s leaves a phone at 30 frames/s several clean frames.
        assert 0.2 <= plan.beat_s <= 0.27


@pytest.mark.parametrize("form", FORMS)
def test_flashes_stay_below_three_a_second(form: Form) -> None:
    """WCAG 2.2, general flash: not more than three pairs of opposing changes of luminance in any second."""
    plan = plan_pattern((320, 180), 30, form)
    mean = np.array([plan.frame(i).mean() for i in range(plan.title_frames, plan.frame_count)]) / 255.0
    rises = np.flatnonzero((mean[1:] > 0.9) & (mean[:-1] < 0.1))
    assert len(rises) > 4
    in_a_second = [np.sum((rises >= start) & (rises < start + 30)) for start in rises]
    assert max(in_a_second) <= 3


def test_all_holds_but_the_references_are_equally_bright() -> None:
    plan = plan_pattern((1280, 720))
    light = [np.mean((plan.picture(h) / 255.0) ** 2.2) for h in plan.body if h.kind not in ("black", "white")]
    assert np.ptp(light) < 0.03


@settings(max_examples=40, deadline=None)
@given(
    width=st.integers(160, 2000).map(lambda n: 2 * n),
    height=st.integers(90, 1100).map(lambda n: 2 * n),
    form=st.sampled_from(FORMS),
)
def test_every_position_can_be_told_from_the_pictures(width: int, height: int, form: Form) -> None:
    plan = plan_pattern((width, height), form=form)
    for which, length in enumerate((width, height)):
        assert np.abs(_position(plan, which) - np.arange(length)).max() < 0.05


def _position(plan: PatternPlan, which: int) -> np.ndarray:
    """Plain textbook decoding of ideal light: phase by correlation, cell by the signs of both carriers."""
    axis = plan.axes[which]
    holds = [h for h in plan.body if h.axis == which and h.kind not in ("black", "white")]

    def line(hold: Hold) -> np.ndarray:
        picture = plan.picture(hold) / 255.0
        return (picture[0] if which == 0 else picture[:, 0]) ** 2.2 - 0.5

    total = sum(line(h) * np.exp(1j * h.phase_rad) for h in holds if h.kind == "fringe")
    turns = np.angle(total) / (2 * np.pi)
    cell = np.zeros(axis.length_px, dtype=int)
    higher = np.zeros(axis.length_px, dtype=int)
    for bit in reversed(range(axis.bits)):
        shown = [h for h in holds if h.kind == "code" and h.bit == bit]
        score = sum(line(h) * np.cos(2 * np.pi * turns - h.phase_rad) for h in shown)
        # Where the only carrier passes zero, its sign says nothing; neighbours decide in a real scan.
        gray = np.where(np.abs(score) > 0.02, score < 0, axis.gray_bit(bit))
        higher = gray ^ higher
        cell |= higher << bit
    return axis.period_px * (np.rint((cell + 0.5) / 2 - turns) + turns)


def test_consecutive_holds_differ_clearly() -> None:
    plan = plan_pattern((640, 360))
    pictures = [plan.picture(hold).astype(float) for hold in plan.body]
    assert min(np.abs(a - b).mean() for a, b in pairwise(pictures)) > 25.0


def test_frames_follow_the_plan() -> None:
    plan = plan_pattern((320, 180), 25)
    first = plan.title_frames
    levels = [int(plan.frame(first + i * plan.beat_frames)[90, 160]) for i in range(len(plan.chips))]
    assert levels == [255 * chip for chip in plan.chips]
    assert np.array_equal(plan.frame(first), plan.frame(first + plan.beat_frames - 1))
    assert len({plan.frame(i * 25).tobytes() for i in range(8)}) == 8  # the count-down moves
    with pytest.raises(InputError, match="frame must be 0 to"):
        plan.frame(plan.frame_count)


def test_same_plan_same_bytes() -> None:
    one, two = plan_pattern((640, 360), 60), plan_pattern((640, 360), 60)
    assert one == two
    assert all(np.array_equal(one.frame(i), two.frame(i)) for i in range(0, one.frame_count, 37))


def test_mark_check_is_the_catalogued_one() -> None:
    # Catalogue of parametrised CRC algorithms, entry CRC-7/MMC: check value of "123456789".
    assert mark.crc7(b"123456789") == 0x75


def test_marks_of_known_sizes_differ() -> None:
    chips = {mark.mark_chips(size, form) for size in mark.KNOWN_SIZES for form in FORMS}
    assert len(chips) == len(FORMS) * len(mark.KNOWN_SIZES)


@pytest.mark.parametrize("form", FORMS)
def test_wrong_size_is_named(form: Form) -> None:
    word = mark.mark_chips((1280, 720), form)[-mark.DATA_BITS :]
    assert mark.check_mark(word, (1280, 720)) == form
    with pytest.raises(InputError, match="pattern for 1280x720, but the projector of this project has 1920x1080"):
        mark.check_mark(word, (1920, 1080))


@pytest.mark.parametrize("size", [(100, 100), (1921, 1080), (9000, 1000), (0, 0)])
def test_bad_size_is_refused(size: tuple[int, int]) -> None:
    with pytest.raises(InputError, match="size must be even"):
        plan_pattern(size)


@pytest.mark.parametrize("rate", [0, 15, 120])
def test_bad_rate_is_refused(rate: int) -> None:
    with pytest.raises(InputError, match="rate must be 24 to 60"):
        plan_pattern((640, 360), rate)


def test_video_shows_the_plan(tmp_path: Path) -> None:
    plan = plan_pattern((640, 360), 30, form="short")
    write_pattern(tmp_path / "pattern.mp4", plan)
    with ClipReader(tmp_path / "pattern.mp4") as reader:
        assert reader.info.size == plan.size
        worst = 0.0
        count = 0
        for index, (_, luma) in enumerate(reader.luma()):
            expected = 16.0 + 219.0 / 255.0 * plan.frame(index)
            if plan.title_frames <= index < plan.frame_count - plan.closing_frames:
                worst = max(worst, float(np.sqrt(np.mean((luma - expected) ** 2))))
            count += 1
    assert count == plan.frame_count
    assert worst < 2.0  # codes, RMS: well below the noise of a phone


@pytest.mark.parametrize("size", [(1280, 720), (1920, 1200)])
def test_checks_are_single_lines_and_the_grey_they_blur_into(size: tuple[int, int]) -> None:
    plan = plan_pattern(size)
    grey, *lines = (plan.picture(hold).astype(int) for hold in plan.checks)
    assert np.ptp(grey) == 0
    for picture, inverse, axis in ((lines[0], lines[1], 1), (lines[2], lines[3], 0)):
        assert np.array_equal(picture + inverse, np.full(size[::-1], 255))
        assert set(np.unique(picture)) == {0, 255}
        assert np.all(np.diff(picture, axis=axis) != 0)
        assert np.all(np.diff(picture, axis=1 - axis) == 0)
        # What a scaler makes of lines that fall between two pixels, in codes, is the grey.
        between = 0.5 * (picture + np.roll(picture, 1, axis=axis))
        assert np.abs(between - grey).max() <= 0.5
    assert plan_pattern(size, form="short").checks == ()


def test_lines_come_through_the_encoder(tmp_path: Path) -> None:
    plan = plan_pattern((640, 360))
    write_pattern(tmp_path / "pattern.mp4", plan)
    first = plan.title_frames + (len(plan.chips) + plan.body_beats + len(plan.end)) * plan.beat_frames
    with ClipReader(tmp_path / "pattern.mp4") as reader:
        for index, (_, luma) in enumerate(reader.luma()):
            if first <= index < first + len(plan.checks) * plan.beat_frames:
                off = luma - (16.0 + 219.0 / 255.0 * plan.frame(index))
                assert np.sqrt(np.mean(off**2)) < 2.0


def test_stopping_leaves_nothing_behind(tmp_path: Path) -> None:
    def stop(share: float, doing: str) -> None:
        if share > 0.1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_pattern(tmp_path / "pattern.mp4", plan_pattern((320, 180)), stop)
    assert list(tmp_path.iterdir()) == []
