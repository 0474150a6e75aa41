"""Photos of the pattern's pictures, in any order: told apart, averaged, read; against the exact truth of the street."""

from __future__ import annotations

import zipfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ExifTags, Image
from street import SIZE, Street, street

from limewash.errors import InputError
from limewash.media.images import read_image, write_image
from limewash.scan.any_input import read_any
from limewash.scan.correspondence import Correspondence
from limewash.scan.mark import Form
from limewash.scan.pattern import Hold, PatternPlan, plan_pattern
from limewash.scan.recognise import Lines, recognise
from limewash.scan.shots import picture_name, pictures_of, read_shots, write_pictures

SHORT = plan_pattern(SIZE, form="short")


def photograph(
    plan: PatternPlan, house: Street, *, seed: int = 0, noise: float = 0.012, exposures: float = 0.0
) -> dict[Hold, NDArray[np.uint8]]:
    """The street under each picture, as a camera stores it; `exposures` is how far its automatics go astray."""
    rng, scene, taken = np.random.default_rng(seed), house.scene(), {}
    for hold in pictures_of(plan):
        light = 0.02 + 0.7 * cv2.GaussianBlur(scene.light(plan.picture(hold)), (0, 0), 0.7)
        light = light * (1.0 + exposures * rng.uniform(-1.0, 1.0))
        noisy = np.clip(light + noise * np.sqrt(light) * rng.standard_normal(light.shape), 0.0, 1.0)
        taken[hold] = np.rint(255.0 * noisy ** (1 / 2.2)).astype(np.uint8)
    return taken


def put(folder: Path, photos: list[NDArray[np.uint8]], seed: int = 1) -> None:
    """Into a folder under names that say nothing."""
    folder.mkdir(parents=True, exist_ok=True)
    for n, photo in enumerate(np.random.default_rng(seed).permutation(len(photos))):
        write_image(folder / f"IMG_{n:04}.png", photos[photo])


def lines_of(photos: list[NDArray[np.uint8]]) -> Lines:
    height, width = photos[0].shape
    rows, columns = (np.sort(np.random.default_rng(3).choice(side, 24, replace=False)) for side in (height, width))
    across, down = [photo[rows] for photo in photos], [photo[:, columns].T for photo in photos]
    return Lines(np.stack(across).astype(np.float32), np.stack(down).astype(np.float32))


@pytest.fixture(scope="module")
def shots() -> dict[Hold, NDArray[np.uint8]]:
    return photograph(SHORT, street())


@pytest.mark.parametrize(
    ("size", "form", "way"),
    [
        ((480, 270), "usual", "upright"),
        ((480, 270), "short", "quarter turn"),
        ((480, 270), "usual", "mirrored"),
        ((1280, 720), "short", "upright"),
        ((1280, 720), "usual", "quarter turn"),
    ],
)
def test_each_photo_is_told_however_the_camera_is_turned(size: tuple[int, int], form: Form, way: str) -> None:
    plan = plan_pattern(size, form=form)
    taken = photograph(plan, Street((800, 450) if size[0] > 800 else (480, 270), size), noise=0.02)
    turned = {"upright": np.asarray, "quarter turn": np.rot90, "mirrored": np.fliplr}[way]
    photos = [np.ascontiguousarray(turned(photo)) for photo in taken.values()]
    found = recognise(lines_of(photos), [plan_pattern(size), plan_pattern(size, form="short")])
    assert found is not None
    assert found[0].form == form
    assert found[1] == list(taken)


def test_a_scan_comes_of_photos_in_any_order(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]]) -> None:
    put(tmp_path / "photos", [*shots.values()])
    scan = read_shots(tmp_path / "photos", SIZE, keep=tmp_path / "kept")
    errors, truth = street().errors_px(scan.correspondence), street().truth()
    assert np.sqrt(np.mean(errors**2)) < 0.15
    assert np.mean(errors > 3.0) < 0.001
    assert (scan.correspondence.seen & truth.seen).sum() / truth.seen.sum() > 0.98
    assert not scan.findings.warnings
    taken_for = next(item.text for item in scan.findings.items if item.code == "photos")
    assert f"{SIZE[0]}x{SIZE[1]}" in taken_for
    assert np.array_equal(scan.photo[..., 0], shots[Hold("white")])
    kept = sorted(path.name for path in (tmp_path / "kept").glob("*.png"))
    assert len(kept) == len(shots)
    assert np.array_equal(read_image(tmp_path / "kept" / kept[-1])[..., 0], shots[Hold("white")])


