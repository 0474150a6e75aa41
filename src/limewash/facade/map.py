"""The map, the tracing in the projector's native pixels: the public part."""

from __future__ import annotations

from limewash.facade.house_map import HouseMap, MapPath, Mask
from limewash.facade.map_build import build_map
from limewash.facade.map_files import export_map, load_map

__all__ = ["HouseMap", "MapPath", "Mask", "build_map", "export_map", "load_map"]
