"""How many windows, doors and roof lines of the virtual houses are proposed, and how many proposals are right.

Each house is seen by its own camera and by cameras that stand elsewhere. The limits of `facade.propose` and its parts
were chosen with the first cameras; the others count. A proposal is right if it is of the kind of a thing
of the house and shares 0.6 of what both cover together (a line: runs within 0.8 % of the photo's width), also if the
thing is half hidden; only things that are not count as missed.

The doors of both houses have panes. `no glass` tells how it is when they have none; what a plain leaf is was chosen
with the first two cameras of `TUNED`.

One real photograph of a building comes with the libraries that the tests use: a pagoda by day, in scikit-learn. Its
lattice windows and doors that can be told apart by eye were boxed by hand for this bench (`PAGODA`). It has no scan,
stands askew to the camera and is no dwelling house: the figures are told as they are, and nothing was chosen by them.

    python bench/bench_proposals.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "facade"))

from sklearn.datasets import load_sample_image  # noqa: E402
from test_propose import LIKE, OFF, apart_px, likeness  # noqa: E402 -- the tests' own measures

from limewash.facade.propose import Proposal, in_words, propose  # noqa: E402
from limewash.facade.tracing import Kind  # noqa: E402
from limewash.geometry.path import polyline  # noqa: E402
from limewash.world.develop import develop  # noqa: E402
from limewash.world.features import Feature, features_of  # noqa: E402
from limewash.world.model import House, read_house  # noqa: E402
from limewash.world.virtual import HOUSES, VirtualHouse  # noqa: E402

TUNED = {
    "own": (0.0, 0.0, 0.0),
    "left": (-2.0, 0.2, 0.0),
    "right": (2.2, 0.0, 0.5),
    "above": (0.6, 1.2, -3.0),
    "a step left": (-1.0, -0.1, 0.3),
}
COUNTED = {
    "a step right": (1.2, 0.3, -0.6),
    "far left": (-2.8, 0.4, 0.4),
    "right, high": (1.6, 0.9, -2.0),
    "near, low": (0.4, -0.3, 0.8),
}
"""Where else the camera stands: to the right and up [m], and how much more it is tilted [deg]."""
PAGODA = (
    (142, 141, 169, 153), (176, 140, 183, 152), (191, 138, 198, 150), (207, 139, 241, 150), (250, 140, 257, 151),
    (270, 142, 284, 154), (135, 196, 155, 223), (189, 195, 203, 220), (213, 195, 246, 219), (257, 195, 267, 219),
    (191, 292, 205, 319), (219, 290, 249, 315), (293, 194, 305, 217),
)  # fmt: skip
"""Openings of the photograph: left, top, right, bottom. [px]"""
KINDS = (Kind.WINDOW, Kind.DOOR, Kind.GARAGE, Kind.ROOF_LINE)


def main() -> None:
    """Print a line for each view, then precision and recall."""
    for words, cameras in (("counted", COUNTED), ("chosen on", TUNED)):
        total = np.zeros(4, dtype=int)
        for name in HOUSES:
            for camera, move in cameras.items():
                counts, missed = judge(moved(name, *move))
                total += counts
                told = "proposed {:2d}, right {:2d}; of {:2d} things {:2d} found".format(*counts[[0, 1, 3, 2]])
                print(f"{words:>9}  {name:8} {camera:12} {told}; missed: {', '.join(missed) or 'none'}", flush=True)
        print(f"{words:>9}  precision {total[1] / total[0]:.2f}, recall {total[2] / total[3]:.2f}", flush=True)
    _without_glass()
    print("photograph of a pagoda by day:", told_of_photograph(propose(load_sample_image("china.jpg"))))


def _without_glass() -> None:
    """Print how many doors and garage doors are found by their leaves alone, and all that is wrong there."""
    total = np.zeros(4, dtype=int)
    for name in HOUSES:
        for camera, move in COUNTED.items():
            bare = VirtualHouse(without_glass(moved(name, *move).house))
            counts, missed = judge(bare)
            doors = [f for f in bare.features() if f.kind in (Kind.DOOR, Kind.GARAGE)]
            lost = [f.id for f in doors if f.id in missed]
            total += (counts[0], counts[1], len(doors) - len(lost), len(doors))
            told = (
                f"proposed {counts[0]:2d}, right {counts[1]:2d}; of {len(doors)} doors {len(doors) - len(lost)} found"
            )
            print(f"no glass  {name:8} {camera:12} {told}; missed: {', '.join(lost) or 'none'}", flush=True)
    print(f" no glass  precision {total[1] / total[0]:.2f}, doors found {total[2]} of {total[3]}", flush=True)


def without_glass(house: House) -> House:
    """The same house with plain doors."""
    blocks = [
        block.model_copy(
            update={
                "doors": tuple(door.model_copy(update={"panes": (0, 0), "panels": (2, 3)}) for door in block.doors),
                "garages": tuple(door.model_copy(update={"glazed": False}) for door in block.garages),
            }
        )
        for block in house.blocks
    ]
    return house.model_copy(update={"blocks": tuple(blocks)})


def told_of_photograph(proposals: list[Proposal]) -> str:
    """Windows and doors among the proposals against those that were boxed by hand."""
    truth = [polyline([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], closed=True) for x0, y0, x1, y1 in PAGODA]
    openings = [p for p in proposals if p.traced.path.closed]
    like = np.array([[likeness(p.traced.path, box) >= LIKE for box in truth] for p in openings]).reshape(-1, len(truth))
    right, found = int(like.any(axis=1).sum()), int(like.any(axis=0).sum())
    precision = f"{right / len(openings):.2f}" if openings else "not defined"
    told = f"proposed {in_words(proposals)}, of them {len(openings)} openings, {right} right"
    recall = f"{found / len(truth):.2f}"
    return f"{told}; of {len(truth)} boxed by hand {found} found: precision {precision}, recall {recall}"


def moved(name: str, right_m: float, up_m: float, tilt_deg: float) -> VirtualHouse:
    """A house whose camera stands elsewhere and still looks at the house."""
    house = read_house(name)
    x, y, z = house.camera.place_m
    stand = {
        "place_m": (x + right_m, y + up_m, z),
        "yaw_deg": house.camera.yaw_deg - 3.3 * right_m,
        "tilt_deg": house.camera.tilt_deg + tilt_deg,
    }
    return VirtualHouse(house.model_copy(update={"camera": house.camera.model_copy(update=stand)}))


def judge(world: VirtualHouse) -> tuple[np.ndarray, list[str]]:
    """Proposed, right, found, there; and the ids of what was missed."""
    photo = develop(world.view().picture(np.full((1080, 1920), 255, np.uint8)))
    proposals = propose(photo, world.truth())
    every = [f for f in features_of(world.house, world.camera, world.projector) if f.kind in KINDS]
    seen = [f for f in world.features() if f.kind in KINDS]
    matched = [next((f.id for f in every if is_right(p, f, photo.shape[1])), None) for p in proposals]
    right = {name for name in matched if name is not None}
    missed = [f.id for f in seen if f.id not in right]
    return np.array([len(proposals), len(right), len(seen) - len(missed), len(seen)]), missed


def is_right(proposal: Proposal, feature: Feature, width: int) -> bool:
    """Whether a proposal is this thing."""
    if feature.kind is not proposal.traced.kind:
        return False
    if feature.closed:
        return likeness(proposal.traced.path, feature.camera) >= LIKE
    return apart_px(proposal.traced.path, feature.camera) <= OFF * width


if __name__ == "__main__":
    main()