def test_photos_of_the_usual_pattern_are_more_and_do_as_well(tmp_path: Path) -> None:
    taken = photograph(plan_pattern(SIZE), street())
    put(tmp_path / "photos", [*taken.values()])
    scan = read_shots(tmp_path / "photos", SIZE)
    assert len(taken) > len(photograph(SHORT, street()))
    assert np.sqrt(np.mean(street().errors_px(scan.correspondence) ** 2)) < 0.15
    left_out = [photo for hold, photo in taken.items() if hold.kind != "code" or hold.bit != 3]
    put(tmp_path / "fewer", left_out)
    with pytest.raises(InputError, match=r"pictures have no photo: \d+-columns-code-bit-3"):
        read_shots(tmp_path / "fewer", SIZE)


def test_several_photos_of_a_picture_are_averaged(tmp_path: Path) -> None:
    noisy = [photograph(SHORT, street(), seed=seed, noise=0.06) for seed in range(3)]
    put(tmp_path / "once", [*noisy[0].values()])
    put(tmp_path / "often", [photo for taken in noisy for photo in taken.values()])
    once, often = (read_shots(tmp_path / name, SIZE) for name in ("once", "often"))
    sigma = [
        next(i for i in scan.findings.items if i.code == "precision").numbers["sigma_px"] for scan in (once, often)
    ]
    assert sigma[1] / sigma[0] == pytest.approx(np.sqrt(1 / 3), rel=0.15)
    # With less noise more is found, at rims too: compared are the places that both found.
    both = once.correspondence.seen & often.correspondence.seen
    assert often.correspondence.seen.sum() > once.correspondence.seen.sum()
    rmse = [np.sqrt(np.mean(street().errors_px(only(scan.correspondence, both)) ** 2)) for scan in (once, often)]
    assert rmse[1] < rmse[0]


def only(found: Correspondence, where: NDArray[np.bool_]) -> Correspondence:
    """A part of a correspondence."""
    x, y = (np.where(where, part, np.float32(np.nan)) for part in (found.camera_x, found.camera_y))
    return replace(found, camera_x=x, camera_y=y)


def test_automatic_exposure_is_evened_out(tmp_path: Path) -> None:
    put(tmp_path, [*photograph(SHORT, street(), exposures=0.15).values()])
    errors = street().errors_px(read_shots(tmp_path, SIZE).correspondence)
    assert np.sqrt(np.mean(errors**2)) < 0.4


def test_very_large_photos_are_made_smaller(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shots: dict[Hold, NDArray[np.uint8]]
) -> None:
    monkeypatch.setattr("limewash.scan.shots._MOST_PX", 1.1 * SIZE[0] * SIZE[1])
    put(tmp_path, [cv2.resize(photo, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC) for photo in shots.values()])
    scan = read_shots(tmp_path, SIZE)
    (width, height), found = scan.correspondence.camera_size, scan.correspondence
    assert 0.95 * 1.1 < width * height / (SIZE[0] * SIZE[1]) <= 1.11
    assert scan.photo.shape == (height, width, 3)
    # Pixels have their places at their centres: the scale holds from rim to rim.
    x, y = ((part + 0.5) * old / new - 0.5 for part, old, new in zip(
        (found.camera_x, found.camera_y), SIZE, (width, height), strict=True))  # fmt: skip
    there = Correspondence(x.astype("f4"), y.astype("f4"), found.confidence, SIZE, SIZE)
    assert np.sqrt(np.mean(street().errors_px(there) ** 2)) < 0.2


@pytest.mark.parametrize("axis", [0, 1])
def test_missing_pictures_are_named(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]], axis: int) -> None:
    fringe, code = ([h for h in shots if h.kind == kind and h.axis == axis][2] for kind in ("fringe", "code"))
    put(tmp_path, [photo for hold, photo in shots.items() if hold not in (fringe, code)])
    with pytest.raises(InputError) as error:
        read_shots(tmp_path, SIZE)
    assert f"{picture_name(SHORT, fringe)}, {picture_name(SHORT, code)}" in str(error.value)
    assert "limewash scan pattern --stills DIR --short --size 480x270" in str(error.value)


def test_other_photos_are_left_out(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]]) -> None:
    day = np.rint(200 * street().scene().paint()).astype(np.uint8)
    half = np.where(np.arange(day.shape[1]) < day.shape[1] // 2, shots[Hold("white")], shots[Hold("black")])
    put(tmp_path, [*shots.values(), half.astype(np.uint8)])
    scan = read_shots(tmp_path, SIZE)
    assert "photos-left-out" in {item.code for item in scan.findings.items}
    assert np.sqrt(np.mean(street().errors_px(scan.correspondence) ** 2)) < 0.15


def test_photos_stand_upright_as_their_note_says(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]]) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6  # Exif 2.32: to be turned a quarter clockwise
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = 26
    for n, photo in enumerate(shots.values()):
        lying = Image.fromarray(np.ascontiguousarray(np.rot90(photo)))
        lying.save(tmp_path / f"{n}.jpg", quality=95, exif=exif)
    scan = read_shots(tmp_path, SIZE)
    assert scan.photo.shape == (SIZE[1], SIZE[0], 3)
    assert np.sqrt(np.mean(street().errors_px(scan.correspondence) ** 2)) < 0.2
    assert scan.lens is not None
    assert scan.lens.focal_per_width == pytest.approx(26 / 43.267 * np.hypot(*SIZE) / SIZE[0], rel=1e-3)


