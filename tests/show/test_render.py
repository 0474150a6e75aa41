from __future__ import annotations

from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from limewash.errors import InputError
from limewash.light.colour import decode_bt1886
from limewash.media.sound import Sound, write_wav
from limewash.show.compositor import Compositor
from limewash.show.effects import EFFECTS
from limewash.show.fields import Fields
from limewash.show.render import render_show, show_sound
from limewash.show.score import Score, parse_score


def trial(**music: Any) -> Score:
    return parse_score(
        {
            "format": 1,
            "show": {"title": "T", "length_s": 1.5, "rate": 20},
            "music": {"bpm": 96, **music},
            "cue": [
                {"effect": "hearth glow", "where": "windows"},
                {"effect": "slow beam", "start": 0.5, "how": {"cross_s": 1.5}},
            ],
        },
        where="x",
    )


def test_the_film_holds_every_frame_at_its_light(fields: Fields, tmp_path: Path) -> None:
    score, film = trial(), tmp_path / "show.mp4"
    shares: list[float] = []
    sound = Sound(np.zeros((48_000, 2), dtype=np.float32), 48_000)
    render_show(score, fields, film, sound=sound, progress=lambda share, _: shares.append(share))
    with av.open(str(film)) as container:
        frames = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]
        assert len(container.streams.audio) == 1
    assert len(frames) == 30
    assert shares == pytest.approx(np.arange(1, 31) / 30)
    compositor = Compositor(score, fields)
    for k in (0, 7, 15, 29):
        drawn = compositor.draw(k / 20)
        # What the projector makes of the film (Rec. ITU-R BT.1886) is the light that was drawn.
        shown = decode_bt1886(frames[k] / 255.0)
        assert shown.mean() == pytest.approx(drawn.mean(), abs=0.004), k
        assert np.abs(shown - drawn).mean() < 0.01, k


def test_a_film_broken_off_leaves_nothing_and_keeps_the_old_one(fields: Fields, tmp_path: Path) -> None:
    film = tmp_path / "show.mp4"
    film.write_bytes(b"the old film")

    def stop_half_way(share: float, _doing: str) -> None:
        if share > 0.5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        render_show(trial(), fields, film, progress=stop_half_way)
    assert [path.name for path in tmp_path.iterdir()] == ["show.mp4"]
    assert film.read_bytes() == b"the old film"


def test_an_error_while_drawing_is_told_where_the_film_is_written(
    fields: Fields, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_args: Any, **_how: Any) -> Any:
        raise ZeroDivisionError("in the artist's thread")

    score = trial()
    broken = EFFECTS["slow-beam"]
    monkeypatch.setitem(broken.__dict__, "draw", fail)
    with pytest.raises(ZeroDivisionError, match="artist"):
        render_show(score, fields, tmp_path / "show.mp4")
    assert list(tmp_path.iterdir()) == []


def test_a_wrong_cue_is_told_before_a_file_is_begun(fields: Fields, tmp_path: Path) -> None:
    data = {"format": 1, "show": {"title": "T", "length_s": 1.0}, "cue": [{"effect": "hoarfrost", "where": "dor"}]}
    with pytest.raises(InputError, match=r"score.toml: cue 1, where: .*did you mean .door"):
        render_show(parse_score(data, where="x"), fields, tmp_path / "show.mp4", where="score.toml")
    assert list(tmp_path.iterdir()) == []


def test_music_is_found_beside_the_score(tmp_path: Path) -> None:
    write_wav(tmp_path / "tune.wav", Sound(np.full((4800, 1), 0.25, dtype=np.float32), 48_000))
    sound = show_sound(trial(file="tune.wav"), tmp_path)
    assert sound is not None
    assert sound.duration_s == pytest.approx(0.1)
    assert show_sound(trial(), tmp_path) is None
    with pytest.raises(InputError, match=r"music.file: .*other.wav does not exist"):
        show_sound(trial(file="other.wav"), tmp_path)
