"""Kernels are compiled anew when what they build on changes."""

import subprocess
import sys
from pathlib import Path

import numba
import pytest

from limewash.jit import kernel

INNER = "from limewash.jit import kernel\n\nSCALE = 2.0\n\n@kernel\ndef inner(x):\n    return x + 1.0\n"
OUTER = (
    "from limewash.jit import kernel\nfrom inner import SCALE, inner\n\n"
    "@kernel\ndef outer(x):\n    return SCALE * inner(x)\n"
)


def run(folder: Path) -> tuple[float, int]:
    """What the outer kernel gives for 1, and how often it was found compiled."""
    words = [sys.executable, "-c", "from outer import outer; print(outer(1.0), *outer.stats.cache_hits.values())"]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=True)
    value, *hits = done.stdout.split()
    return float(value), sum(map(int, hits))


def test_where_nothing_can_be_kept_it_is_compiled_at_each_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """As where neither the program's folder nor the user's own can be written to."""

    def double(x: float) -> float:
        return 2.0 * x

    monkeypatch.setattr("numba.core.caching.CompileResultCacheImpl._locator_classes", [])
    with pytest.raises(RuntimeError, match="no locator"):
        numba.njit(cache=True)(double)
    assert kernel(double)(3.0) == 6.0


@pytest.mark.parametrize(
    ("before", "after", "gives"),
    [("x + 1.0", "x + 5.0", 12.0), ("SCALE = 2.0", "SCALE = 3.0", 6.0)],
    ids=["kernel", "constant"],
)
def test_a_change_in_another_file_counts(tmp_path: Path, before: str, after: str, gives: float) -> None:
    (tmp_path / "inner.py").write_text(INNER)
    (tmp_path / "outer.py").write_text(OUTER)
    assert run(tmp_path) == (4.0, 0)
    assert run(tmp_path) == (4.0, 1), "the second time nothing is compiled"
    (tmp_path / "inner.py").write_text(INNER.replace(before, after))
    assert run(tmp_path) == (gives, 0)