@pytest.mark.parametrize("far_px", [0.0, 0.6, 4.0])
def test_a_camera_that_was_touched_is_told(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]], far_px: float) -> None:
    move = np.array([[1.0, 0.0, far_px], [0.0, 1.0, 0.0]])
    moved = [
        cv2.warpAffine(p, move, SIZE, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE) if h.axis else p
        for h, p in shots.items()
    ]
    put(tmp_path, moved)
    if far_px > 2.0:
        with pytest.raises(InputError, match=r"moved by [34]\.\d px"):
            read_shots(tmp_path, SIZE)
        return
    finding = next(i for i in read_shots(tmp_path, SIZE).findings.items if i.code in ("still", "camera-moved"))
    assert (finding.code == "camera-moved") == (far_px > 0.0)
    assert finding.numbers["moved_px"] == pytest.approx(far_px, abs=0.15)


def test_the_pictures_are_the_pattern_s_own(tmp_path: Path) -> None:
    paths = write_pictures(tmp_path / "pictures", SHORT)
    assert len(paths) == len(set(paths)) == len({replace(hold, beats=1) for hold in SHORT.body})
    assert sorted(paths) == paths
    for path, hold in zip(paths, pictures_of(SHORT), strict=True):
        assert np.array_equal(read_image(path)[..., 0], SHORT.picture(hold))
    with pytest.raises(InputError, match="not an empty folder"):
        write_pictures(tmp_path / "pictures", SHORT)


def test_folders_without_the_pattern_are_refused(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]]) -> None:
    with pytest.raises(InputError, match="is not a folder"):
        read_shots(tmp_path / "none", SIZE)
    put(tmp_path / "few", [*shots.values()][:5])
    with pytest.raises(InputError, match="holds 5 photos"):
        read_shots(tmp_path / "few", SIZE)
    put(tmp_path / "other", [shots[Hold("white")]] * 20)
    with pytest.raises(InputError, match="do not show the pattern"):
        read_shots(tmp_path / "other", SIZE)
    put(tmp_path / "sizes", [*shots.values()])
    write_image(tmp_path / "sizes" / "IMG_0003.png", np.zeros((20, 30), np.uint8))
    with pytest.raises(InputError, match="camera standing still"):
        read_shots(tmp_path / "sizes", SIZE)


def test_a_zip_of_photos_is_read_like_a_folder(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]]) -> None:
    put(tmp_path / "photos", [*shots.values()])
    with zipfile.ZipFile(tmp_path / "photos.zip", "w") as archive:
        for number, path in enumerate(sorted((tmp_path / "photos").iterdir())):
            # Folders inside, and names that would lead out of any folder.
            archive.write(path, ("DCIM/100/", "../../")[number % 2] + path.name)
        archive.writestr("__MACOSX/._IMG_0001.png", b"a note, no photo")
        archive.writestr("readme.txt", b"nothing")
    from_zip, from_folder = read_any(tmp_path / "photos.zip", SIZE), read_any(tmp_path / "photos", SIZE)
    assert np.array_equal(from_zip.correspondence.camera_x, from_folder.correspondence.camera_x, equal_nan=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["photos", "photos.zip"]


def test_a_photo_in_a_zip_is_named_as_the_person_knows_it(tmp_path: Path, shots: dict[Hold, NDArray[np.uint8]]) -> None:
    put(tmp_path / "photos", [*shots.values()])
    write_image(tmp_path / "photos" / "IMG_0003.png", np.zeros((20, 30), np.uint8))
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for photo in sorted((tmp_path / "photos").iterdir()):
            archive.write(photo, f"DCIM/{photo.name}")
    with pytest.raises(InputError, match=r"IMG_0003\.png is 30 x 20"):
        read_any(path, SIZE)


def test_a_zip_with_a_damaged_photo_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.png", bytes(range(256)) * 200)
    data = bytearray(path.read_bytes())
    data[45:90] = b"\xff" * 45
    path.write_bytes(data)
    with pytest.raises(InputError, match="damaged"):
        read_any(path, SIZE)


def test_zips_without_photos_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(b"PK but no more")
    with pytest.raises(InputError, match="damaged"):
        read_any(path, SIZE)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("readme.txt", b"nothing")
    with pytest.raises(InputError, match="holds no photos"):
        read_any(path, SIZE)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.png", b"nothing")
    with pytest.raises(InputError, match=r"a\.zip holds 1 photos"):
        read_any(path, SIZE)
