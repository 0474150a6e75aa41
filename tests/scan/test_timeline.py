"""Timing the changes of hold: what is believed and what is not."""

from __future__ import annotations

import numpy as np
import pytest

from limewash.scan.timeline import Clockwork, Mark

BEAT_S = 0.234
MARK = Mark(start_s=1.0, beat_s=BEAT_S, word=(0, 1, 0, 1, 1, 0, 0, 1), dark=20.0, bright=160.0)


def follow(late_s: list[float], strengths: list[float]) -> Clockwork:
    """Let a clock see one change a beat, as late and as strong as told, among changes of size 1 from noise."""
    clock = Clockwork.from_mark(MARK)
    begin = len(MARK.chips)
    for k, (late, strength) in enumerate(zip(late_s, strengths, strict=True)):
        moment_s = MARK.start_s + (begin + k) * BEAT_S
        times_s = moment_s + np.arange(-9, 10) / 30.0
        change = np.ones(len(times_s))
        change[np.argmin(np.abs(times_s - moment_s - late))] = strength
        clock.observe(begin + k, times_s, change)
    return clock


def unsteady_s(clock: Clockwork) -> float:
    return float(np.max(np.abs(clock.jumps_s)))


def test_a_faint_change_far_off_is_noise() -> None:
    clock = follow([0.0, 0.0, -0.1, 0.0, 0.0, 0.0], [3.0, 3.0, 2.2, 3.0, 3.0, 3.0])
    assert unsteady_s(clock) < 0.02
    assert clock.expect(23.0) == pytest.approx(MARK.start_s + 23 * BEAT_S, abs=0.01)


def test_a_plain_change_far_off_is_the_player_s() -> None:
    assert unsteady_s(follow([0.0, 0.0, 0.1, 0.0, 0.0, 0.0], [9.0] * 6)) > 0.08


def test_a_faint_delay_that_stays_is_followed() -> None:
    clock = follow([0.0, 0.0, *[0.1] * 20], [3.0] * 22)
    assert clock.expect(37.0) == pytest.approx(MARK.start_s + 37 * BEAT_S + 0.1, abs=0.03)
