"""The map: lines, areas, masks, and files that read back exactly."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
import svgpathtools
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.map import HouseMap, build_map, export_map, load_map
from limewash.facade.quality import TransferQuality
from limewash.facade.tracing import Kind
from limewash.facade.transfer import TransferredPath

SIZE = (320, 180)


def path(
    name: str, kind: Kind, points: list[tuple[float, float]], *, closed: bool = True, title: str = ""
) -> TransferredPath:
    quality = TransferQuality(123, 0.25, 0.125, 1, ("look at it",))
    return TransferredPath(name, kind, title, closed, np.array(points, dtype=np.float64), quality)


def rectangle(left: float, top: float, right: float, bottom: float) -> list[tuple[float, float]]:
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


WINDOW = rectangle(60.25, 40.0, 100.75, 90.5)


def a_map() -> HouseMap:
    return build_map(
        [
            path("window", Kind.WINDOW, WINDOW, title='Left "window" <1>'),
            path("wall", Kind.WALL, rectangle(-20.0, 10.0, 250.0, 200.0)),
            path("neighbour", Kind.KEEP_DARK, rectangle(90.0, 30.0, 300.0, 170.0)),
            path("roof line", Kind.ROOF_LINE, [(5.0, 9.1), (130.123456789012, 2.5), (260.0, 9.0)], closed=False),
            path("off/../screen", Kind.POST, rectangle(400.0, 10.0, 420.0, 90.0)),
        ],
        SIZE,
    )


def test_small_areas_lie_over_large_ones_and_keep_dark_over_all() -> None:
    house = a_map()
    labels = {item.id: item.label for item in house.lines}
    assert labels == {"window": 1, "wall": 2, "neighbour": 3, "roof line": 0, "off/../screen": 4}
    assert house.areas.shape == (180, 320)
    assert house.areas.dtype == np.int32
    assert house.areas[60, 70] == labels["window"]
    assert house.areas[60, 95] == labels["neighbour"]
    assert house.areas[100, 30] == labels["wall"]
    assert house.areas[5, 5] == 0
    assert (house.areas != labels["off/../screen"]).all()


def test_masks_hold_the_polygons_area() -> None:
    """Shapely's area; the wall is cut at the picture's edge."""
    house = a_map()
    for name, ring in (("window", WINDOW), ("wall", rectangle(-20.0, 10.0, 250.0, 200.0))):
        polygon = shapely.Polygon(ring).intersection(shapely.box(-0.5, -0.5, 319.5, 179.5))
        assert house.cover(name).sum(dtype=np.int64) / 255.0 == pytest.approx(polygon.area, rel=2e-3)
    assert house.cover("off/../screen").sum() == 0
    assert np.array_equal(house.keep_dark, house.cover("neighbour"))


def test_lines_can_be_asked_for() -> None:
    house = a_map()
    assert house.line("wall").kind is Kind.WALL
    assert [item.id for item in house.of_kind(Kind.WINDOW, Kind.ROOF_LINE)] == ["window", "roof line"]
    with pytest.raises(InputError, match="no path 'windo'; did you mean 'window'"):
        house.line("windo")
    with pytest.raises(InputError, match="'roof line' is an outline"):
        house.cover("roof line")


def test_points_that_repeat_are_dropped() -> None:
    ring = [(1.0, 1.0), (1.0, 1.0), (9.0, 1.0), (9.0, 9.0), (1.0, 1.0)]
    house = build_map([path("a", Kind.WALL, ring)], SIZE)
    assert house.lines[0].points.tolist() == [[9.0, 1.0], [9.0, 9.0], [1.0, 1.0]]
    with pytest.raises(InputError, match="the tracing has no paths"):
        build_map([], SIZE)


def test_files_read_back_exactly(tmp_path: Path) -> None:
    house = a_map()
    export_map(tmp_path / "map", house)
    read = load_map(tmp_path / "map")
    assert read.size == house.size
    assert np.array_equal(read.areas, house.areas)
    for found, meant in zip(read.lines, house.lines, strict=True):
        assert np.array_equal(found.points, meant.points)
        for name in ("id", "kind", "title", "closed", "label", "quality"):
            assert getattr(found, name) == getattr(meant, name)
    assert read.masks.keys() == house.masks.keys()
    for name, mask in house.masks.items():
        assert (read.masks[name].left, read.masks[name].top) == (mask.left, mask.top)
        assert np.array_equal(read.masks[name].cover, mask.cover)


def test_other_programs_read_the_files(tmp_path: Path) -> None:
    """OpenCV reads the pictures, svgpathtools the lines."""
    export_map(tmp_path, a_map())
    areas = cv2.imread(str(tmp_path / "areas.png"), cv2.IMREAD_UNCHANGED)
    assert areas.dtype == np.uint16
    assert areas[60, 70] == 1
    mask = cv2.imread(str(tmp_path / "masks" / "window.png"), cv2.IMREAD_UNCHANGED)
    assert mask.shape == (180, 320)
    assert (mask[60, 70], mask[5, 5]) == (255, 0)
    paths, attributes = svgpathtools.svg2paths(str(tmp_path / "map.svg"), convert_rectangles_to_paths=False)
    roof = paths[[a["id"] for a in attributes].index("roof line")]
    assert [segment.start for segment in roof] == [complex(5.0, 9.1), complex(130.123456789012, 2.5)]
    lines = cv2.imread(str(tmp_path / "map.png"), cv2.IMREAD_UNCHANGED)
    assert lines.shape == (180, 320)
    assert lines[60, 60] > 120  # the window's left edge, at x = 60.25
    assert lines[60, 75] == 0
    listed = json.loads((tmp_path / "areas.json").read_text())
    assert listed["paths"][0]["bbox_px"] == [60.25, 40.0, 100.75, 90.5]
    assert listed["paths"][0]["area_px"] == pytest.approx(40.5 * 50.5, rel=2e-3)


def test_mask_names_are_plain_and_never_leave_the_folder(tmp_path: Path) -> None:
    house = build_map(
        [path(name, Kind.OTHER, WINDOW) for name in ("../../a", "A", "con", "ü", "a b", "a-b", "x" * 200)], SIZE
    )
    export_map(tmp_path / "map", house)
    names = sorted(file.name for file in (tmp_path / "map" / "masks").iterdir())
    assert names == sorted(["a.png", "A-2.png", "con-2.png", "area.png", "a-b.png", "a-b-2.png", "x" * 80 + ".png"])
    assert [entry.name for entry in tmp_path.iterdir()] == ["map"]
    assert len(load_map(tmp_path / "map").masks) == 7


def test_exporting_again_removes_only_its_own_old_masks(tmp_path: Path) -> None:
    export_map(tmp_path, a_map())
    (tmp_path / "masks" / "mine.png").write_bytes(b"keep")
    export_map(tmp_path, build_map([path("wall", Kind.WALL, WINDOW)], SIZE))
    assert sorted(file.name for file in (tmp_path / "masks").iterdir()) == ["mine.png", "wall.png"]
    assert [item.id for item in load_map(tmp_path).lines] == ["wall"]


def _text(folder: Path, name: str, old: str, new: str) -> None:
    file = folder / name
    file.write_text(file.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda f: (f / "areas.json").unlink(), r"areas.json does not exist; make the map again"),
        (lambda f: (f / "areas.json").write_text("{"), "areas.json is damaged"),
        (lambda f: (f / "areas.json").write_text("[]"), "not a map's list of areas"),
        (lambda f: _text(f, "areas.json", '"format": 1', '"format": 9'), "format 9.*install a newer one"),
        (lambda f: _text(f, "areas.json", '"projector_size"', '"size"'), "areas.json is damaged"),
        (lambda f: _text(f, "areas.json", '"id": "wall"', '"id": "hall"'), "areas.json is damaged"),
        (lambda f: _text(f, "map.svg", "130.123", "131.123"), "not from the same export"),
        (lambda f: (f / "areas.png").write_bytes(b"\x89PNG"), "areas.png is damaged"),
        (lambda f: (f / "masks" / "wall.png").write_bytes(b""), "wall.png is damaged"),
        (lambda f: (f / "masks" / "wall.png").unlink(), "wall.png does not exist"),
        (lambda f: cv2.imwrite(str(f / "areas.png"), np.zeros((9, 9), np.uint8)), "9 x 9 pixels, the map 320 x 180"),
    ],
)
def test_damaged_maps_are_told(tmp_path: Path, spoil: object, says: str) -> None:
    export_map(tmp_path, a_map())
    spoil(tmp_path)  # type: ignore[operator]
    with pytest.raises(InputError, match=says):
        load_map(tmp_path)


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "map").write_text("a file")
    with pytest.raises(InputError, match="cannot make the folder"):
        export_map(tmp_path / "map", a_map())


def test_kinds_look_different_on_the_line_picture(tmp_path: Path) -> None:
    def drawn(kind: Kind) -> NDArray[np.uint8]:
        export_map(tmp_path, build_map([path("a", kind, [(10.0, 50.0), (300.0, 50.0)], closed=False)], SIZE))
        return np.asarray(cv2.imread(str(tmp_path / "map.png"), cv2.IMREAD_UNCHANGED))

    looks = {
        kind: drawn(kind).tobytes() for kind in (Kind.WINDOW, Kind.ROOF_LINE, Kind.WALL, Kind.KEEP_DARK, Kind.STEP)
    }
    assert len(set(looks.values())) == len(looks)
