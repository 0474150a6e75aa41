"""What is taken from photos and clips about the lens, and what `scan measure` makes of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from limewash.errors import InputError
from limewash.media.photos import PhotoNote
from limewash.project.models import Projector, Rig
from limewash.scan.lens import LensNote, lens_by_photo, lens_of_photos, load_lens, save_lens
from limewash.scan.measure import lens_guess


def photo(folder: Path, size: tuple[int, int], **tags: object) -> Path:
    exif = Image.Exif()
    for name, value in tags.items():
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base[name]] = value
    Image.new("RGB", size).save(folder / "IMG_1.jpg", exif=exif)
    return folder / "IMG_1.jpg"


def test_a_scan_of_photos_knows_its_lens_well() -> None:
    lens = lens_of_photos(PhotoNote(focal_35mm=26.0), (4000, 3000))
    assert lens is not None
    assert lens.focal_per_width == pytest.approx(26 / 43.267 * 5 / 4, rel=1e-3)  # a 3-4-5 triangle
    assert lens.sigma < 0.03
    assert lens_of_photos(PhotoNote(), (4000, 3000)) is None


def test_a_film_shows_less_than_the_photo_and_says_how_unsure_that_is(tmp_path: Path) -> None:
    """Steadying crops a film by nothing or by up to a fifth: both ends lie within two standard deviations."""
    lens = lens_by_photo(photo(tmp_path, (400, 300), FocalLengthIn35mmFilm=26), (1920, 1080))
    plain = 26 / 43.267 * 5 / 4
    for crop in (1.0, 1.2):
        assert abs(np.log(lens.focal_per_width / (plain * crop))) < 2.0 * lens.sigma
    upright = lens_by_photo(photo(tmp_path, (400, 300), FocalLengthIn35mmFilm=26), (1080, 1920))
    assert upright.focal_per_width == pytest.approx(lens.focal_per_width * 4 / 3)


def test_digital_zoom_is_covered_whether_the_maker_reckons_it_in_or_not(tmp_path: Path) -> None:
    lens = lens_of_photos(PhotoNote(focal_35mm=26.0, zoom=2.0), (4000, 3000))
    assert lens is not None
    plain = 26 / 43.267 * 5 / 4
    for zoom in (1.0, 2.0):
        assert abs(np.log(lens.focal_per_width / (plain * zoom))) < 1.1 * lens.sigma


def test_a_photo_without_a_note_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="messengers and editors strip"):
        lens_by_photo(photo(tmp_path, (40, 30)), (1920, 1080))


def test_the_person_s_word_goes_before_the_photo_s_and_that_before_a_guess() -> None:
    rig = Rig(name="A", projector=Projector(size=(1920, 1080)))
    note = LensNote(0.8, 0.03, "a note")
    guessed, noted, told = lens_guess(rig), lens_guess(rig, lens=note), lens_guess(rig, 30.0, note)
    assert guessed.focal_sigma > noted.focal_sigma
    assert noted.focal_per_width == 0.8
    assert told.focal_per_width == pytest.approx(30 / 36)


def test_a_stored_lens_comes_back(tmp_path: Path) -> None:
    note = LensNote(0.81, 0.065, "the Exif note of IMG_1.jpg")
    assert load_lens(tmp_path / "lens.json") is None
    save_lens(tmp_path / "lens.json", note)
    assert load_lens(tmp_path / "lens.json") == note
    for text in ("{", '{"format": 1, "focal_per_width": -1, "sigma": 0.1, "told_by": ""}', "[]"):
        (tmp_path / "lens.json").write_text(text)
        with pytest.raises(InputError, match="damaged"):
            load_lens(tmp_path / "lens.json")
    (tmp_path / "lens.json").write_text('{"format": 9}')
    with pytest.raises(InputError, match="install a newer one"):
        load_lens(tmp_path / "lens.json")
