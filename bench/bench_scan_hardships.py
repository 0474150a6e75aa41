"""Scans of both virtual houses under each hardship of a real street, alone and together, against exact truth.

    python bench/bench_scan_hardships.py [--size 960x540] [--seed 1] [--house painted] [--only NAME ...] [--keep DIR]

A row says how far the found correspondence is from the truth of the video's pixels, in projector pixels, and which
findings other than good ones the scan gave. `--size 1920x1080` is the full size (some minutes a row).
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av

from limewash.errors import InputError
from limewash.media.reading import ClipReader
from limewash.scan.mark import Form
from limewash.scan.pattern import plan_pattern, write_pattern
from limewash.scan.read import read_clip
from limewash.world.accuracy import accuracy
from limewash.world.display import Chain, under_video
from limewash.world.film import film
from limewash.world.model import read_house
from limewash.world.phone import Phone
from limewash.world.street_light import StreetLight
from limewash.world.virtual import HOUSES, VirtualHouse

LAMP = {"lamp_cd_m2": 3000.0}
CARS = {"cars_s": (14.0, 22.0)}
HUNTING = {"follow": 0.6, "follow_s": 0.4, "drift": 0.2, "drift_period_s": 3.0}


@dataclass(frozen=True)
class Hardship:
    """One way in which a street is unkind."""

    name: str
    light: float = 1.0  # share of the projector's lumens
    chain: Chain = field(default_factory=Chain)
    phone: dict[str, object] = field(default_factory=dict)
    street: dict[str, object] = field(default_factory=dict)
    pattern_rate: int = 30
    refresh_hz: float | None = None
    hevc: bool = False
    form: Form = "usual"


HARDSHIPS = (
    Hardship("none"),
    Hardship("short pattern", form="short"),
    Hardship("a third of the light", light=1 / 3),
    Hardship("defocus of 2 px", chain=Chain(defocus_px=2.0)),
    Hardship("vibration of 0.3 px", phone={"vibration_px": 0.3}),
    Hardship("10 % global light", chain=Chain(bounce=0.1)),
    Hardship("headlights, twice", street=CARS),
    Hardship("clipped porch lamp", street=LAMP),
    Hardship("30 frames/s", phone={"rate": Fraction(30)}),
    Hardship("59.94 frames/s", phone={"rate": Fraction(60000, 1001), "exposure_s": 1 / 80}),
    Hardship("HEVC, 10 bits", hevc=True),
    Hardship("3 % overscan", chain=Chain(scale=(1.03, 1.03))),
    Hardship("60 Hz pattern", pattern_rate=60, refresh_hz=60.0),
    Hardship("player at 50 Hz", refresh_hz=50.0),
    Hardship("exposure hunts", phone=HUNTING),
    Hardship("keystone of 8 %", chain=Chain(keystone=0.08)),
    Hardship(
        "all together",
        light=1 / 3,
        chain=Chain(scale=(1.03, 1.03), defocus_px=2.0, bounce=0.08),
        phone={"vibration_px": 0.3, **HUNTING},
        street={**LAMP, **CARS},
        refresh_hz=50.0,
        hevc=True,
    ),
)


def film_it(house: VirtualHouse, hardship: Hardship, seed: int, folder: Path) -> Path:
    """The clip of a house under a hardship."""
    size = house.projector.size
    name = f"pattern-{size[0]}-{hardship.pattern_rate}-{hardship.form}.mp4"
    if not (folder / name).exists():
        write_pattern(folder / name, plan_pattern(size, hardship.pattern_rate, hardship.form))
    clip = folder / "clip.mp4"
    view = house.view()
    street = StreetLight(view, **hardship.street) if hardship.street else None  # type: ignore[arg-type]
    phone = Phone(seed=seed, **hardship.phone)  # type: ignore[arg-type]
    picture_of = under_video(view, hardship.chain)
    film(folder / name, clip, picture_of, phone, refresh_hz=hardship.refresh_hz, other_light=street)
    return to_hevc(clip) if hardship.hevc else clip


def to_hevc(clip: Path) -> Path:
    """The same clip as a phone set to HEVC stores it: 10 bits, at about two thirds of the bits."""
    out_path = clip.with_name("clip-hevc.mp4")
    with ClipReader(clip) as reader, av.open(str(out_path), "w") as out:
        options = {"preset": "ultrafast", "crf": "22", "x265-params": "log-level=error"}
        stream = out.add_stream("libx265", rate=reader.info.rate, options=options)
        stream.width, stream.height = reader.info.size
        stream.pix_fmt = "yuv420p10le"
        with av.open(str(clip)) as source:
            for number, frame in enumerate(source.decode(video=0)):
                wide = frame.reformat(format="yuv420p10le")
                wide.pts, wide.time_base = number, 1 / reader.info.rate
                out.mux(stream.encode(wide))
        out.mux(stream.encode(None))
    return out_path


def dimmed(name: str, size: tuple[int, int], light: float) -> VirtualHouse:
    """A house with a projector of a share of its lumens."""
    house = read_house(name)
    projector = house.projector.model_copy(update={"lumens": light * house.projector.lumens})
    return VirtualHouse(house.model_copy(update={"projector": projector}), camera_size=size, projector_size=size)


def row(name: str, hardship: Hardship, size: tuple[int, int], seed: int, folder: Path) -> str:
    """One line of the table."""
    begin_s = time.perf_counter()
    house = dimmed(name, size, hardship.light)
    clip = film_it(house, hardship, seed, folder)
    read_s = time.perf_counter()
    try:
        result = read_clip(clip, size)
    except InputError as error:
        return f"{name:8} {hardship.name:22} refused: {str(error).removeprefix(str(clip)).strip(': ')}"
    spent_s = time.perf_counter() - read_s
    found = accuracy(result.correspondence, house.truth(hardship.chain))
    codes = ", ".join(item.code for item in result.findings.items if item.severity != "good")
    return (
        f"{name:8} {hardship.name:22} {found.median_px:7.3f} {found.rmse_px:7.3f} {found.p95_px:7.3f} "
        f"{100 * found.over3_share:7.2f} {100 * found.coverage:8.2f} {100 * found.false_coverage:7.2f} "
        f"{read_s - begin_s:7.0f} {spent_s:6.1f}  {codes}"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", default="960x540")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--house", choices=HOUSES, action="append")
    parser.add_argument("--only", action="append", help="part of a hardship's name")
    parser.add_argument("--keep", type=Path, help="folder for the clips; a temporary one when left out")
    options = parser.parse_args()
    width, height = (int(side) for side in options.size.split("x"))
    print(f"camera and projector {width} x {height}, seed {options.seed}; px are projector pixels")
    print(
        f"{'house':8} {'hardship':22} {'median':>7} {'RMSE':>7} {'p95':>7} {'>3px %':>7} {'cover %':>8} {'false %':>7} "
        f"{'film s':>7} {'read s':>6}  findings"
    )
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for name in options.house or HOUSES:
            for hardship in HARDSHIPS:
                if not options.only or any(part in hardship.name for part in options.only):
                    print(row(name, hardship, (width, height), options.seed, folder), flush=True)


if __name__ == "__main__":
    main()
