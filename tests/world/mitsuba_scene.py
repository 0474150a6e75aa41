"""One of our scenes as Mitsuba 3 takes it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bare import REFLECTANCE

from limewash.geometry.device import Device
from limewash.world.scene import mesh_of
from limewash.world.virtual import VirtualHouse

mi = pytest.importorskip("mitsuba", reason="Mitsuba comes with the dev extra")
mi.set_variant("scalar_rgb")


def to_world(device: Device) -> Any:
    """Its cameras and projectors look along z with x to the LEFT and y up."""
    right, down, forward = device.rotation
    matrix = np.eye(4)
    matrix[:3] = np.column_stack([-right, -down, forward, device.position_m])
    return mi.ScalarTransform4f(matrix)


def view_deg(device: Device) -> float:
    """Angle that its picture spans across."""
    return float(np.degrees(2 * np.arctan(device.size[0] / 2 / device.focal_px[0])))


def projector(device: Device, picture: np.ndarray, **changes: Any) -> dict[str, Any]:
    """A lamp that throws a picture (height, width) of illuminance on the plane one metre before the lens."""
    bitmap = {"type": "bitmap", "raw": True, "wrap_mode": "clamp", **changes}
    bitmap["bitmap"] = mi.Bitmap(np.repeat(picture[..., None], 3, axis=2).astype(np.float32))
    lens = {"fov": view_deg(device), "fov_axis": "x", "to_world": to_world(device)}
    return {"type": "projector", **lens, "irradiance": bitmap}


def render(
    world: VirtualHouse,
    emitter: dict[str, Any],
    folder: Path,
    *,
    bounces: int = 0,
    samples: int = 16,
    reflectance: float = REFLECTANCE,
) -> np.ndarray:
    """What the camera sees (height, width, 3), all walls of one paint, with light that was scattered so many times."""
    path = folder / "house.ply"
    if not path.exists():
        corners = mesh_of(world.house).corners_m
        shape = mi.Mesh("house", vertex_count=3 * len(corners), face_count=len(corners))
        parameters = mi.traverse(shape)
        parameters["vertex_positions"] = corners.ravel()
        parameters["faces"] = np.arange(3 * len(corners), dtype=np.uint32)
        parameters.update()
        shape.write_ply(str(path))
    camera = world.camera
    width, height = camera.size
    paint = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [reflectance] * 3}}
    scene = mi.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 2 + bounces},
            "sensor": {
                "type": "perspective",
                "fov": view_deg(camera),
                "fov_axis": "x",
                "to_world": to_world(camera),
                "film": {"type": "hdrfilm", "width": width, "height": height, "rfilter": {"type": "box"}},
                "sampler": {"type": "stratified", "sample_count": samples},
            },
            "house": {
                "type": "ply",
                "filename": str(path),
                "face_normals": True,
                "bsdf": {"type": "twosided", "bsdf": paint},
            },
            "light": emitter,
        }
    )
    return np.asarray(mi.render(scene), dtype=np.float64)
