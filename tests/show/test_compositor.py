from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from limewash.errors import InputError
from limewash.show.colours import linear_colour
from limewash.show.compositor import Compositor, envelope
from limewash.show.effects import EFFECTS, Draws, Light, Moment, Patch
from limewash.show.effects.registry import effect
from limewash.show.fields import Fields
from limewash.show.score import parse_score

DEEP = np.s_[183:193, 85:95]  # well inside window-1
WALL = np.s_[95:100, 150:160]  # bare wall


@pytest.fixture(autouse=True)
def even_light() -> Iterator[None]:
    """An effect that lights everything alike, for these tests alone."""

    def even_light(patch: Patch, now: Moment) -> Light:
        """The same light everywhere."""
        return Light(np.ones(len(patch), dtype=np.float32))

    effect(title="T", draws=Draws.AREAS, colours=("white",))(even_light)
    yield
    del EFFECTS["even-light"]


def frame_of(fields: Fields, *cues: dict[str, Any], t_s: float = 5.0) -> np.ndarray:
    plain = {"effect": "even light", "fade_in": 0, "fade_out": 0}
    data = {"format": 1, "show": {"title": "T", "length_s": 10.0}, "cue": [{**plain, **cue} for cue in cues]}
    return Compositor(parse_score(data, where="trial.toml"), fields).draw(t_s)


def test_light_is_added_in_linear_light(fields: Fields) -> None:
    frame = frame_of(
        fields, {"colours": "#804020", "level": 0.5}, {"where": "windows", "colours": "#206040", "level": 0.75}
    )
    below, above = linear_colour("#804020"), linear_colour("#206040")
    assert frame[WALL].mean(axis=(0, 1)) == pytest.approx(0.5 * below, abs=1e-6)
    assert frame[DEEP].mean(axis=(0, 1)) == pytest.approx(0.5 * below + 0.75 * above, abs=1e-6)


def test_covering_hides_what_is_below(fields: Fields) -> None:
    frame = frame_of(
        fields, {"colours": "#ff8000"}, {"where": "windows", "colours": "#0040ff", "level": 0.25, "lay": "cover"}
    )
    below, above = linear_colour("#ff8000"), linear_colour("#0040ff")
    assert frame[DEEP].mean(axis=(0, 1)) == pytest.approx(0.75 * below + 0.25 * above, abs=1e-6)


def test_tinting_colours_what_is_below(fields: Fields) -> None:
    frame = frame_of(
        fields, {"colours": "#ffb060"}, {"where": "windows", "colours": "#4080ff", "level": 0.5, "lay": "tint"}
    )
    below, above = linear_colour("#ffb060"), linear_colour("#4080ff")
    assert frame[DEEP].mean(axis=(0, 1)) == pytest.approx(below * (0.5 + 0.5 * above), abs=1e-6)


def test_too_much_light_keeps_its_hue(fields: Fields) -> None:
    frame = frame_of(fields, {"colours": "#ff8000"}, {"colours": "#ff8000"})
    assert frame[WALL].mean(axis=(0, 1)) == pytest.approx(linear_colour("#ff8000"), abs=1e-5)


def test_edges_are_as_soft_as_the_cover(fields: Fields) -> None:
    frame = frame_of(fields, {"where": "window-1"})
    cover = fields.house_map.cover("window-1") / 255.0
    partly = (cover > 0.05) & (cover < 0.95)
    assert partly.sum() > 20
    assert np.abs(frame[..., 1] - cover).max() < 1e-5


def test_what_is_kept_dark_stays_exactly_dark(fields: Fields) -> None:
    frame = frame_of(fields, {}, {"effect": "hearth glow"}, {"effect": "drawn outline"}, {"effect": "first snow"})
    assert fields.dark.sum() > 50
    assert frame[fields.dark].max() == 0.0
    assert frame.max() > 0.5


def test_cues_play_from_start_to_end(fields: Fields) -> None:
    cue = {"start": 2, "length": 3}
    assert frame_of(fields, cue, t_s=1.99).max() == 0.0
    assert frame_of(fields, cue, t_s=2.0).max() == 1.0
    assert frame_of(fields, cue, t_s=4.99).max() == 1.0
    assert frame_of(fields, cue, t_s=5.0).max() == 0.0


def test_fades_are_smooth(fields: Fields) -> None:
    data = {
        "format": 1,
        "show": {"title": "T", "length_s": 10.0},
        "cue": [{"effect": "even light", "start": 1, "length": 6, "fade_in": 2, "fade_out": 1}],
    }
    cue = parse_score(data, where="x").timed[0]
    levels = [envelope(cue, t_s) for t_s in (1.0, 2.0, 3.0, 5.0, 6.5, 7.0)]
    assert levels == pytest.approx([0.0, 0.5, 1.0, 1.0, 0.5, 0.0])


@pytest.mark.parametrize(
    ("cue", "message"),
    [
        ({"name": "a", "where": "windoes"}, r'trial.toml: cue 1 "a", where: .*did you mean .windows'),
        ({"where": "roof line"}, "only outlines are selected"),
        ({"effect": "lamp string", "where": "garage"}, "has nothing that is 'garage'"),
    ],
)
def test_what_the_house_lacks_is_said_before_anything_is_drawn(
    fields: Fields, cue: dict[str, Any], message: str
) -> None:
    data = {"format": 1, "show": {"title": "T", "length_s": 9.0}, "cue": [{"effect": "even light", **cue}]}
    with pytest.raises(InputError, match=message):
        Compositor(parse_score(data, where="trial.toml"), fields, where="trial.toml")


def test_forgetting_does_not_change_what_is_drawn(fields: Fields) -> None:
    data = {
        "format": 1,
        "show": {"title": "T", "length_s": 10.0},
        "cue": [{"effect": "hearth glow", "where": "windows", "length": 3}, {"effect": "first snow", "start": 2}],
    }
    compositor = Compositor(parse_score(data, where="x"), fields)
    early, late = compositor.draw(1.0).copy(), compositor.draw(6.0).copy()
    compositor.forget_before(6.0)
    assert np.array_equal(compositor.draw(6.0), late)
    assert np.array_equal(compositor.draw(1.0), early)
