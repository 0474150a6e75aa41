"""Set up and run Limewash from a fresh checkout; needs only Python 3.11 or newer.

    python3 go.py demo            the whole job on the demo house, into the folder demo-painted/
    python3 go.py test            every test, on up to four cores
    python3 go.py limewash ...    any limewash command
    python3 go.py python ...      the environment's own Python

The first call makes a virtual environment in .venv/ and installs into it; later calls use it as it is,
until pyproject.toml changes.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
PEERS = VENV / "peers"
# A second build of OpenCV that must not share an environment with the first; only its decoder is compared.
PEER_PACKAGES = ("opencv-contrib-python-headless==5.0.0.93",)


def main(arguments: list[str]) -> int:
    """Run one of the commands above; returns its exit code."""
    if sys.version_info < (3, 11):  # noqa: UP036 -- this file is what tells people that their Python is too old
        print(f"Limewash needs Python 3.11 or newer; this is {sys.version.split()[0]}.", file=sys.stderr)
        return 2
    if not arguments or arguments[0] in ("-h", "--help"):
        print(__doc__)
        return 0
    command, rest = arguments[0], arguments[1:]
    if command not in ("demo", "limewash", "test", "python"):
        print(f"go.py knows demo, test, limewash and python, not {command!r}.", file=sys.stderr)
        return 2
    install(tests=command in ("test", "python"))
    drop_stale_kernels()
    before = {
        "demo": ("-m", "limewash", "demo"),
        "limewash": ("-m", "limewash"),
        "test": ("-m", "pytest", "--numprocesses", "auto", "--maxprocesses", "4", "--dist", "loadfile"),
        "python": (),
    }
    return run(PYTHON, *before[command], *rest)


def install(*, tests: bool) -> None:
    """Bring the environment up to date with pyproject.toml, if it is not."""
    stamps = [VENV / "ready-tests"] if tests else [VENV / "ready", VENV / "ready-tests"]
    state = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    if PYTHON.exists() and any(stamp.exists() and stamp.read_text() == state for stamp in stamps):
        return
    print(f"Setting up {VENV} (once; about a minute on a good line) ...", flush=True)
    try:
        venv.create(VENV, with_pip=True)
    except subprocess.CalledProcessError:
        sys.exit("Python's venv module is incomplete here. On Debian and Ubuntu: sudo apt install python3-venv")
    pip = (PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check")
    if run(*pip, "--editable", f"{ROOT}[dev]" if tests else str(ROOT)):
        sys.exit("The installation failed; the lines above say why. Check the network and run the command again.")
    if tests and run(*pip, "--no-deps", "--upgrade", "--target", str(PEERS), *PEER_PACKAGES):
        sys.exit("Installing the library that the tests compare with failed; run the command again.")
    stamps[0].write_text(state)


def drop_stale_kernels() -> None:
    """Delete compiled kernels when any source has changed since the last run.

    Numba compiles a kernel again when its own file changes, but not when a kernel that it calls, in another file, does.
    """
    sources = sorted((ROOT / "src").rglob("*.py"))
    state = hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()
    stamp = VENV / "sources"
    if stamp.exists() and stamp.read_text() != state:
        for compiled in (ROOT / "src").rglob("__pycache__/*.nb[ci]"):
            compiled.unlink(missing_ok=True)
    stamp.write_text(state)


def run(*command: str | Path) -> int:
    """Run a command in this folder and hand its exit code on."""
    try:
        return subprocess.run([str(part) for part in command], cwd=ROOT, check=False).returncode
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
