"""The one door to Numba: typed and cached.

The threading layer does not spin while it waits. A kernel is a module-level function. Never build two kernels from
one inner function: with a cache the second silently loads the machine code of the first. Parallel kernels may be
called from one thread only at a time: the `workqueue` layer ends the process otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

numba.config.THREADING_LAYER = "workqueue"  # type: ignore[attr-defined]

F = TypeVar("F", bound=Callable[..., object])

prange = numba.prange


def kernel(function: F) -> F:
    """Compile for one thread; the result is cached on disk and does not hold the interpreter lock."""
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))


def summing_kernel(function: F) -> F:
    """As `kernel`; sums may be added up in any order, so that the compiler can use the processor's vector units."""
    compiled = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract", "nsz"})
    return cast(F, compiled(function))


def parallel_kernel(function: F) -> F:
    """Compile for all cores (`prange` loops). Compiles slowly: use it where the loop is heavy."""
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy", parallel=True)(function))
