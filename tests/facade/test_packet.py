"""The packet and the film that comes back: read with other readers, and each fault told once."""

import io
import json
import zipfile
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from limewash.errors import InputError
from limewash.facade.map import HouseMap, MapPath, Mask
from limewash.facade.packet import PacketContents, template_frame, write_packet
from limewash.facade.returned import check_returned
from limewash.facade.tracing import Kind
from limewash.media.images import write_image
from limewash.media.writing import VideoWriter

SIZE = (320, 240)
RATE = Fraction(25)


def house_map() -> HouseMap:
    areas = np.zeros((240, 320), np.int32)
    areas[60:120, 40:100] = 1
    areas[150:200, 200:260] = 2
    cover = np.full((60, 60), 255, np.uint8)
    square = np.array([(40, 60), (99, 60), (99, 119), (40, 119)], dtype=np.float64)
    return HouseMap(
        SIZE,
        (
            MapPath("window-1", Kind.WINDOW, "Küche", True, square, 1),
            MapPath("dark", Kind.KEEP_DARK, "", True, square + np.array([160, 90]), 2),
            MapPath("roof", Kind.ROOF_LINE, "", False, np.array([(10.0, 50.0), (160.0, 5.0), (310.0, 50.0)])),
        ),
        areas,
        {"window-1": Mask(40, 60, cover), "dark": Mask(200, 150, cover[:50])},
    )


@pytest.fixture
def contents(tmp_path: Path) -> PacketContents:
    write_image(tmp_path / "photo.png", np.full((300, 400, 3), 80, np.uint8))
    y, x = np.mgrid[0:240, 0:320].astype(np.float32)
    wall_m = np.stack([x * 0.02 - 1.5, 5.0 - y * 0.02], axis=-1)
    wall_m[0, 0] = np.nan
    return PacketContents("Our house", house_map(), RATE, tmp_path / "photo.png", wall_m=wall_m, measured=True)


def test_the_packet_holds_what_an_artist_needs(contents: PacketContents, tmp_path: Path) -> None:
    path = tmp_path / "packet.zip"
    write_packet(path, contents)
    with zipfile.ZipFile(path) as packet:
        assert packet.testzip() is None
        names = set(packet.namelist())
        assert {"README.txt", "about.json", "template.png", "photo.png", "wall-x.png", "wall-y.png"} <= names
        assert {"map/map.png", "map/map.svg", "map/areas.png", "map/areas.json"} <= names
        assert any(name.startswith("map/masks/") for name in names)
        about = json.loads(packet.read("about.json"))
        readme = packet.read("README.txt").decode()
        wall_x = cv2.imdecode(np.frombuffer(packet.read("wall-x.png"), np.uint8), cv2.IMREAD_UNCHANGED)
        template = cv2.imdecode(np.frombuffer(packet.read("template.png"), np.uint8), cv2.IMREAD_COLOR)
    assert about["size_px"] == [320, 240]
    assert about["rate"] == [25, 1]
    assert about["paths"][0]["points_m"][1] == pytest.approx([99 * 0.02 - 1.5, 5.0 - 60 * 0.02], abs=1e-3)
    # The picture of metres reads as about.json says.
    assert wall_x.dtype == np.uint16
    assert about["wall"]["lowest_m"][0] + wall_x[10, 200] / 1000 == pytest.approx(200 * 0.02 - 1.5, abs=6e-4)
    assert wall_x[0, 0] == 65535
    assert template.shape == (240, 320, 3)
    assert "320 x 240 pixels" in readme
    assert "dark" in readme.split("Never light")[1].split("What is here")[0]


def test_the_template_has_every_outline_at_its_place(contents: PacketContents) -> None:
    picture = template_frame(contents.house_map, "Our house", RATE)
    assert (picture[75:100, 40] > 200).all()
    assert (picture[0] == 255).all() and (picture[:, -1] == 255).all()
    assert picture[20, 20].sum() == 0


