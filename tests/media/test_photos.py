"""Photos of all kinds, and what cameras write beside them."""

from __future__ import annotations

import struct
import sys
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ExifTags, Image

from limewash.errors import InputError
from limewash.media.photos import PhotoNote, note_of, read_note, read_photo
from limewash.media.reading import ClipReader

BASE = ExifTags.Base


def picture() -> NDArray[np.uint8]:
    """Smooth, so that JPEG and HEIC keep it; a bright corner tells which way is up."""
    y, x = np.mgrid[0:48, 0:64]
    rgb = np.stack([40 + 2 * x, 60 + 2 * y, 90 + x + y], axis=-1)
    rgb[:16, :16] = 250
    return rgb.astype(np.uint8)


def note(**tags: object) -> Image.Exif:
    exif = Image.Exif()
    for name, value in tags.items():
        where = exif if name == "Orientation" else exif.get_ifd(ExifTags.IFD.Exif)
        where[BASE[name]] = value
    return exif


@pytest.mark.parametrize(("suffix", "off"), [(".jpg", 6), (".png", 0), (".tif", 0), (".bmp", 0), (".heic", 8)])
def test_photos_are_read_as_pillow_wrote_them(tmp_path: Path, suffix: str, off: int) -> None:
    if suffix == ".heic":
        pytest.importorskip("pillow_heif").register_heif_opener()
    path = tmp_path / f"a{suffix}"
    Image.fromarray(picture()).save(path, **({"quality": 95} if suffix in (".jpg", ".heic") else {}))
    found = read_photo(path)
    assert found.dtype == np.uint8
    assert np.abs(found.astype(int) - picture())[20:, 20:].max() <= off


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_photos_are_turned_upright(tmp_path: Path, suffix: str) -> None:
    """Exif 2.32, tag 274: with 6 the stored first row is the right side as seen, with 8 the left one."""
    for orientation, turns in ((6, 1), (8, 3), (3, 2)):
        path = tmp_path / f"{orientation}{suffix}"
        Image.fromarray(np.ascontiguousarray(np.rot90(picture(), turns))).save(path, exif=note(Orientation=orientation))
        found = read_photo(path)
        assert found.shape == picture().shape
        assert np.abs(found.astype(int) - picture()).mean() < 3


def test_sixteen_bits_are_kept(tmp_path: Path) -> None:
    import cv2

    deep = (np.arange(48 * 64 * 3, dtype=np.uint16) * 7).reshape(48, 64, 3)
    cv2.imwrite(str(tmp_path / "a.tif"), deep[..., ::-1])
    assert np.array_equal(read_photo(tmp_path / "a.tif"), deep)


def test_a_raw_photo_is_developed(tmp_path: Path) -> None:
    """A DNG after Adobe's specification 1.4: grey at 18 % is coded by BT.709's curve, 1.099 * 0.18^0.45 - 0.099."""
    pytest.importorskip("rawpy")
    write_dng(tmp_path / "a.dng", np.full((64, 64), round(0.18 * 65535), np.uint16))
    found = read_photo(tmp_path / "a.dng")
    assert found.dtype == np.uint16
    assert found[16:-16, 16:-16].mean() / 65535 == pytest.approx(1.099 * 0.18**0.45 - 0.099, abs=0.02)
    (tmp_path / "b.dng").write_bytes(b"no raw photo at all")
    with pytest.raises(InputError, match="not a raw photo"):
        read_photo(tmp_path / "b.dng")


@pytest.mark.parametrize(("package", "suffix", "extra"), [("pillow_heif", ".heic", "heic"), ("rawpy", ".nef", "raw")])
def test_a_missing_package_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, package: str, suffix: str, extra: str
) -> None:
    (tmp_path / f"a{suffix}").write_bytes(b"whatever")
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(InputError, match=rf"pip install 'limewash\[{extra}\]'"):
        read_photo(tmp_path / f"a{suffix}")


def test_damaged_photos_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"\xff\xd8\xff and then nothing")
    with pytest.raises(InputError, match="not a photo"):
        read_photo(tmp_path / "a.jpg")
    assert read_note(tmp_path / "a.jpg") == PhotoNote()
    with pytest.raises(InputError, match="does not exist"):
        read_note(tmp_path / "none.jpg")


