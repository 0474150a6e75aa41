"""Running the demo's stages: times, figures, and going on after a break."""

import json
from pathlib import Path

import pytest

from limewash.demo.run import STATE_FILE, DemoPlan, Figures, Stage, run_stages
from limewash.errors import InputError
from limewash.progress import Progress, silent


def counted(name: str, done: list[str]) -> Stage:
    def work(progress: Progress) -> Figures:
        progress(1.0, name)
        done.append(name)
        return {"order": len(done)}

    return Stage(name, name.title(), work)


def broken(_progress: Progress) -> Figures:
    raise KeyboardInterrupt


def test_a_broken_run_goes_on_where_it_stopped(tmp_path: Path) -> None:
    done: list[str] = []
    one, two, three = (counted(name, done) for name in ("one", "two", "three"))
    with pytest.raises(KeyboardInterrupt):
        run_stages(tmp_path, DemoPlan(), [one, Stage("two", "Two", broken), three], lambda _: silent)
    assert done == ["one"]
    state = run_stages(tmp_path, DemoPlan(), [one, two, three], lambda _: silent)
    assert done == ["one", "two", "three"]
    assert list(state.seconds) == ["one", "two", "three"]
    assert state.figures["three"] == {"order": 3}
    saved = json.loads((tmp_path / STATE_FILE).read_text(encoding="utf-8"))
    assert saved["figures"] == state.figures


def test_a_finished_run_is_not_done_again(tmp_path: Path) -> None:
    done: list[str] = []
    for _ in range(2):
        run_stages(tmp_path, DemoPlan(), [counted("one", done)], lambda _: silent)
    assert done == ["one"]


def test_another_plan_does_not_mix_into_the_folder(tmp_path: Path) -> None:
    run_stages(tmp_path, DemoPlan(), [], lambda _: silent)
    with pytest.raises(InputError, match="holds a demo with other options"):
        run_stages(tmp_path, DemoPlan.quick(), [], lambda _: silent)


def test_a_folder_with_something_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("keep me")
    with pytest.raises(InputError, match="holds no demo"):
        run_stages(tmp_path, DemoPlan(), [], lambda _: silent)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_a_damaged_state_is_told(tmp_path: Path) -> None:
    (tmp_path / STATE_FILE).write_text("{", encoding="utf-8")
    with pytest.raises(InputError, match=r"demo\.json is damaged"):
        run_stages(tmp_path, DemoPlan(), [], lambda _: silent)