def test_a_map_without_paths_is_refused(contents: PacketContents, tmp_path: Path) -> None:
    empty = HouseMap(SIZE, (), np.zeros((240, 320), np.int32))
    with pytest.raises(InputError, match="no path yet"):
        write_packet(tmp_path / "p.zip", PacketContents("x", empty, RATE, contents.photo))
    assert not list(tmp_path.glob("*.zip"))


def film(
    path: Path, *, size: tuple[int, int] = SIZE, rate: Fraction = RATE, grey: int = 0, dark_lit: bool = False
) -> Path:
    picture = np.full((size[1], size[0], 3), grey, np.uint8)
    picture[70:110, 50:90] = 200
    if dark_lit:
        picture[155:195, 205:255] = 120
    with VideoWriter(path, size, rate) as writer:
        for _ in range(30):
            writer.write_rgb(picture)
    return path


def severities(path: Path, **options: object) -> dict[str, str]:
    dark = house_map().keep_dark > 127
    found = check_returned(path, SIZE, RATE, keep_dark=dark, **options)  # type: ignore[arg-type]
    return {item.code: item.severity for item in found.items}


def test_a_film_that_fits_has_no_warning(tmp_path: Path) -> None:
    found = severities(film(tmp_path / "good.mp4"))
    assert {code for code, severity in found.items() if severity == "warning"} == set()
    assert found["keep-dark"] == "good"
    assert found["black"] == "good"


def test_hard_edges_of_our_own_films_are_no_fault(tmp_path: Path) -> None:
    """An encoder overshoots a little at every edge; a film of nothing but edges must still pass."""
    path = tmp_path / "edges.mp4"
    stripes = np.where(np.arange(320) % 16 < 8, 255, 0).astype(np.uint8)
    picture = np.repeat(np.broadcast_to(stripes, (240, 320))[..., None], 3, axis=-1)
    with VideoWriter(path, SIZE, RATE) as writer:
        for n in range(30):
            writer.write_rgb(np.ascontiguousarray(np.roll(picture, n, axis=1)))
    found = check_returned(path, SIZE, RATE)
    assert {item.code: item.severity for item in found.items}["levels"] == "good"


@pytest.mark.parametrize(
    ("options", "codes"),
    [
        ({"size": (640, 480)}, {"size"}),
        ({"rate": Fraction(30)}, {"rate"}),
        ({"grey": 20}, {"black", "keep-dark"}),  # a grey haze also lies on what is to be kept dark
        ({"dark_lit": True}, {"keep-dark"}),
    ],
)
def test_each_fault_is_told(tmp_path: Path, options: dict[str, object], codes: set[str]) -> None:
    found = severities(film(tmp_path / "bad.mp4", **options))  # type: ignore[arg-type]
    assert {code for code, severity in found.items() if severity != "good"} - {"sound"} == codes


@pytest.mark.parametrize(("kind", "code"), [("full", "levels"), ("beyond", "levels"), ("stretched", "aspect")])
def test_unsafe_levels_and_stretched_pixels_are_told(tmp_path: Path, kind: str, code: str) -> None:
    """Written with PyAV alone: our own writer makes no such film."""
    path = tmp_path / "odd.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=25, options={"crf": "10"})
        stream.width, stream.height, stream.pix_fmt = 320, 240, "yuv420p"
        if kind == "full":
            stream.codec_context.color_range = 2
        if kind == "stretched":
            stream.codec_context.sample_aspect_ratio = Fraction(4, 3)
        for n in range(25):
            frame = av.VideoFrame(320, 240, "yuv420p")
            luma = np.full((240, 320), 16, np.uint8)
            luma[100:200, 100:200] = 250 if kind == "beyond" else 180
            plane = frame.planes[0]
            rows = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)
            rows[:, :320] = luma
            for chroma in frame.planes[1:]:
                np.frombuffer(chroma, np.uint8)[:] = 128
            frame.pts = n
            frame.color_range = 2 if kind == "full" else 1
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    assert severities(path)[code] == "warning"


def test_a_file_that_is_no_film_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "no.mp4"
    path.write_bytes(io.BytesIO(b"not a film at all").getvalue())
    with pytest.raises(InputError, match="cannot be read as a film"):
        check_returned(path, SIZE, RATE)
