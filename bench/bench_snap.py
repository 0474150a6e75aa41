"""How near clicks by hand come to the true edges, once settled on the photo: both virtual houses, many hands.

Every corner is clicked with a normal noise of 2 photo pixels along x and y, all paths settled together on the photo by
the projector's light, and carried to projector pixels through the exact scan. Edges that the photo does not show (white
board on white board, behind shrubs) cannot be settled on; they count in the last column only. The weights of settling
were chosen with hands 0 to 19 and 3000 to 3059, and looked at with 12 to 35, 100 to 1307, 2000 to 2015, 7000 to
7011 and 8000 to 8009; the default here begins at 2016.

    python bench/bench_snap.py [--hands 24] [--first 2016] [--noise-px 2]
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "facade")]

from hand_clicks import apart, by_hand, front_of, settled  # noqa: E402 -- the tests' own hand

from limewash.world.virtual import HOUSES, load_world  # noqa: E402

REACH_PX = 0.7


def main() -> None:
    """Print a line for each hand, and each house's own."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hands", type=int, default=24)
    parser.add_argument("--first", type=int, default=2016)
    parser.add_argument("--noise-px", type=float, default=2.0)
    args = parser.parse_args()
    for house in HOUSES:
        front = front_of(load_world(house))
        sides = [side for some in front.sides.values() for side in some]
        print(f"{house}: {sum(side.shows for side in sides)} of {len(sides)} edges show in the photo")
        print("  hand  drawn RMSE  settled RMSE  median   p95  all edges drawn  settled   [projector px]")
        pooled = []
        for seed in range(args.first, args.first + args.hands):
            drawn = by_hand(front, seed, hand_px=args.noise_px)
            before, after = apart(front, drawn), apart(front, settled(front, drawn, reach_px=3.0 * args.noise_px))
            pooled.append(after.shown_px)
            print(
                f"  {seed:4d}  {before.rmse_px:10.2f}  {after.rmse_px:12.2f}  {np.median(after.shown_px):6.2f}"
                f"{np.percentile(after.shown_px, 95):6.2f}  {_rms(before.all_px):15.2f}  {_rms(after.all_px):7.2f}",
                flush=True,
            )
        rmse = _rms(np.concatenate(pooled))
        print(f"  {house}: RMSE {rmse:.2f} projector px, {rmse / REACH_PX:.2f} of the {REACH_PX} aimed at", flush=True)


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


if __name__ == "__main__":
    main()
