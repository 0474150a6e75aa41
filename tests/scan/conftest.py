"""Clips that several tests read, filmed once."""

from __future__ import annotations

from pathlib import Path

import pytest
from street import SIZE, Phone, film, street

from limewash.scan.pattern import plan_pattern
from limewash.scan.read import ScanResult, read_clip


@pytest.fixture(scope="session")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The full pattern at 30 frames/s, filmed at 29.97 by an ordinary phone."""
    path = tmp_path_factory.mktemp("clip") / "clip.mp4"
    film(path, plan_pattern(SIZE), street(), Phone())
    return path


@pytest.fixture(scope="session")
def scan(clip: Path) -> ScanResult:
    return read_clip(clip, SIZE)
