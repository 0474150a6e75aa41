"""Keeping what the camera saw of each hold, for a look at a scan that went wrong."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from limewash.files import write_text
from limewash.media.images import write_image
from limewash.scan.pattern import Hold
from limewash.scan.takes import Takes


def keep_frames(folder: Path, takes: Takes) -> None:
    """Write the mean picture of each hold and check as PNG, and `holds.json` with times, frames and gains.

    Parameters
    ----------
    folder : Path
        As `limewash.files.new_folder` made it, before the work: a wrong name shall cost nobody a scan.
    takes : Takes
        As clip or photos gave them.
    """
    plan, entries = takes.plan, []
    counts = [*takes.counts, *takes.check_counts]
    for number, (hold, count) in enumerate(zip((*plan.body, *plan.checks), counts, strict=True)):
        entry = {"hold": number, "shows": _name(hold), "frames": int(count)}
        if number < len(plan.body) and np.isfinite(takes.beat_s):  # photos have no time
            start_s, stop_s = (round(float(t), 4) for t in takes.spans_s[number])
            entry |= {"start_s": start_s, "stop_s": stop_s}
        if number < len(plan.body):
            entry["gain"] = round(float(takes.gains[number]), 4)
        if count:
            sums = takes.sums[number] if number < len(plan.body) else takes.checks[number - len(plan.body)]
            entry["file"] = f"{number:02}-{_name(hold)}.png"
            write_image(folder / str(entry["file"]), _picture(sums, int(count), takes.info.luma_black))
        entries.append(entry)
    write_text(folder / "holds.json", json.dumps({"holds": entries}, indent=2) + "\n")


def _picture(sums: NDArray[np.uint16], count: int, black: int) -> NDArray[np.uint8]:
    """Full-range grey, repeated for R, G and B."""
    grey = np.clip((sums / count - black) * (255.0 / (235 - 16 if black else 255)), 0.0, 255.0)
    return np.ascontiguousarray(np.repeat(np.rint(grey).astype(np.uint8)[..., None], 3, axis=2))


def _name(hold: Hold) -> str:
    axis = "columns" if hold.axis == 0 else "rows"
    turn = f"{np.degrees(hold.phase_rad):.0f}deg"
    if hold.kind == "code":
        return f"code-{axis}-bit{hold.bit}-{turn}"
    if hold.kind in ("fringe", "lines"):
        return f"{hold.kind}-{axis}-{turn}"
    return hold.kind
