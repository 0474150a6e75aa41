"""Measuring the scene of a project's scan, with what `house.toml` knows of lenses and lengths."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from limewash.errors import InputError
from limewash.files import replacing
from limewash.media.images import write_image
from limewash.project.folder import Project
from limewash.project.models import House, Rig
from limewash.scan.correspondence import load_correspondence
from limewash.scan.geometry import SceneGeometry, TapePoint, measure_geometry, save_geometry
from limewash.scan.lens import FILE as LENS_FILE
from limewash.scan.lens import LensNote, lens_by_photo, load_lens
from limewash.scan.relief_picture import draw_relief
from limewash.scan.two_view import LensGuess

FILE, PICTURE = "geometry.npz", "depth.png"

_FILM_WIDTH_MM = 36.0  # by which focal lengths "in terms of 35 mm film" are given
_PHONE_MM, _PHONE_SIGMA, _TOLD_SIGMA = 28.0, 0.1, 0.03
_SHEET_SIGMA, _UNKNOWN_SIGMA = 0.03, 0.25  # data sheets round, and zooms have no marks
_SHIFT_SIGMA = 0.02


def measure_scan(
    project: Project, scan: str | None = None, phone_mm: float | None = None, photo: Path | None = None
) -> tuple[Path, SceneGeometry]:
    """Measure a scan's scene and write `geometry.npz` and `depth.png` into its folder, both or neither.

    Parameters
    ----------
    project : Project
    scan : str, optional
        Which scan; the one in use when left out.
    phone_mm : float, optional
        Focal length of the phone while filming, in terms of 35 mm film, by the width. [mm]
    photo : Path, optional
        A photo that the same phone took with the same lens, for what its note says of the focal length.

    Raises
    ------
    InputError
        If there is no such scan, or nothing can be measured from it, see `measure_geometry`.
    """
    folder = project.scan_folder(scan)
    correspondence = load_correspondence(folder / "correspondence.npz")
    _check_on_photo(project.house, correspondence.camera_size)
    lens = lens_by_photo(photo, correspondence.camera_size) if photo else load_lens(folder / LENS_FILE)
    geometry = measure_geometry(correspondence, lens_guess(project.rig, phone_mm, lens), tape_of(project.house))
    picture = draw_relief(geometry)
    with replacing(folder / FILE) as data, replacing(folder / PICTURE) as drawn:
        save_geometry(data, geometry)
        write_image(drawn, picture)
    return folder, geometry


def _check_on_photo(house: House, size: tuple[int, int]) -> None:
    """Raise InputError if a measured place is given beside the photo: it is a slip, or of another scan's photo."""
    for point in house.facade.measured if house.facade else ():
        x, y = point.photo_px
        if not (-0.5 <= x <= size[0] - 0.5 and -0.5 <= y <= size[1] - 0.5):
            raise InputError(
                f"facade.measured {point.what!r}: photo_px must lie on this scan's photo.png of {size[0]} x {size[1]} "
                f"pixels, got [{x:g}, {y:g}]; is it of another scan's photo?"
            )


def lens_guess(rig: Rig, phone_mm: float | None = None, lens: LensNote | None = None) -> LensGuess:
    """What the data sheet, the person and the phone's own note tell of the lenses; the person knows best."""
    if phone_mm is not None:
        lens = LensNote(phone_mm / _FILM_WIDTH_MM, _TOLD_SIGMA, "the person")
    projector = rig.projector
    sigma = _SHEET_SIGMA if "throw_ratio" in projector.model_fields_set else _UNKNOWN_SIGMA
    return LensGuess(
        throw_ratio=projector.throw_ratio,
        throw_sigma=sigma,
        lens_shift=projector.picture_shift,
        shift_sigma=_SHIFT_SIGMA,
        focal_per_width=lens.focal_per_width if lens else _PHONE_MM / _FILM_WIDTH_MM,
        focal_sigma=lens.sigma if lens else _PHONE_SIGMA,
    )


def tape_of(house: House) -> tuple[TapePoint, ...]:
    """The places of the wall that were measured."""
    measured = house.facade.measured if house.facade else ()
    return tuple(TapePoint(point.wall_m, point.photo_px) for point in measured)


def describe(geometry: SceneGeometry) -> list[tuple[str, str]]:
    """Rows of words and figures for printing."""
    unit = "m" if geometry.metric else "times the distance between the lenses"
    rows = []
    for name, device in (("projector's lens", geometry.projector), ("phone's lens", geometry.camera)):
        x, y, z = device.position_m
        rows.append((f"{name}: right, up, out of the wall", f"{x:.2f}, {y:.2f}, {z:.2f} {unit}"))
    throw = geometry.projector.focal_px[0] / geometry.projector.size[0]
    focal = geometry.camera.focal_px[0] / geometry.camera.size[0] * _FILM_WIDTH_MM
    seen = geometry.sigma_m[geometry.sigma_m > 0.0]
    rows += [
        ("throw ratio found", f"{throw:.3f} ± {throw * geometry.throw_sigma:.3f}"),
        ("phone's focal length found, 35 mm film", f"{focal:.1f} mm"),
        ("depth: noise of a pixel, half of them below", _length(float(np.median(seen)), geometry)),
        ("relief may be stretched by", f"{100 * geometry.stretch:.1f} % of the distance, smoothly"),
    ]
    if geometry.metric:
        rows.append(("misfit of the measured places", f"{1000 * geometry.tape_m:.0f} mm"))
    return rows


def _length(value: float, geometry: SceneGeometry) -> str:
    return f"{1000 * value:.0f} mm" if geometry.metric else f"{value:.4f} of the distance between the lenses"
