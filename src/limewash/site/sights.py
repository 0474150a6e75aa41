"""What lenses at the stands see of a section and of people's eyes: the same for every projector."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.project.projector import Projector
from limewash.site import aim_kernel as k
from limewash.site.scene import Scene
from limewash.site.shade_kernel import free_ways
from limewash.site.tables import SectionTable, ShadeTable, eye_table, projector_row, shade_table

Array = NDArray[np.float64]
Flags = NDArray[np.uint8]

_CHUNK = 2000


@dataclass(frozen=True)
class Sights:
    """All that the kernel must know of the stands, whatever projector is put there.

    The ways are those from the stand itself; a lens whose light seems to come from some centimetres further
    ahead (`throw_extra_m`) is shaded as if it came from the stand.

    Attributes
    ----------
    stands : ndarray of shape (S, 3)
        Lens places. [m]
    section : SectionTable
        What is to be lit.
    free : ndarray of uint8, shape (S, M)
        1 where nothing stands between stand and sample.
    eyes, eyes_free : ndarray of shape (P, 3) and (S, P)
        People's eyes [m], and whether nothing stands between.
    """

    stands: Array
    section: SectionTable
    free: Flags
    eyes: Array
    eyes_free: Flags

    def at(self, index: int) -> Sights:
        """One stand alone."""
        one = slice(index, index + 1)
        return Sights(self.stands[one], self.section, self.free[one], self.eyes, self.eyes_free[one])

    def judge(self, projector: Projector, ambient_lx: float) -> Array:
        """Run the kernel over all stands on all cores; rows of results in the column order of `aim_kernel`."""
        out = np.empty((len(self.stands), k.RESULT_COLUMNS))
        row, hull, samples = projector_row(projector), self.section.hull, self.section.samples

        def run(part: slice) -> None:
            free, seen = self.free[part], self.eyes_free[part]
            k.judge_stands(self.stands[part], row, hull, samples, free, self.eyes, seen, ambient_lx, out[part])

        _in_chunks(run, len(out))
        return out


class Lookout:
    """Makes `Sights`; looks for people's eyes only once."""

    def __init__(self, scene: Scene, stands: Array) -> None:
        self.stands, self.eyes = stands, eye_table(scene)
        self._shade = shade_table(scene)
        self._eyes_free = _free(stands, self.eyes, self._shade)

    def sights(self, section: SectionTable) -> Sights:
        """What all stands see of a section."""
        free = _free(self.stands, section.samples[:, :3], self._shade)
        return Sights(self.stands, section, free, self.eyes, self._eyes_free)


def _free(lenses_m: Array, points_m: Array, shade: ShadeTable) -> Flags:
    shade = shade.between(lenses_m, points_m)
    out = np.empty((len(lenses_m), len(points_m)), dtype=np.uint8)
    points_m = np.ascontiguousarray(points_m)

    def run(part: slice) -> None:
        free_ways(lenses_m[part], points_m, shade.facets, shade.corners, shade.starts, shade.boxes, out[part])

    _in_chunks(run, len(out))
    return out


def _in_chunks(run: Callable[[slice], None], count: int) -> None:
    parts = [slice(start, start + _CHUNK) for start in range(0, count, _CHUNK)]
    if len(parts) == 1:
        run(parts[0])
        return
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(run, parts))
