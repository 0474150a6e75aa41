"""What passes before the pattern is skipped, and never any of the pattern."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest
from street import SIZE as STREET
from test_read import steady

from limewash.media.reading import ClipReader
from limewash.scan import clip as clip_module
from limewash.scan.clip import take_clip
from limewash.scan.lead_in import pattern_begins
from limewash.scan.pattern import PatternPlan, plan_pattern

SIZE = (320, 180)
RATE = 30
PLAN: PatternPlan = plan_pattern(SIZE, RATE)


def write(
    path: Path,
    lead_s: float,
    *,
    stop_s: float = 9.0,
    passing_s: tuple[float, ...] = (),
    every: int = RATE,
    title_code: int = 12,
) -> float:
    """The pattern after a dark title, as a phone stores it: noisy, and whole once in `every` frames, come what may.

    At each of `passing_s` a bright light stands in the picture for a second. Gives the time at which the mark begins.
    """
    noise = np.random.default_rng(round(1000 * lead_s))
    title = np.full(SIZE[::-1], title_code, dtype=np.uint8)
    title[60:80, 40:280:3] = 200 if title_code else 0
    first = round(lead_s * RATE)
    with av.open(str(path), "w") as out:
        options = {"crf": "18", "preset": "veryfast", "x264-params": f"keyint={every}:min-keyint={every}:scenecut=0"}
        stream = out.add_stream("libx264", rate=RATE, options=options)
        stream.width, stream.height, stream.pix_fmt = *SIZE, "yuv420p"
        for n in range(first + round(stop_s * RATE)):
            shown = title if n < first else PLAN.frame(PLAN.title_frames + n - first)
            light = 25.0 + 0.6 * shown + noise.normal(0.0, 2.0, shown.shape)
            if any(0.0 <= n / RATE - t < 1.0 for t in passing_s):
                light[:, 200:] += 60.0
            picture = np.clip(light, 0, 255).astype(np.uint8)
            out.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="gray").reformat(format="yuv420p")))
        out.mux(stream.encode(None))
    return first / RATE


def sparse(luma: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(luma[1::3, 1::3])


def begins(path: Path) -> float:
    with ClipReader(path) as reader:
        return pattern_begins(reader, sparse)


@pytest.mark.parametrize(
    ("every", "lead_s"), [(30, 7.0), (30, 7.2), (30, 7.4), (30, 7.6), (30, 7.8), (31, 7.7), (45, 7.4), (45, 8.2)]
)
def test_wherever_the_whole_pictures_fall(tmp_path: Path, every: int, lead_s: float) -> None:
    mark_s = write(tmp_path / "clip.mp4", lead_s, every=every)
    begin_s = begins(tmp_path / "clip.mp4")
    assert begin_s < mark_s
    if every < 45:  # with fewer whole pictures less can be told
        assert begin_s > mark_s - 2.1


@pytest.mark.parametrize("lead_s", [9.1, 9.8])
def test_a_title_as_dark_as_black_may_hide_the_first_of_the_mark(tmp_path: Path, lead_s: float) -> None:
    mark_s = write(tmp_path / "clip.mp4", lead_s, title_code=0)
    assert mark_s - 8.0 < begins(tmp_path / "clip.mp4") < mark_s


def test_a_car_before_the_pattern_does_not_count(tmp_path: Path) -> None:
    mark_s = write(tmp_path / "clip.mp4", 9.4, passing_s=(1.5,))
    assert mark_s - 4.0 < begins(tmp_path / "clip.mp4") < mark_s


def test_busy_streets_are_read_from_the_start(tmp_path: Path) -> None:
    write(tmp_path / "clip.mp4", 9.4, passing_s=(0.5, 2.5, 4.5, 6.5, 8.5))
    assert begins(tmp_path / "clip.mp4") == 0.0


def test_short_lead_ins_are_read(tmp_path: Path) -> None:
    write(tmp_path / "clip.mp4", 2.0)
    assert begins(tmp_path / "clip.mp4") == 0.0


def test_clips_without_a_pattern_are_read_whole(tmp_path: Path) -> None:
    steady(tmp_path / "clip.mp4", 0.3)
    assert begins(tmp_path / "clip.mp4") == 0.0


@pytest.mark.parametrize("guess_s", [12.0, 20.0])
def test_a_wrong_guess_costs_time_alone(
    tmp_path: Path, clip: Path, monkeypatch: pytest.MonkeyPatch, guess_s: float
) -> None:
    monkeypatch.setattr(clip_module, "pattern_begins", lambda *_: 0.0)
    expected = take_clip(clip, STREET)
    monkeypatch.setattr(clip_module, "pattern_begins", lambda *_: guess_s)
    told: list[float] = []
    takes = take_clip(clip, STREET, lambda share, _: told.append(share))
    assert told == sorted(told) and told[-1] > 0.9, "the bar must not run back"
    np.testing.assert_array_equal(takes.counts, expected.counts)
    np.testing.assert_array_equal(takes.sums, expected.sums)
