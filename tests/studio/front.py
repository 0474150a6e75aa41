"""A project with an exact scan of a flat front: photo and projector picture differ by one homography."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from limewash.facade.svg import write_tracing
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.geometry.homography import apply_homography, fit_homography
from limewash.geometry.path import Arc, Line, Path2, polyline
from limewash.media.images import write_image
from limewash.project.folder import Project, create_project, open_project
from limewash.project.models import House, Projector, Rig
from limewash.scan.correspondence import Correspondence, save_correspondence

PHOTO = (960, 720)
PROJECTOR = (640, 360)

WINDOW = [(260.0, 300.0), (340.0, 300.0), (340.0, 440.0), (260.0, 440.0)]

TO_PHOTO = fit_homography(
    [(0, 0), (639, 0), (639, 359), (0, 359)], [(110.0, 92.0), (860.0, 118.0), (842.0, 604.0), (128.0, 588.0)]
)
"""Projector pixels to photo pixels."""


def to_projector(points: object) -> np.ndarray:
    """Exact projector pixels of photo pixels."""
    return apply_homography(np.linalg.inv(TO_PHOTO), points)


def make_project(root: Path, *, traced: bool = True) -> Project:
    """A project with one exact scan, and a window, a half-round window and a roof line traced."""
    project = create_project(root, House(name="Test house", rig=(Rig(projector=Projector(size=PROJECTOR)),)))
    scan = root / "scans" / "scan-1"
    scan.mkdir(parents=True)
    columns, rows = np.meshgrid(np.arange(PROJECTOR[0]), np.arange(PROJECTOR[1]))
    camera = apply_homography(TO_PHOTO, np.stack([columns, rows], axis=-1))
    save_correspondence(
        scan / "correspondence.npz",
        Correspondence(
            camera[..., 0].astype(np.float32),
            camera[..., 1].astype(np.float32),
            np.ones((PROJECTOR[1], PROJECTOR[0]), np.float32),
            PHOTO,
            PROJECTOR,
        ),
    )
    write_image(scan / "photo.png", photo())
    if traced:
        write_tracing(project.tracing_file, tracing(), "scans/scan-1/photo.png")
    return open_project(root)


def photo() -> np.ndarray:
    """A pale front with dark openings where the tracing has them."""
    picture = np.full((PHOTO[1], PHOTO[0], 3), (52, 47, 40), np.uint8)
    cv2.fillPoly(picture, [np.array([(160, 560), (160, 240), (480, 110), (800, 240), (800, 560)])], (196, 186, 168))
    cv2.rectangle(picture, (260, 300), (340, 440), (38, 44, 52), -1)
    cv2.ellipse(picture, (480, 300), (60, 60), 0, 180, 360, (38, 44, 52), -1)
    return picture


def tracing() -> Tracing:
    half_round = Path2((Arc((420.0, 300.0), (540.0, 300.0), (60.0, 60.0)), Line((540.0, 300.0), (420.0, 300.0))), True)
    return Tracing(
        PHOTO,
        (
            Traced(
                "window-1",
                Kind.WINDOW,
                polyline([(260, 300), (340, 300), (340, 440), (260, 440)], closed=True),
                "Kitchen",
            ),
            Traced("half-round", Kind.WINDOW, half_round, "Half-round"),
            Traced("roof", Kind.ROOF_LINE, polyline([(160, 240), (480, 110), (800, 240)], closed=False)),
        ),
    )
