"""The map as files: pictures and SVG for people and other programs, and read back exactly."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.house_map import HouseMap, MapPath, Mask
from limewash.facade.map_drawing import line_picture, map_svg, read_map_svg
from limewash.facade.quality import TransferQuality
from limewash.files import make_folder, write_bytes

FORMAT = 1


def export_map(folder: Path, house_map: HouseMap) -> None:
    """Write `map.svg`, `map.png`, `areas.png`, `areas.json` and `masks/*.png` into a folder.

    Each file is replaced in one step, `areas.json` last. Masks of areas that are gone are removed if an earlier
    export wrote them; nothing else in the folder is touched.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.
    """
    make_folder(folder / "masks")
    earlier = _earlier_masks(folder)
    names = _mask_names(house_map)
    for path_id, name in names.items():
        write_bytes(folder / "masks" / name, _png(house_map.cover(path_id)))
    svg = map_svg(house_map)
    write_bytes(folder / "map.png", _png(line_picture(house_map)))
    write_bytes(folder / "areas.png", _png(house_map.areas.astype(np.uint16)))
    write_bytes(folder / "map.svg", svg.encode("utf-8"))
    write_bytes(folder / "areas.json", _areas_json(house_map, names, svg).encode("utf-8"))
    for name in earlier - set(names.values()):
        (folder / "masks" / name).unlink(missing_ok=True)


def load_map(folder: Path) -> HouseMap:
    """Read a map as `export_map` wrote it.

    Raises
    ------
    InputError
        If a file is missing, damaged, of a newer format, or from another export than the rest.
    """
    data = _read_json(folder / "areas.json")
    text = _bytes(folder / "map.svg")
    if data.get("map_svg_sha256") != sha256(text).hexdigest():
        raise InputError(f"{folder}: map.svg and areas.json are not from the same export; {_REMEDY}")
    try:
        size = (int(data["projector_size"][0]), int(data["projector_size"][1]))
        known = {entry["id"]: entry for entry in data["paths"]}
        lines = tuple(_with_entry(line, known[line.id]) for line in read_map_svg(folder / "map.svg"))
        areas = _picture(folder / "areas.png", size).astype(np.int32)
        masks = {
            line.id: _mask(_picture(folder / "masks" / Path(known[line.id]["mask"]).name, size))
            for line in lines
            if line.closed
        }
    except (KeyError, TypeError, ValueError, IndexError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{folder / 'areas.json'} is damaged ({error!r}); {_REMEDY}") from None
    return HouseMap(size, lines, areas, masks)


_REMEDY = "make the map again with 'limewash map export'"


def _areas_json(house_map: HouseMap, names: dict[str, str], svg: str) -> str:
    return json.dumps(
        {
            "format": FORMAT,
            "projector_size": list(house_map.size),
            "map_svg_sha256": sha256(svg.encode("utf-8")).hexdigest(),
            "paths": [_entry(item, house_map, names.get(item.id)) for item in house_map.lines],
        },
        indent=1,
        ensure_ascii=False,
    )


def _entry(item: MapPath, house_map: HouseMap, mask_name: str | None) -> dict[str, object]:
    low, high = item.points.min(axis=0), item.points.max(axis=0)
    entry: dict[str, object] = {
        "id": item.id,
        "kind": item.kind.value,
        "title": item.title,
        "label": item.label,
        "bbox_px": [round(float(v), 3) for v in (*low, *high)],
        "quality": asdict(item.quality) if item.quality else None,
    }
    if mask_name is not None:
        entry["area_px"] = round(float(house_map.masks[item.id].cover.sum(dtype=np.int64)) / 255.0, 2)
        entry["mask"] = f"masks/{mask_name}"
    return entry


def _with_entry(line: MapPath, entry: dict[str, Any]) -> MapPath:
    quality = entry["quality"]
    if quality is not None:
        quality = TransferQuality(**{**quality, "warnings": tuple(quality["warnings"])})
    return MapPath(line.id, line.kind, line.title, line.closed, line.points, int(entry["label"]), quality)


_NOT_FILES = {"con", "prn", "aux", "nul", *(f"{name}{i}" for name in ("com", "lpt") for i in range(10))}


def _mask_names(house_map: HouseMap) -> dict[str, str]:
    """A file name for each area: its id where that is a plain name, on every platform."""
    names: dict[str, str] = {}
    taken: set[str] = set()
    for item in house_map.lines:
        if not item.closed:
            continue
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", item.id).strip("-")[:80] or "area"
        name, number = stem, 2
        while name.lower() in taken | _NOT_FILES:
            name, number = f"{stem}-{number}", number + 1
        taken.add(name.lower())
        names[item.id] = f"{name}.png"
    return names


def _earlier_masks(folder: Path) -> set[str]:
    """Mask files that an earlier export in this folder wrote."""
    if not (folder / "areas.json").is_file():
        return set()
    try:
        paths = _read_json(folder / "areas.json")["paths"]
        return {Path(entry["mask"]).name for entry in paths if "mask" in entry}
    except (InputError, KeyError, TypeError):
        return set()


def _read_json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(_bytes(path))
    except ValueError as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{path} is damaged ({error}); {_REMEDY}") from None
    if not isinstance(data, dict) or not isinstance(data.get("format"), int):
        raise InputError(f"{path} is not a map's list of areas; {_REMEDY}")
    if data["format"] > FORMAT:
        raise InputError(f"{path} has format {data['format']}; this Limewash reads up to {FORMAT}: install a newer one")
    return data


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path} does not exist; {_REMEDY}") from None
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror}") from error


def _png(picture: NDArray[np.uint8] | NDArray[np.uint16]) -> bytes:
    done, data = cv2.imencode(".png", picture, [cv2.IMWRITE_PNG_COMPRESSION, 3])
    assert done  # an 8- or 16-bit grey picture always encodes
    return data.tobytes()


def _picture(path: Path, size: tuple[int, int]) -> NDArray[Any]:
    data = np.frombuffer(_bytes(path), dtype=np.uint8)
    picture = cv2.imdecode(data, cv2.IMREAD_UNCHANGED) if data.size else None
    if picture is None or picture.ndim != 2:
        raise InputError(f"{path} is damaged or not a grey PNG; {_REMEDY}")
    if picture.shape != (size[1], size[0]):
        found = f"{picture.shape[1]} x {picture.shape[0]}"
        raise InputError(f"{path} has {found} pixels, the map {size[0]} x {size[1]}; {_REMEDY}")
    return picture


def _mask(picture: NDArray[Any]) -> Mask:
    """Cut a whole picture to what is covered."""
    rows, columns = np.flatnonzero(picture.any(axis=1)), np.flatnonzero(picture.any(axis=0))
    if len(rows) == 0:
        return Mask(0, 0, np.zeros((0, 0), dtype=np.uint8))
    cut = picture[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return Mask(int(columns[0]), int(rows[0]), np.ascontiguousarray(cut, dtype=np.uint8))
