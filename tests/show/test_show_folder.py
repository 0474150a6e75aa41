"""A show inside a project: begun from the bundled score, opened again, metres by measured points."""

from pathlib import Path

import numpy as np
import pytest
from invented_house import invented_map

from limewash.errors import InputError
from limewash.facade.map import export_map
from limewash.media.images import write_image
from limewash.project.folder import Project, create_project
from limewash.project.models import Facade, House, MeasuredPoint
from limewash.scan.correspondence import Correspondence, save_correspondence
from limewash.show.folder import open_show, proof_size, start_show, wall_of

SIZE = (480, 270)
METRES_A_PIXEL = 0.02


def straight_on(size: tuple[int, int]) -> Correspondence:
    """A camera that sees every projector pixel at twice its place."""
    y, x = np.mgrid[: size[1], : size[0]].astype(np.float32)
    one = np.ones_like(x)
    return Correspondence(2 * x, 2 * y, one, (2 * size[0], 2 * size[1]), size)


def measured(camera_px: tuple[float, float]) -> MeasuredPoint:
    x, y = camera_px
    wall = (0.5 * METRES_A_PIXEL * x, 0.5 * METRES_A_PIXEL * (1000.0 - y))
    return MeasuredPoint(what="corner", wall_m=wall, photo_px=camera_px)


@pytest.fixture
def project(tmp_path: Path) -> Project:
    corners = [(10.0, 12.0), (500.0, 20.0), (490.0, 300.0), (15.0, 290.0), (250.0, 100.0)]
    facade = Facade(width_m=9.0, height_m=6.0, measured=tuple(measured(c) for c in corners))
    made = create_project(tmp_path / "house", House(name="Test house", facade=facade))
    scan = made.next_scan()
    scan.mkdir()
    save_correspondence(scan / "correspondence.npz", straight_on(SIZE))
    export_map(made.map_folder, invented_map(SIZE))
    return made


def test_metres_follow_the_measured_points(project: Project) -> None:
    wall = wall_of(project.house, straight_on(SIZE))
    # Straight on, a projector pixel is two camera pixels, and those are METRES_A_PIXEL together.
    assert np.diff(wall.x_m, axis=1) == pytest.approx(METRES_A_PIXEL, abs=1e-4)
    assert np.diff(wall.y_m, axis=0) == pytest.approx(-METRES_A_PIXEL, abs=1e-4)


def test_without_enough_points_the_width_is_taken_on_trust(project: Project) -> None:
    house = project.house.model_copy(update={"facade": Facade(width_m=9.0, height_m=6.0)})
    wall = wall_of(house, straight_on(SIZE))
    assert float(wall.x_m[0, -1] - wall.x_m[0, 0]) == pytest.approx(9.0 * (1 - 1 / SIZE[0]), rel=1e-4)


def test_a_show_is_begun_with_score_and_music_and_opened_again(project: Project) -> None:
    begun = start_show(project, "evening", bundled="short")
    assert project.shows() == ["evening"]
    assert (begun.folder / "music.wav").stat().st_size > 100_000
    again = open_show(project, "evening")
    assert again.score == begun.score
    assert again.fields.size == SIZE


def test_a_score_that_exists_is_not_replaced(project: Project) -> None:
    start_show(project, "evening", bundled="short")
    with pytest.raises(InputError, match="already has a score"):
        start_show(project, "evening")


def test_cues_that_the_house_has_nothing_for_are_left_out(project: Project) -> None:
    kept = start_show(project, "evening").score
    for cue in kept.cue:
        open_show(project, "evening").fields.select(cue.where)
    assert len(kept.cue) >= 8


def test_an_unknown_show_names_the_nearest(project: Project) -> None:
    with pytest.raises(InputError, match="limewash show new"):
        open_show(project, "evening")
    start_show(project, "evening", bundled="short")
    with pytest.raises(InputError, match="did you mean 'evening'"):
        open_show(project, "evning")


def test_without_a_map_the_next_step_is_named(tmp_path: Path) -> None:
    bare = create_project(tmp_path / "bare", House(name="Bare"))
    with pytest.raises(InputError, match="limewash map export"):
        start_show(bare, "evening")


@pytest.mark.parametrize(
    ("photo_size", "wanted"),
    [
        ((4032, 3024), (1280, 960)),
        ((3024, 4032), (960, 1280)),
        ((1920, 1080), (1280, 720)),
        ((1280, 720), (1280, 720)),
        ((640, 480), (640, 480)),
        ((4001, 2999), (1280, 960)),
        ((1283, 1281), (1280, 1278)),
        ((1279, 853), (1280, 852)),
        ((641, 359), (640, 360)),
        ((4000, 10), (1280, 4)),
        ((3000, 1), (1280, 2)),
    ],
)
def test_the_proof_has_the_photos_shape(project: Project, photo_size: tuple[int, int], wanted: tuple[int, int]) -> None:
    write_image(project.scan_folder() / "photo.png", np.zeros((photo_size[1], photo_size[0], 3), dtype=np.uint8))
    size = proof_size(project)
    assert size == pytest.approx(wanted, abs=2)
    assert [side % 2 for side in size] == [0, 0]
    assert min(size) >= 2 and max(size) <= 1280
