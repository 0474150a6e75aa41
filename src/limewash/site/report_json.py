"""The figures of a placement and of a search as plain data, SI units, ready for JSON."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from limewash.light.photometry import BELOW_CLASSES, CONTRAST_CLASSES, contrast_class
from limewash.site.advice import Help
from limewash.site.cautions import cautions
from limewash.site.draw_eye import check_points
from limewash.site.placement import Placement
from limewash.site.scene import Scene
from limewash.site.search import Candidate, SearchResult
from limewash.site.services import Services


def placement_json(placement: Placement, scene: Scene, services: Services) -> dict[str, Any]:
    """All figures of a placement in SI units, ready for JSON."""
    stand, k = placement.stand, placement.keystone
    return {
        "rig": placement.rig.name,
        "stand": stand.model_dump(),
        "picture": {
            "aim_m": None if placement.aim_m is None else _list(placement.aim_m),
            "distance_m": _number(placement.distance_m),
            "throw_ratio": placement.projector.throw_ratio,
            "lens_shift": list(placement.projector.lens_shift),
            "prop_m": placement.prop_m,
            "wasted": placement.wasted,
        },
        "front": {
            "lit_m2": placement.lit_m2,
            "coverage": placement.coverage,
            "light_lm": sum(part.light_lm for part in placement.parts),
            **_spread_of(placement),
            "ambient_lx": scene.ambient_lx,
        },
        "contrast_classes": class_shares(placement),
        "parts": [
            {
                "name": part.surface.name,
                "area_m2": part.area_m2,
                "lit_m2": part.lit_m2,
                "light_lm": part.light_lm,
                "mean_lx": part.mean_lx,
                "picture_share": part.picture_share,
                "depth_m": [_number(part.near_m), _number(part.far_m)],
                "outline_m": outlines(part.surface.world, part.seen.plane),
            }
            for part in placement.parts
        ],
        "keystone": None
        if k is None or placement.main is None
        else {
            "on": placement.main.surface.name,
            "corners_m": _list(k.corners_m),
            "side_ratio": float(k.side_ratio),
            "pixels_kept": k.pixels_kept,
            "area_kept": k.area_kept,
        },
        "focus": None
        if placement.blur is None
        else {
            "at_m": placement.blur.focus.at_m,
            "near_m": placement.blur.focus.near_m,
            "far_m": _number(placement.blur.focus.far_m),
        },
        "shadows": [
            {"by": s.by, "on": s.on, "area_m2": s.area_m2, "seen_share": s.seen_share} for s in placement.shadows
        ],
        "spill": [{"on": s.name, "kind": s.kind, "light_lm": s.light_lm} for s in placement.spills],
        "in_beam": [
            {"where": hit.where, "eye_lx": hit.eye_lx, "lens_m": hit.lens_m, "beam_low_m": hit.beam_low_m}
            for hit in placement.in_beam
        ],
        "check_points": [
            {"what": p.what, "place_m": _list(p.place_m), "pixel": list(p.pixel)} for p in check_points(placement)
        ],
        "power": _power(services),
        "box": None
        if services.box is None
        else {
            "needed_m3_h": services.box.needed_m3_h,
            "closed_c": services.box.closed_c,
            "vented_c": services.box.vented_c,
        },
        "dew": [{"hour": h.hour, "skin_c": h.skin_c, "dew_c": h.dew_c, "wet": h.wet} for h in services.dew],
        "video_cable": {"bit_rate": services.video.bit_rate, "plain_copper_m": services.video.passive_m},
        "assumed": list(services.assumed),
        "cautions": cautions(placement, scene),
    }


def class_shares(placement: Placement) -> dict[str, float]:
    """Share of the lit front in each published contrast class. [-]"""
    contrast = placement.values("contrast")
    names = [contrast_class(float(value)) for value in contrast]
    order = [BELOW_CLASSES, *(name for name, _ in CONTRAST_CLASSES)]
    return {name: names.count(name) / max(len(names), 1) for name in order}


def outlines(
    to_world: Callable[[NDArray[np.float64]], NDArray[np.float64]], shape: BaseGeometry
) -> list[list[list[float]]]:
    """Outer rings of a shape of a plane, in the world. [m]"""
    return [
        _list(to_world(np.array(polygon.exterior.coords)))
        for polygon in shapely.get_parts(shape)
        if polygon.geom_type == "Polygon" and not polygon.is_empty
    ]


def search_json(result: SearchResult, why: str, helps: tuple[Help, ...]) -> dict[str, Any]:
    """A search in plain data."""
    return {
        "evaluated": result.evaluated,
        "needs": {"coverage": result.needs[0], "contrast": result.needs[1]},
        "best": [candidate_json(c) for c in result.best],
        "pareto": [candidate_json(c) for c in result.pareto],
        "why": why,
        "would_help": [{"section": h.section, "short": h.short, "steps": list(h.steps)} for h in helps],
    }


def candidate_json(c: Candidate) -> dict[str, Any]:
    """One candidate in plain data."""
    assert c.rig.stand is not None
    return {
        "projector": c.label,
        "section": c.section,
        "stand": c.rig.stand.model_dump(),
        "throw_ratio": c.rig.projector.throw_ratio,
        "lens_shift": list(c.rig.projector.lens_shift),
        "score": c.score,
        "meets": c.meets,
        "criteria": c.parts,
        "coverage": c.coverage,
        "lit_m2": c.lit_m2,
        "contrast": c.contrast,
        "mean_lx": c.mean_lx,
        "wasted": c.wasted,
        "shaded": c.shaded,
        "in_beam": c.in_beam,
        "cable_m": c.cable_m,
    }


def _spread_of(placement: Placement) -> dict[str, Any]:
    if placement.lit_m2 <= 0.0:
        return {}
    names = ("illuminance_lx", "luminance_cd_m2", "contrast", "pitch_m", "detail_m", "incidence_rad")
    out = {}
    for name in names:
        low, middle, high = np.quantile(placement.values(name), (0.0, 0.5, 1.0))
        out[name] = {"least": float(low), "median": float(middle), "most": float(high)}
    return out


def _power(services: Services) -> dict[str, Any] | None:
    p = services.power
    if p is None:
        return None
    return {
        "load_w": p.load_w,
        "current_a": p.current_a,
        "circuit_share": p.circuit_share,
        "cord_m": p.cord_m,
        "cord": p.cord,
        "drop_v": p.drop_v,
        "drop_share": p.drop_share,
        "season_kwh": p.season_kwh,
        "season_cost": p.season_cost,
        "notes": list(p.notes),
    }


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _list(values: Any) -> Any:
    return np.asarray(values, dtype=np.float64).tolist()
