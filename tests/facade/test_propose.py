"""Proposals on pictures that are known whole: drawn ones, both virtual houses, and a real photograph as it is."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from limewash.errors import InputError
from limewash.facade.propose import Proposal, fresh, in_words, propose
from limewash.facade.tracing import Kind, Tracing
from limewash.geometry.path import Arc, Path2
from limewash.geometry.path_flatten import flatten
from limewash.scan.correspondence import Correspondence
from limewash.world.develop import develop
from limewash.world.virtual import HOUSES, load_world

LIKE = 0.6
"""An area is right if it and the true one share so much of what both cover together."""
OFF = 0.008
"""A line is right if it runs so near the true one and the other way round, on the average, as a share of the width."""


def shape_of(path: Path2) -> np.ndarray:
    return flatten(path, tolerance_px=0.2, step_px=4.0).points


def likeness(a: Path2, b: Path2) -> float:
    one, other = (Polygon(shape_of(path)).buffer(0) for path in (a, b))
    return float(one.intersection(other).area / one.union(other).area)


def apart_px(a: Path2, b: Path2) -> float:
    def mean(of: Path2, to: Path2) -> float:
        line = LineString(shape_of(to))
        return float(np.mean([line.distance(spot) for spot in map(_spot, shape_of(of))]))

    return max(mean(a, b), mean(b, a))


def _spot(p: np.ndarray) -> Point:
    return Point(float(p[0]), float(p[1]))


@dataclass
class Score:
    proposed: int
    right: int
    there: int
    missed: list[str]


def score_of(name: str) -> Score:
    """How proposals on a virtual house, seen by its own camera in reduced size, compare with its features."""
    size = (1280, 720)
    world = load_world(name, camera_size=size)
    photo = develop(world.view().picture(np.full((1080, 1920), 255, np.uint8)))
    proposals = propose(photo, world.truth())
    kinds = (Kind.WINDOW, Kind.DOOR, Kind.GARAGE, Kind.ROOF_LINE)
    features = [f for f in world.features() if f.kind in kinds]
    found: set[str] = set()
    right = 0
    for proposal in proposals:
        for feature in features:
            if feature.kind is not proposal.traced.kind or feature.id in found:
                continue
            path = proposal.traced.path
            is_like = (
                likeness(path, feature.camera) >= LIKE
                if feature.closed
                else apart_px(path, feature.camera) <= OFF * size[0]
            )
            if is_like:
                found.add(feature.id)
                right += 1
                break
    return Score(len(proposals), right, len(features), [f.id for f in features if f.id not in found])


@pytest.mark.slow
def test_most_openings_and_roof_lines_of_both_houses_are_found() -> None:
    """Thresholds were set on the painted house with other cameras; the brick house was held out until the end."""
    scores = {name: score_of(name) for name in HOUSES}
    proposed, right, there = (sum(getattr(s, k) for s in scores.values()) for k in ("proposed", "right", "there"))
    told = f"{scores}: precision {right / proposed:.2f}, recall {right / there:.2f}"
    assert right / proposed >= 0.9, told
    assert right / there >= 0.8, told


def drawn_house(*, half_round: bool = False) -> tuple[np.ndarray, Correspondence, list[tuple[int, int, int, int]]]:
    """A beige wall with white-framed windows, whose panes the scan does not see; boxes as left, top, right, bottom."""
    width, height = 960, 540
    photo = np.full((height, width, 3), (12, 13, 16), dtype=np.uint8)
    photo[80:500, 100:860] = (196, 184, 150)
    photo[80:500:18, 100:860] = (170, 160, 128)  # boards
    seen = np.zeros((height, width), dtype=bool)
    seen[80:500, 100:860] = True
    boxes = [(170, 150, 270, 290), (430, 150, 530, 290), (690, 150, 790, 290)]
    for left, top, right, bottom in boxes:
        photo[top:bottom, left:right] = (232, 230, 224)
        for row in range(3):
            for column in range(2):
                y, x = top + 14 + row * 39, left + 14 + column * 38
                photo[y : y + 34, x : x + 34] = (9, 9, 11)
                seen[y : y + 34, x : x + 34] = False
    if half_round:
        cv2.ellipse(photo, (480, 420), (62, 62), 0, 180, 360, (232, 230, 224), -1)
        glass = np.zeros((height, width), np.uint8)
        for start in (183, 229, 275, 321):
            cv2.ellipse(glass, (480, 412), (46, 46), 0, start, start + 36, 1, -1)
        photo[glass > 0] = (9, 9, 11)
        seen &= glass == 0
    photo = cv2.GaussianBlur(photo, (0, 0), 0.7)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    nan = np.float32(np.nan)
    scan = Correspondence(
        np.where(seen, x, nan), np.where(seen, y, nan), seen.astype(np.float32), (width, height), (width, height)
    )
    return photo, scan, boxes


def test_drawn_windows_are_found_by_their_frames() -> None:
    photo, scan, boxes = drawn_house()
    found = [p for p in propose(photo, scan) if p.traced.kind is Kind.WINDOW]
    assert len(found) == 3
    for proposal, (left, top, right, bottom) in zip(found, boxes, strict=True):
        corners = np.array([s.start for s in proposal.traced.path.segments])
        np.testing.assert_allclose(corners.min(axis=0), (left - 0.5, top - 0.5), atol=1.0)
        np.testing.assert_allclose(corners.max(axis=0), (right - 0.5, bottom - 0.5), atol=1.0)
        assert proposal.confidence > 0.7
    assert in_words(found) == "3 windows"


def test_a_half_round_window_is_one() -> None:
    photo, scan, _ = drawn_house(half_round=True)
    windows = [p.traced.path for p in propose(photo, scan) if p.traced.kind is Kind.WINDOW]
    round_ones = [path for path in windows if any(isinstance(s, Arc) for s in path.segments)]
    assert len(windows) == 4 and len(round_ones) == 1
    top = shape_of(round_ones[0]).min(axis=0)[1]
    assert abs(top - 358.0) < 8.0


def test_a_door_without_glass_is_known_by_its_leaf_and_the_ground() -> None:
    """A shutter and a board of the same shape and colour hang on the wall: below them it goes on."""
    photo, scan, _ = drawn_house()
    photo[320:488, 576:666] = (232, 230, 224)  # casing
    photo[330:488, 586:656] = (52, 118, 132)
    photo[345:400, 600:642] = (44, 104, 118)  # a panel
    photo[488:500, 540:700] = (120, 118, 112)  # a step
    photo[150:290, 280:330] = photo[330:450, 330:370] = (52, 118, 132)
    y, x = np.mgrid[0:540, 0:960].astype(np.float32)
    seen = np.isfinite(scan.camera_x) | (photo[..., 1] > 90)
    nan = np.float32(np.nan)
    whole = Correspondence(
        np.where(seen, x, nan), np.where(seen, y, nan), seen.astype(np.float32), scan.camera_size, scan.projector_size
    )
    doors = [p.traced.path for p in propose(photo, whole) if p.traced.kind in (Kind.DOOR, Kind.GARAGE)]
    assert len(doors) == 1
    corners = np.array([s.start for s in doors[0].segments])
    np.testing.assert_allclose(corners.min(axis=0), (575.5, 319.5), atol=1.5)
    np.testing.assert_allclose(corners.max(axis=0), (665.5, 487.5), atol=1.5)


def test_a_white_garage_door_in_white_boards_is_one_with_them() -> None:
    """A white gutter runs along the wall just above: it does not belong to the door."""
    photo, scan, _ = drawn_house()
    white = (232, 230, 224)
    photo[329:333, 100:860] = white
    photo[338:490, 560:760] = white
    for row in range(4):
        photo[350 + 34 * row : 352 + 34 * row, 575:745] = (205, 203, 198)  # joints between panels
    photo[490:540, 100:860] = (96, 92, 88)  # the drive
    photo[:] = cv2.GaussianBlur(photo, (0, 0), 0.7)
    y, x = np.mgrid[0:540, 0:960].astype(np.float32)
    seen = np.isfinite(scan.camera_x) | (photo[..., 1] > 60)
    nan = np.float32(np.nan)
    whole = Correspondence(
        np.where(seen, x, nan), np.where(seen, y, nan), seen.astype(np.float32), scan.camera_size, scan.projector_size
    )
    doors = [p.traced for p in propose(photo, whole) if p.traced.kind in (Kind.DOOR, Kind.GARAGE)]
    assert [door.kind for door in doors] == [Kind.GARAGE]
    corners = np.array([s.start for s in doors[0].path.segments])
    np.testing.assert_allclose(corners.min(axis=0), (559.5, 337.5), atol=1.5)
    np.testing.assert_allclose(corners.max(axis=0), (759.5, 489.5), atol=1.5)


def test_without_glass_nothing_is_found() -> None:
    photo, scan, boxes = drawn_house()
    for left, top, right, bottom in boxes:
        photo[top:bottom, left:right] = (196, 184, 150)
    y, x = np.mgrid[0:540, 0:960].astype(np.float32)
    whole = Correspondence(x, y, np.ones_like(x), scan.camera_size, scan.projector_size)
    assert [p for p in propose(photo, whole) if p.traced.kind is Kind.WINDOW] == []
    assert in_words([]) == "nothing"


def test_what_is_drawn_already_is_not_proposed_again() -> None:
    photo, scan, _ = drawn_house()
    found = propose(photo, scan)
    first = fresh(found, Tracing((960, 540)))
    assert len({item.id for item in first}) == len(found)
    drawn = Tracing((960, 540), (first[0],))
    again = fresh(found, drawn)
    assert len(again) == len(found) - 1
    Tracing((960, 540), (*drawn.items, *again))  # all ids differ


def test_a_real_photograph_is_looked_at_without_harm() -> None:
    """scikit-learn's bundled photograph of a pagoda by day, without a scan: it is no house front, little is certain."""
    photo = pytest.importorskip("sklearn.datasets").load_sample_image("china.jpg")
    proposals: list[Proposal] = propose(photo)
    assert len({p.traced.id for p in proposals}) == len(proposals)
    for proposal in proposals:
        points = shape_of(proposal.traced.path)
        assert (points > -1.5).all() and (points < np.array([640, 427]) + 0.5).all()


def test_a_scan_of_another_photo_is_refused() -> None:
    _, scan, _ = drawn_house()
    with pytest.raises(InputError, match="the scan is of a photo of 960 x 540, this one has 640 x 480"):
        propose(np.zeros((480, 640, 3), dtype=np.uint8), scan)