def test_the_note_is_read_back(tmp_path: Path) -> None:
    exif = note(
        DateTimeOriginal="2026:11:25 21:04:09", SubsecTimeOriginal="37", FocalLengthIn35mmFilm=26, ExposureTime=0.05,
        ISOSpeedRatings=800,
    )  # fmt: skip
    Image.fromarray(picture()).save(tmp_path / "a.jpg", exif=exif)
    found = read_note(tmp_path / "a.jpg")
    assert found == PhotoNote("2026:11:25 21:04:09.37", 26.0, 1.0, pytest.approx(0.05), 800.0)


def test_a_note_for_film_is_film() -> None:
    """50 mm before the 36 x 24 mm of film sees as wide as 50 / 36 says, at any number of pixels; by definition."""
    film = PhotoNote(focal_35mm=50.0)
    assert film.focal_per_width((6000, 4000)) == pytest.approx(50 / 36)
    assert film.focal_per_width((4000, 6000)) == pytest.approx(50 / 24)


def test_focal_length_comes_of_the_sensor_where_only_that_is_told() -> None:
    """A sensor of 23.5 x 15.6 mm with 6000 x 4000 pixels: 35 mm is 53 mm of film by the diagonals, 43.27 / 28.2."""
    tags = {BASE.FocalLength: 35.0, BASE.FocalPlaneXResolution: 6000 / 2.35, BASE.FocalPlaneResolutionUnit: 3}
    found = note_of(tags, (6000, 4000))
    assert found.focal_35mm == pytest.approx(35 * 43.267 / np.hypot(23.5, 23.5 * 2 / 3), rel=1e-3)
    assert note_of({**tags, BASE.FocalPlaneXResolution: 0}, (6000, 4000)).focal_35mm is None
    assert note_of({BASE.FocalLengthIn35mmFilm: 0, BASE.DigitalZoomRatio: 0}, (6000, 4000)) == PhotoNote()


def test_a_clip_s_note_of_its_lens_is_found(tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as out:
        out.metadata["com.apple.quicktime.camera.focal_length.35mm_equivalent"] = "26"
        stream = out.add_stream("libx264", rate=Fraction(30))
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for n in range(3):
            frame = av.VideoFrame.from_ndarray(picture(), format="rgb24")
            frame.pts = n
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    with ClipReader(path) as reader:
        assert reader.info.focal_35mm == 26.0


def write_dng(path: Path, mosaic: NDArray[np.uint16]) -> None:
    """A raw photo with as few tags as the DNG specification 1.4 asks for: little-endian, one strip, RGGB."""
    height, width = mosaic.shape
    unit = struct.pack("<18i", *[v for n in range(9) for v in (int(n % 4 == 0), 1)])  # 9 rationals: the identity
    neutral = struct.pack("<6I", 1, 1, 1, 1, 1, 1)
    entries = [
        (254, 4, 1, 0), (256, 4, 1, width), (257, 4, 1, height), (258, 3, 1, 16), (259, 3, 1, 1), (262, 3, 1, 32803),
        (271, 2, 4, b"LW\0\0"), (272, 2, 4, b"T\0\0\0"), (273, 4, 1, "strip"), (274, 3, 1, 1), (277, 3, 1, 1),
        (278, 4, 1, height), (279, 4, 1, mosaic.nbytes), (33421, 3, 2, struct.pack("<2H", 2, 2)),
        (33422, 1, 4, bytes([0, 1, 1, 2])), (50706, 1, 4, bytes([1, 4, 0, 0])), (50708, 2, 4, b"LWT\0"),
        (50714, 3, 1, 0), (50717, 4, 1, 65535), (50721, 10, 9, unit), (50728, 5, 3, neutral), (50778, 3, 1, 21),
    ]  # fmt: skip
    data_at = 8 + 2 + 12 * len(entries) + 4
    extra, rows = b"", b""
    for tag, kind, count, value in entries:
        if value == "strip":
            field = struct.pack("<I", data_at + len(unit) + len(neutral))
        elif isinstance(value, bytes) and len(value) > 4:
            field = struct.pack("<I", data_at + len(extra))
            extra += value
        else:
            field = value if isinstance(value, bytes) else struct.pack("<I", value)
        rows += struct.pack("<HHI", tag, kind, count) + field
    head = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(entries)) + rows + struct.pack("<I", 0)
    path.write_bytes(head + extra + mosaic.astype("<u2").tobytes())
