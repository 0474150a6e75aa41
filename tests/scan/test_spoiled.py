"""A few spoilt clips of the many that bench/bench_scan_fuzz.py tries: refused with a reason, right, or warned of."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
import spoiled
from spoiled import Frames
from street import SIZE, Phone, film, street

from limewash.errors import InputError
from limewash.scan.pattern import plan_pattern
from limewash.scan.read import read_clip


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, Frames]:
    path = tmp_path_factory.mktemp("whole") / "clip.mp4"
    film(path, plan_pattern(SIZE, form="short"), street(), Phone())
    return path.read_bytes(), spoiled.frames_of(path)


KINDS = (
    spoiled.drop_some,
    spoiled.freeze,
    spoiled.swap_stretches,
    spoiled.black_for_a_while,
    spoiled.mirrored,
    spoiled.bump,
    spoiled.roll,
    spoiled.exposure_jumps,
    spoiled.somebody_walks_by,
    spoiled.cut_bytes,
    spoiled.spoil_the_head,
    spoiled.only_noise,
)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_spoilt_clips_are_told(tmp_path: Path, whole: tuple[bytes, Frames], kind: spoiled.Spoil) -> None:
    random = np.random.default_rng([7, KINDS.index(kind)])
    path = tmp_path / "clip.mp4"
    if kind in spoiled.FILES:
        path.write_bytes(kind(whole[0], random))  # type: ignore[arg-type, call-overload]
    else:
        spoiled.write_frames(path, kind(whole[1], random))
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # arithmetic on nonsense would warn
        try:
            result = read_clip(path, SIZE)
        except InputError as error:
            assert str(path) in str(error) or "projector size" in str(error)
            return
    found = result.correspondence
    if kind is spoiled.mirrored:
        assert "mirrored" in {item.code for item in result.findings.warnings}
        found.camera_x[:] = SIZE[0] - 1 - found.camera_x
    errors = street().errors_px(found)
    assert result.findings.warnings or np.mean(errors > 3.0) <= 0.01
