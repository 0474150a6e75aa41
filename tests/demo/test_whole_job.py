"""The whole job at a small size on both houses: a filmed clip goes in, a show that lands comes out."""

from pathlib import Path

import av
import pytest

from limewash.demo.job import run_demo
from limewash.demo.run import DemoPlan, Stage
from limewash.progress import Progress, silent


@pytest.mark.slow
@pytest.mark.parametrize("house", ["painted", "brick"])
def test_the_map_lands_within_a_pixel_of_the_truth(house: str, tmp_path: Path) -> None:
    plan = DemoPlan(house, (960, 540), (960, 540), (480, 270), "short")
    watched: list[str] = []

    def watch(stage: Stage) -> Progress:
        watched.append(stage.name)
        return silent

    state = run_demo(tmp_path / "demo", plan, watch)

    assert watched == ["house", "pattern", "film", "scan", "map", "show", "proof"]
    # Edges within one projector pixel (RMSE) of the exact truth of the virtual house.
    assert state.figures["map"]["rmse_px"] <= 1.0
    assert state.figures["scan"]["median_px"] <= 0.15
    assert state.figures["scan"]["coverage"] >= 0.9

    root = tmp_path / "demo"
    report = (root / "report.html").read_text(encoding="utf-8")
    assert f"{state.figures['map']['rmse_px']:.3f}" in report
    with av.open(str(root / "project" / "shows" / "evening" / "show.mp4")) as film:
        stream = film.streams.video[0]
        assert (stream.width, stream.height, stream.pix_fmt) == (960, 540, "yuv420p")
        assert stream.frames == state.figures["show"]["frames"]
        assert film.streams.audio[0].codec_context.name == "aac"
    history = root / "project" / "history"
    assert not history.exists(), "a first run replaces nothing"

    again: list[str] = []
    run_demo(root, plan, lambda stage: again.append(stage.name) or silent)  # type: ignore[func-returns-value]
    assert again == [], "a finished demo is not done again"
