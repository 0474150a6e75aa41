from __future__ import annotations

import copy
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import limewash.show.demo
from limewash.errors import InputError
from limewash.show.beats import Beats
from limewash.show.colours import NAMES, colour_row, linear_colour
from limewash.show.effects import EFFECTS
from limewash.show.score import Score, parse_score, read_score

BUNDLED = sorted(Path(limewash.show.demo.__path__[0]).glob("*.toml"))

PLAIN: dict[str, Any] = {
    "format": 1,
    "show": {"title": "Trial", "length_s": 30.0},
    "music": {"bpm": 120, "first_beat_s": 0.5},
    "cue": [{"name": "glow", "start": "bar 3", "length": "2 bars", "effect": "hearth glow", "where": "windows"}],
}


def changed(**cue: Any) -> dict[str, Any]:
    data = copy.deepcopy(PLAIN)
    data["cue"][0].update(cue)
    return data


@pytest.mark.parametrize(
    ("text", "start_s"),
    [
        (4, 4.0),
        ("12.5", 12.5),
        ("12.5 s", 12.5),
        ("bar 1", 0.5),
        ("bar 3", 4.5),
        ("bar 3 beat 2", 5.0),
        ("Bar 3, beat 2.5", 5.25),
        ("beat 33.5", 16.75),
    ],
)
def test_starts_are_read(text: float | str, start_s: float) -> None:
    assert parse_score(changed(start=text), where="x").timed[0].start_s == pytest.approx(start_s)


@pytest.mark.parametrize(
    ("text", "length_s"), [(4, 4.0), ("2.5 s", 2.5), ("2 bars", 4.0), ("1 bar", 2.0), ("3 beats", 1.5), (None, 25.5)]
)
def test_lengths_are_read(text: float | str | None, length_s: float) -> None:
    data = changed(length=text)
    if text is None:
        del data["cue"][0]["length"]
    assert parse_score(data, where="x").timed[0].length_s == pytest.approx(length_s)


def test_beats_may_be_given_one_by_one() -> None:
    data = changed(start="beat 4", length="2 beats")
    data["music"] = {"beats": [1.0, 1.5, 2.5, 4.0, 4.4]}
    cue = parse_score(data, where="x").timed[0]
    assert cue.start_s == pytest.approx(4.0)
    assert cue.end_s == pytest.approx(4.8)  # after the last known beat its interval goes on


@given(st.lists(st.floats(0.05, 3.0), min_size=1, max_size=30), st.floats(-5.0, 60.0))
def test_beat_and_time_are_inverse(intervals: list[float], beat: float) -> None:
    beats = Beats(tuple(np.cumsum([0.3, *intervals])))
    assert beats.beat(beats.time_s(beat)) == pytest.approx(beat, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"effect": "hearth glov"}, r'x: cue 1 "glow", effect: unknown effect .*did you mean .hearth-glow'),
        ({"wehre": "door"}, r'x: unknown key .cue 1 "glow", wehre.; did you mean .where.'),
        ({"how": {"spread": 1}}, r"has no parameter .spread.; did you mean .spread_m."),
        ({"how": {"spread_m": 99}}, r"how.spread_m must be 0.05 to 3 m, got 99"),
        ({"colours": ["ambre"]}, r"did you mean .amber."),
        ({"colours": ["#12345"]}, "must be a code such as"),
        ({"start": "4 bars"}, r'cue 1 "glow", start: must be seconds .*did you mean .bar 4.'),
        ({"length": "bar 4"}, r"did you mean .4 bars."),
        ({"start": "bar 0"}, "count from 1"),
        ({"start": "bar 40"}, "the show lasts from 0 to 30 s"),
        ({"length": 0}, "must be more than 0"),
        ({"level": 1.2}, r'cue 1 "glow", level must be less than or equal to 1'),
        ({"lay": "multiply"}, "'add', 'cover' or 'tint'"),
        ({"fade_in": -1}, "must not be negative"),
    ],
)
def test_faults_name_cue_key_and_what_is_allowed(change: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_score(changed(**change), where="x")


@pytest.mark.parametrize(
    ("music", "message"),
    [
        ({"bpm": 100, "beats": [1, 2]}, "not both"),
        ({"beats": [1.0]}, "at least two"),
        ({"beats": [1.0, 0.5]}, "later than the last"),
        ({"bmp": 100}, "did you mean 'bpm'"),
    ],
)
def test_faults_of_the_music_are_named(music: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_score({**PLAIN, "music": music}, where="x")


def test_missing_damaged_and_newer_files_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_score(tmp_path / "score.toml")
    (tmp_path / "score.toml").write_text("format = 1\n[show\n")
    with pytest.raises(InputError, match="line 2"):
        read_score(tmp_path / "score.toml")
    (tmp_path / "score.toml").write_text("format = 2\n")
    with pytest.raises(InputError, match="has format 2"):
        read_score(tmp_path / "score.toml")


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("length_s = 30", "length_s = 30\nlength_s = 60", "length_s"),
        ('effect = "hearth glow"', 'effect = "hearth glow"\neffect = "slow beam"', "effect"),
        ("[[cue]]", "[cue.how]\n[[cue]]", "cue"),
    ],
)
def test_what_is_given_twice_is_told_with_the_file(tmp_path: Path, old: str, new: str, key: str) -> None:
    path = tmp_path / "score.toml"
    text = 'format = 1\n[show]\ntitle = "Trial"\nlength_s = 30\n[[cue]]\neffect = "hearth glow"\nwhere = "windows"\n'
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=f'"{key}" already exists') as caught:
        read_score(path)
    assert str(caught.value).startswith(str(path))


def test_a_cues_chance_stays_its_own_when_others_come_before_it() -> None:
    data = changed()
    before = parse_score(data, where="x").timed[0].seed
    data["cue"].insert(0, {"effect": "first snow"})
    assert parse_score(data, where="x").timed[1].seed == before


@pytest.mark.parametrize(
    ("rate", "exact"), [(30, Fraction(30)), (29.97, Fraction(30000, 1001)), (25, Fraction(25)), (12.5, Fraction(25, 2))]
)
def test_rates_are_exact(rate: float, exact: Fraction) -> None:
    data = {**PLAIN, "show": {"title": "T", "length_s": 30.0, "rate": rate}}
    assert parse_score(data, where="x").show.exact_rate == exact


def test_colours_are_linear_light() -> None:
    # 7.8 of the check values: sRGB code 128 is 0.215861 of full light (IEC 61966-2-1).
    assert linear_colour("#808080") == pytest.approx([0.215861] * 3, abs=1e-6)
    assert linear_colour(" Warm-White ") == pytest.approx(linear_colour(NAMES["warm white"]))
    assert linear_colour("#f0a") == pytest.approx(linear_colour("ff00aa"))
    row = colour_row(["black", "white", "black"])
    assert row[0].max() == 0.0
    assert row[127] == pytest.approx(254 / 255, abs=1e-5)


@pytest.mark.parametrize("path", BUNDLED, ids=lambda path: path.stem)
def test_bundled_scores_are_whole(path: Path) -> None:
    score = read_score(path)
    assert isinstance(score, Score)
    assert all(cue.end_s <= score.show.length_s + 1e-9 for cue in score.timed)
    assert max(cue.end_s for cue in score.timed) == pytest.approx(score.show.length_s)


def test_the_bundled_year_uses_every_effect() -> None:
    year = read_score(next(path for path in BUNDLED if path.stem == "year"))
    assert {cue.effect.name for cue in year.timed} == set(EFFECTS)
