"""A desk and a running studio over a small exact project."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from front import make_project

from limewash.studio.app import create_app
from limewash.studio.desk import Desk
from limewash.studio.recent import Recent


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return make_project(tmp_path / "house").root


@pytest.fixture
def desk(root: Path, tmp_path: Path) -> Iterator[Desk]:
    made = Desk(Recent(tmp_path / "settings" / "recent.json"))
    made.open(root)
    yield made
    made.close()


@pytest.fixture
def client(desk: Desk) -> TestClient:
    return TestClient(create_app(desk), base_url="http://127.0.0.1:8750")
