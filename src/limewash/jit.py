"""The one door to Numba: typed and cached.

The threading layer does not spin while it waits. A kernel is a module-level function. Never build two kernels from
one inner function: with a cache the second silently loads the machine code of the first. Parallel kernels may be
called from one thread only at a time: the `workqueue` layer ends the process otherwise.

Rows are taken out of an array by their number. Unpacked into names (`a, b = np.empty((2, n))`) they count as
arrays of any layout, and loops over them are not made for the processor's vector units: measured, 2.7 times slower.

Numba's cache only sees when a kernel's own file changes, but kernels of other files, and constants, are compiled into
it. So each state of all that a file builds on has a cache folder of its own.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar, cast

import numba
import numpy as np
from numba.core.dispatcher import Dispatcher

numba.config.THREADING_LAYER = "workqueue"  # type: ignore[attr-defined]

F = TypeVar("F", bound=Callable[..., object])

prange = numba.prange

_stamps: dict[str, str] = {}  # of modules with kernels


def kernel(function: F) -> F:
    """Compile for one thread; the result is cached on disk and does not hold the interpreter lock."""
    return _compiled(function)


def summing_kernel(function: F) -> F:
    """As `kernel`; sums may be added up in any order, so that the compiler can use the processor's vector units."""
    return _compiled(function, fastmath={"reassoc", "contract", "nsz"})


def parallel_kernel(function: F) -> F:
    """Compile for all cores (`prange` loops). Compiles slowly: use it where the loop is heavy."""
    return _compiled(function, parallel=True)


def get_ready() -> None:
    """Let Numba do what it does before its first kernel, for a third of a second, beside what the caller does next."""
    threading.Thread(target=_nothing, daemon=True).start()


def _compiled(function: F, *, parallel: bool = False, fastmath: bool | set[str] = False) -> F:
    user_folder = numba.config.CACHE_DIR  # type: ignore[attr-defined]
    folder = (
        Path(user_folder) / "limewash" if user_folder else Path(function.__code__.co_filename).parent / "__pycache__"
    )
    # Numba looks at the folder once, now; one that cannot be written to it passes over for the user's own.
    numba.config.CACHE_DIR = str(folder / f"kernels-{_stamp(function)}")  # type: ignore[attr-defined]
    try:
        jit = numba.njit(cache=True, nogil=True, error_model="numpy", parallel=parallel, fastmath=fastmath)
        try:
            return cast(F, jit(function))
        except RuntimeError:  # neither this folder nor the user's own can be written to: compiled at each start
            plain = numba.njit(nogil=True, error_model="numpy", parallel=parallel, fastmath=fastmath)
            return cast(F, plain(function))
    finally:
        numba.config.CACHE_DIR = user_folder  # type: ignore[attr-defined]


def _stamp(function: Callable[..., object]) -> str:
    """Tells one state of a kernel's file, and of all kernels and constants that it imports, from another."""
    module = function.__module__
    if module not in _stamps:
        state = hashlib.sha256(Path(function.__code__.co_filename).read_bytes())
        for name, value in sorted(function.__globals__.items()):
            if isinstance(value, Dispatcher) and value.py_func.__module__ != module:
                state.update(f"{name} {_stamp(value.py_func)}".encode())
            elif isinstance(value, bool | int | float | complex | str | tuple | np.generic) and name[:2] != "__":
                state.update(f"{name} {value!r}".encode())
        _stamps[module] = state.hexdigest()[:16]
    return _stamps[module]


@kernel
def _nothing() -> None:
    pass
