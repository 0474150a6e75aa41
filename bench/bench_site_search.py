"""How many stands a second the search judges, and how long a whole search of each demo site takes.

Run: python bench/bench_site_search.py [--step 0.25] [--repeats 3]
Prints evaluated stands a second (to reach: 20 000 on two cores), seconds for the whole search (to reach: under 5),
the processor seconds that it took (what to compare on a machine that others use too), and how many times faster a
judged stand is than an exact check of one. Higher, lower, lower, higher is better.
"""

from __future__ import annotations

import argparse
import statistics
import time

from limewash.project.models import House as ProjectHouse
from limewash.site.placement import check_rig
from limewash.site.scene import build_scene
from limewash.site.search import search
from limewash.world.model import HOUSES, read_house
from limewash.world.sketch import facade_of, rig_of, site_of


def demo_site(name: str, step_m: float) -> ProjectHouse:
    """A virtual house with everything that its search can try."""
    house = read_house(name)
    site = site_of(house).model_dump(mode="json", exclude_none=True)
    site["search"] = {"step_m": step_m, "projectors": ["standard", "short throw", "laser"]}
    return ProjectHouse.model_validate(
        {"name": name, "facade": facade_of(house), "site": site, "rig": (rig_of(house),)}
    )


def main() -> None:
    """Warm up once, then print the medians of the repeats."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--step", type=float, default=0.25)
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args()
    for name in HOUSES:
        house = demo_site(name, given.step)
        scene = build_scene(house)
        search(demo_site(name, 2.0), build_scene(demo_site(name, 2.0)))
        times, busy, checks, evaluated = [], [], [], 0
        for _ in range(given.repeats):
            start, began = time.perf_counter(), time.process_time()
            evaluated = search(house, scene).evaluated
            times.append(time.perf_counter() - start)
            busy.append(time.process_time() - began)
            start = time.perf_counter()
            check_rig(scene, house.rig[0])
            checks.append(time.perf_counter() - start)
        seconds, exact = statistics.median(times), statistics.median(checks)
        print(
            f"{name}: {evaluated} evaluated in {seconds:.2f} s = {evaluated / seconds:,.0f} a second; "
            f"{statistics.median(busy):.2f} processor s; "
            f"{exact / (seconds / evaluated):,.0f} x faster than an exact check"
        )


if __name__ == "__main__":
    main()
