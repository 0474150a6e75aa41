"""Spoilt clips: each must be refused with a reason, read rightly, or read with a warning; nothing may crash.

    python bench/bench_scan_fuzz.py [--cases 200] [--seed 1] [--size 640x360] [--only bump]

The clips are of the painted virtual house, half of them of the short pattern; some are of other films that somebody
played instead, a Gray code, a pattern for another projector, a show. A read clip counts as wrong where more
than 1 % of its confident pixels are off by more than 3 projector pixels. For clips that move midway the truth is the
house as it was filmed at first. The table's last column must be empty.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np

from limewash.errors import InputError
from limewash.scan.correspondence import Correspondence
from limewash.scan.mark import FORMS
from limewash.scan.pattern import plan_pattern, write_pattern
from limewash.scan.read import ScanResult, read_clip
from limewash.world.accuracy import errors_px
from limewash.world.display import under_video
from limewash.world.film import film
from limewash.world.phone import Phone
from limewash.world.truth import Truth
from limewash.world.virtual import load_world

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "scan"))
import spoiled
import strange

FAR_PX = 3.0
SURE = 0.5


def outcome(clip: Path, size: tuple[int, int], truth: Truth, kind: str) -> tuple[str, str]:
    """What became of a clip, and a word about it."""
    try:
        result = read_clip(clip, size)
    except InputError as error:
        return "refused", str(error).replace(str(clip), "").strip(": ")
    except Exception:
        return "CRASH", traceback.format_exc()
    wrong = wrong_share(result, truth, kind)
    warned = ", ".join(item.code for item in result.findings.warnings)
    if wrong > 0.01:
        return ("warned", f"{100 * wrong:.1f} % wrong; {warned}") if warned else ("WRONG", f"{100 * wrong:.1f} % wrong")
    return "right", warned


def wrong_share(result: ScanResult, truth: Truth, kind: str) -> float:
    """Share of the confident pixels that are far off."""
    found = result.correspondence
    if kind in ("turned", "mirrored"):
        found = turned_back(found, kind)
    sure = found.confidence > SURE
    off = errors_px(found, truth)
    return float(np.mean(off[sure & np.isfinite(off)] > FAR_PX)) if (sure & np.isfinite(off)).any() else 0.0


def turned_back(found: Correspondence, kind: str) -> Correspondence:
    """The same in the camera picture as it was before it was turned."""
    width, height = found.camera_size
    y = height - 1 - found.camera_y if kind == "turned" else found.camera_y
    return Correspondence(width - 1 - found.camera_x, y, found.confidence, found.camera_size, found.projector_size)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", default="640x360")
    parser.add_argument("--only", action="append")
    parser.add_argument("-v", action="store_true", help="print every case")
    options = parser.parse_args()
    width, height = (int(side) for side in options.size.split("x"))
    size = (width, height)
    every = (*spoiled.FRAMES, *spoiled.FILES, *strange.STRANGE)
    kinds = [k for k in every if not options.only or k.__name__ in options.only]
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    bad = []
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        world = load_world("painted", camera_size=size, projector_size=size)
        truth, view = world.truth(), world.view()
        whole = []
        for form in FORMS:
            clip = folder / f"clip-{form}.mp4"
            write_pattern(folder / "pattern.mp4", plan_pattern(size, form=form))
            film(folder / "pattern.mp4", clip, under_video(view), Phone(seed=options.seed, lead_s=0.5, tail_s=0.5))
            whole.append((clip.read_bytes(), spoiled.frames_of(clip)))
        start_s = time.perf_counter()
        for case in range(options.cases):
            random = np.random.default_rng([options.seed, case])
            kind = kinds[case % len(kinds)]
            data, frames = whole[case // len(kinds) % 2]
            path = folder / "spoilt.mp4"
            if kind in strange.STRANGE:
                strange.write_strange(folder / "strange.mp4", kind, size, random)
                phone = Phone(seed=case, lead_s=0.5, tail_s=0.5)
                film(folder / "strange.mp4", path, under_video(view), phone)
            elif kind in spoiled.FILES:
                path.write_bytes(kind(data, random))
            else:
                spoiled.write_frames(path, kind(frames, random))
            what, word = outcome(path, size, truth, kind.__name__)
            counted[kind.__name__][what] += 1
            if options.v:
                print(f"{case:4} {kind.__name__:20} {what:8} {word[:150]}", flush=True)
            if what in ("CRASH", "WRONG"):
                bad.append(f"case {case}, {kind.__name__}: {what}\n{word}")
        spent_s = time.perf_counter() - start_s
    print(f"{options.cases} cases of {width} x {height}, seed {options.seed}, {spent_s:.0f} s")
    print(f"{'spoilt by':22} {'refused':>8} {'right':>6} {'warned':>7}  not told")
    for name, counts in counted.items():
        worse = counts["CRASH"] + counts["WRONG"]
        row = f"{name:22} {counts['refused']:8} {counts['right']:6} {counts['warned']:7}"
        print(f"{row}  {worse if worse else ''}")
    total = sum(counted.values(), Counter())
    print(f"{'all':22} {total['refused']:8} {total['right']:6} {total['warned']:7}  {total['CRASH'] + total['WRONG']}")
    print("\n".join(bad))


if __name__ == "__main__":
    main()
