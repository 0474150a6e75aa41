"""The studio's ES modules: drawing geometry run by Node, types checked by the TypeScript compiler."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def tool(name: str) -> str:
    """Path of a program; in CI its absence is a failure, elsewhere the test is left out."""
    found = shutil.which(name)
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(f"CI must have {name}: the studio's modules are never left unchecked there")
        pytest.skip(f"no {name} on this machine: the studio's modules are not checked")
    return found


def run(*command: str) -> str:
    done = subprocess.run(command, cwd=HERE, capture_output=True, text=True, timeout=300, check=False)
    said = done.stdout + done.stderr
    assert done.returncode == 0, said
    return said


def test_drawing_geometry() -> None:
    said = run(tool("node"), "--test", "--test-reporter=tap", *sorted(str(path) for path in HERE.glob("*.test.js")))
    assert "# fail 0" in said
    assert "# pass 0" not in said


def test_types() -> None:
    compiler = HERE / "node_modules" / "typescript" / "bin" / "tsc"
    if not compiler.is_file():
        run(tool("npm"), "install", "--no-package-lock", "--no-audit", "--no-fund", "--ignore-scripts")
    run(tool("node"), str(compiler), "--project", ".")
