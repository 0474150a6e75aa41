"""The figures of a placement and of a search, as rows of a table in the person's units."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limewash.light.photometry import CINEMA_WHITE_CD_M2, CONTRAST_CLASSES, contrast_class
from limewash.project.lengths import Units, show_length, show_small
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.search import Candidate, SearchResult
from limewash.site.services import Services
from limewash.site.setting_words import prop_words, sharp_words, shift_words, zoom_words
from limewash.site.shown import (
    show_air,
    show_area,
    show_light,
    show_light_range,
    show_luminance,
    show_share,
    show_warmth,
)

Rows = list[list[str]]


def placement_rows(placement: Placement, scene: Scene) -> Rows:
    """What `site check` prints first."""
    units, stand = scene.units, placement.stand
    turns = ", ".join(f"{angle:.1f}\N{DEGREE SIGN}" for angle in (stand.yaw_deg, stand.tilt_deg, stand.roll_deg))
    rows = [
        ["throw distance to the picture's middle", show_length(placement.distance_m, units)],
        ["picture's middle on the wall", _place(placement, units)],
        ["turn, tilt, roll", turns],
        ["prop", prop_words(placement, scene)],
        ["zoom, lens shift", f"{zoom_words(placement.projector)}; {shift_words(placement.projector)}"],
        ["lit", f"{show_area(placement.lit_m2, units)}, {placement.coverage:.0%} of the front"],
        ["picture wasted", f"{placement.wasted:.0%}"],
    ]
    if placement.lit_m2 > 0.0:
        rows += _light_rows(placement, units)
    if placement.keystone is not None and placement.main is not None:
        k = placement.keystone
        kept = f"on: keeps {k.pixels_kept:.0%} of the pixels and light, {k.area_kept:.0%} of the area"
        rows.append([f"digital keystone on {placement.main.surface.name!r}", f"off: nothing lost; {kept}"])
    return rows


def _light_rows(placement: Placement, units: Units) -> Rows:
    light, contrast = placement.values("illuminance_lx"), placement.values("contrast")
    luminance, pitch = placement.values("luminance_cd_m2"), placement.values("pitch_m")
    detail, turned = placement.values("detail_m"), np.degrees(placement.values("incidence_rad"))
    median = float(np.median(contrast))
    pixel, largest = (show_small(float(value), units) for value in (np.median(pitch), pitch.max()))
    return [
        ["white on the wall", show_light_range(light, units)],
        ["luminance", _luminance_words(luminance, units)],
        ["contrast", f"{median:.1f}:1 ({contrast.min():.1f} to {contrast.max():.1f}), {contrast_class(median)}"],
        ["contrast classes", _class_words(contrast)],
        ["pixel on the wall", f"{pixel} (largest {largest})"],
        ["smallest detail for the audience", show_small(float(np.median(detail)), units)],
        ["light off square to the wall", f"{turned.min():.0f}\N{DEGREE SIGN} to {turned.max():.0f}\N{DEGREE SIGN}"],
        ["focus", _focus_words(placement, units)],
    ]


def part_rows(placement: Placement, units: Units = "metric") -> Rows:
    """One row a part: lit share, light, mean illuminance, share of the picture."""
    return [
        [
            part.surface.name,
            f"{part.lit_m2 / part.area_m2:.0%}",
            f"{part.light_lm:.0f} lm",
            show_light(part.mean_lx, units),
            show_share(part.picture_share),
        ]
        for part in placement.parts
    ]


def shadow_rows(placement: Placement, units: Units = "metric") -> Rows:
    """Shadows that the audience sees something of."""
    seen = [s for s in placement.shadows if s.seen_share > 0.005]
    return [[s.by, s.on, show_area(s.area_m2, units), f"{s.seen_share:.0%}"] for s in seen]


def service_rows(services: Services, scene: Scene) -> Rows:
    """Power, cable, box and dew."""
    rows = [["video cable", services.video.text]]
    power, site = services.power, scene.site.power
    if power is not None and site is not None:
        money = "" if power.season_cost is None else f", {power.season_cost:.2f} {site.currency}".rstrip()
        cord = f"{show_length(power.cord_m, scene.units)} {power.cord}"
        share = f"{power.circuit_share:.0%} of what the circuit may carry"
        rows += [
            ["load", f"{power.load_w:.0f} W, {power.current_a:.1f} A, {share}"],
            ["cord", f"{cord}: {power.drop_v:.1f} V, {power.drop_share:.1%} lost"],
            ["season", f"{power.season_kwh:.1f} kWh{money}"],
        ]
    if services.box is not None:
        box = services.box
        warm = [show_warmth(value, scene.units) for value in (box.closed_c, box.vented_c)]
        rows.append(
            ["box", f"{show_air(box.needed_m3_h, scene.units)} of air needed; shut {warm[0]}, as it is {warm[1]}"]
        )
    if services.dew:
        wet = [f"{hour.hour} h" for hour in services.dew if hour.wet]
        rows.append(["dew", f"likely at {', '.join(wet)}: keep it warm or covered then" if wet else "not expected"])
    return rows


def candidate_rows(result: SearchResult, units: Units) -> Rows:
    """One row for each of the best, in the order of `CANDIDATE_COLUMNS`; the other figures are in the JSON."""
    return [
        [
            f"{number}",
            c.label,
            c.section,
            _stand_words(c, units),
            show_area(c.lit_m2, units),
            f"{c.contrast:.0f}:1",
            f"{c.score:.3f}",
            "yes" if c.meets else "no",
        ]
        for number, c in enumerate(result.best, start=1)
    ]


CANDIDATE_COLUMNS = ["", "projector", "section", "x, height, out", "lit", "contrast", "score", "enough"]


def _place(placement: Placement, units: Units) -> str:
    if placement.aim_m is None:
        return "misses the front"
    return f"{show_length(float(placement.aim_m[0]), units)} along, {show_length(float(placement.aim_m[1]), units)} up"


def _stand_words(c: Candidate, units: Units) -> str:
    assert c.rig.stand is not None
    stand = c.rig.stand
    places = [show_length(value, units) for value in (stand.x_m, stand.height_m, stand.distance_m)]
    # In metres the unit need be said only once.
    if units == "metric":
        # The unit need be said only once.
        return ", ".join(place.removesuffix(" m") for place in places) + " m"
    return ", ".join(places)


def _luminance_words(luminance: NDArray[np.float64], units: Units) -> str:
    middle = float(np.median(luminance))
    return f"{show_luminance(middle, units)}, {show_share(middle / CINEMA_WHITE_CD_M2)} of a cinema screen's white"


def _class_words(contrast: NDArray[np.float64]) -> str:
    """Share of the lit front that reaches each published class, the lowest first."""
    shares = [f"{least:g}:1 on {show_share(float((contrast >= least).mean()))}" for _, least in CONTRAST_CLASSES]
    return ", ".join(shares)


def _focus_words(placement: Placement, units: Units) -> str:
    if placement.blur is None:
        return "not reckoned: add f_number and panel_width_m to rig.projector"
    f = placement.blur.focus
    return f"at {show_length(f.at_m, units)}; within a pixel {sharp_words(f, units)}"
