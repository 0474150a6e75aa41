"""The picture of the rooms is drawn from the code as it is."""

import runpy
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_the_picture_is_up_to_date() -> None:
    drawn = runpy.run_path(str(ROOT / "docs" / "draw_architecture.py"))["picture"]()
    committed = (ROOT / "docs" / "architecture.svg").read_text(encoding="utf-8")
    assert drawn == committed, "run: python docs/draw_architecture.py"
