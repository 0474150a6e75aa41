"""The desk without the web: saving, history, drags, other programs, check points by eye."""

import threading
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from front import PROJECTOR, make_project, to_projector
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from waiting import until

from limewash.errors import InputError
from limewash.facade.svg import read_tracing, write_tracing
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.project.folder import open_project
from limewash.scan.correspondence import load_correspondence
from limewash.studio import tracing_desk
from limewash.studio.carry import Carrier
from limewash.studio.desk import Desk
from limewash.studio.document import ConflictError
from limewash.studio.ground import open_ground
from limewash.studio.hand import Finish, Move, Nudge, Plain, Put
from limewash.studio.house_desk import FaultyFormError, HouseChange
from limewash.studio.notices import Notices
from limewash.studio.recent import Recent
from limewash.studio.saver import ThinnedFile
from limewash.studio.settle_desk import MovedCheckPoint, NewCheckPoint
from limewash.studio.tracing_desk import TracingDesk, carried
from limewash.studio.wire import ArcSegment, CarriedPath, Change, CubicSegment, Drag, LineSegment, TracedPath


def line(path_id: str, *points: tuple[float, float]) -> TracedPath:
    segments = [LineSegment(start=a, end=b) for a, b in pairwise(points)]
    return TracedPath(id=path_id, kind=Kind.TRIM, closed=False, segments=list(segments))


def saved(root: Path) -> Tracing:
    return read_tracing(root / "tracing.svg")


def history(root: Path) -> list[Path]:
    return sorted((root / "history").rglob("tracing*"))


def test_a_change_comes_to_disk_without_being_asked(desk: Desk, root: Path) -> None:
    desk.tracing.add(line("sill", (200, 460), (300, 462)))
    until(lambda: [item.id for item in saved(root).items] == ["window-1", "half-round", "roof", "sill"], "saved")


def test_what_is_being_dragged_comes_to_disk_too(desk: Desk, root: Path) -> None:
    """Within a second: test_killed.py measures it."""
    desk.tracing.drag(Drag(path=line("roof", (150, 250), (480, 115), (810, 250)), client="a"))
    until(lambda: next(i for i in saved(root).items if i.id == "roof").path.start == (150, 250), "saved")
    assert desk.tracing.state().can_undo is None, "a drag is not a step"


def test_a_dropped_drag_goes_back_and_a_page_that_leaves_keeps_its_own(desk: Desk) -> None:
    before = desk.tracing.tracing
    desk.tracing.drag(Drag(path=line("roof", (150, 250), (810, 250)), client="a"))
    desk.tracing.drop_drag()
    assert desk.tracing.shown == before
    desk.tracing.drag(Drag(path=line("roof", (150, 250), (810, 250)), client="a"))
    desk.client_left("b")
    assert desk.tracing.tracing == before
    desk.client_left("a")
    assert desk.tracing.tracing != before
    assert desk.tracing.state().can_undo == "drag"


def test_a_drag_that_comes_late_does_not_undo_what_was_let_go(desk: Desk) -> None:
    seen = desk.tracing.revision
    desk.tracing.change(Change(revision=seen, put=[line("roof", (150, 250), (810, 250))]))
    desk.tracing.drag(Drag(path=line("roof", (140, 240), (800, 240)), revision=seen))
    assert desk.tracing.shown == desk.tracing.tracing
    desk.tracing.drag(Drag(path=line("roof", (140, 240), (800, 240)), revision=desk.tracing.revision))
    assert desk.tracing.shown != desk.tracing.tracing


def test_a_slow_drag_is_not_told_after_the_change_that_ends_it(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    tracing = desk.tracing
    seen = tracing.revision
    told: list[str] = []
    desk.notices.listen(lambda message: told.append(message["type"]))
    begun, go = threading.Event(), threading.Event()

    def slow(item: Traced, carrier: Carrier) -> CarriedPath:
        begun.set()
        go.wait(20)
        return carried(item, carrier)

    monkeypatch.setattr(tracing_desk, "carried", slow)
    drag = Drag(path=line("roof", (150, 250), (810, 250)), client="a", revision=seen)
    dragging = threading.Thread(target=tracing.drag, args=(drag,))
    dragging.start()
    assert begun.wait(10)
    tracing.change(Change(revision=seen, put=[line("roof", (170, 250), (800, 250))]))
    go.set()
    dragging.join()
    assert "tracing" in told and "drag" not in told


def test_a_drag_that_is_refused_is_not_seen_any_longer(desk: Desk) -> None:
    seen = desk.tracing.revision
    desk.tracing.change(Change(revision=seen, put=[line("roof", (150, 250), (810, 250))]))
    desk.tracing.drag(Drag(path=line("roof", (140, 240), (800, 240)), client="a"))
    with pytest.raises(ConflictError):
        desk.tracing.change(Change(revision=seen, put=[line("roof", (140, 240), (800, 240))]))
    assert desk.tracing.shown == desk.tracing.tracing
    assert desk.tracing.tracing.items[-1].path.start == (150, 250)


def test_a_check_point_that_is_dragged_is_one_step(desk: Desk) -> None:
    settle = desk.settle
    state = settle.add(NewCheckPoint(revision=settle.state().revision, map_px=(100, 100)))
    for x in (101.0, 104.0, 109.0):
        move = MovedCheckPoint(revision=state.revision, to_px=(x, 100.0), hold="a")
        state = settle.change(state.chosen, move)
    state = settle.change(state.chosen, MovedCheckPoint(revision=state.revision, to_px=(120.0, 100.0), hold="b"))
    state = settle.travel(state.revision, "undo")
    assert state.points[0].house_px == (109.0, 100.0)
    state = settle.travel(state.revision, "undo")
    assert state.points[0].house_px == pytest.approx((100.0, 100.0))


def test_settling_follows_the_tracing_and_its_steps_outlive_the_keeping(desk: Desk) -> None:
    settle = desk.settle
    desk.tracing.add(line("sill", (200, 460), (300, 462)))
    assert [path.id for path in settle.state().before] == ["window-1", "half-round", "roof", "sill"]
    state = settle.add(NewCheckPoint(revision=settle.state().revision, map_px=(100, 100)))
    state = settle.change(state.chosen, MovedCheckPoint(revision=state.revision, by_px=(3.0, 0.0)))
    desk.keep_settled()
    assert desk.project.scan_folder().name == "scan-1-settled"
    state = desk.settle.state()
    assert (state.settled, state.kept, state.can_undo) == (True, True, "move point 1")
    state = desk.settle.travel(state.revision, "undo")
    assert not state.kept
    desk.use_scan("scan-1")
    assert desk.settle.state().points[0].house_px == pytest.approx((100.0, 100.0))


def test_many_saves_leave_one_copy_in_the_history(desk: Desk, root: Path) -> None:
    for n in range(5):
        desk.tracing.add(line(f"sill-{n}", (200 + n, 460), (300, 462)))
        desk.save()
    assert len(history(root)) == 1
    assert read_tracing(history(root)[0]).items[-1].id == "roof", "the copy is what was there before"


def test_what_another_program_wrote_is_taken_in_and_never_lost(root: Path) -> None:
    project = open_project(root)
    ground = open_ground(project)
    assert ground is not None
    desk = TracingDesk(project, ground, Notices())
    other = Tracing(saved(root).size, saved(root).items[:1])
    write_tracing(root / "tracing.svg", other, "scans/scan-1/photo.png")
    assert desk.take_in_outside_changes()
    assert [item.id for item in desk.tracing.items] == ["window-1"]
    assert desk.state().can_undo == "edit in another program"
    # While something is unsaved here, the other's work goes into the history instead.
    desk.drag(Drag(path=line("new", (200, 460), (300, 462))))
    write_tracing(root / "tracing.svg", Tracing(other.size), "scans/scan-1/photo.png")
    assert not desk.take_in_outside_changes()
    desk.save()
    assert [item.id for item in saved(root).items] == ["window-1", "new"]
    assert any(read_tracing(copy).items == () for copy in history(root))


def test_a_thinned_file_keeps_a_copy_again_after_a_while(root: Path) -> None:
    project = open_project(root)
    file = ThinnedFile(project, root / "notes.txt", keep_every_s=0.0)
    for text in (b"one", b"two", b"three"):
        file.write(text)
    assert sorted(p.read_bytes() for p in (root / "history").glob("notes*")) == [b"one", b"two"]


coordinate = st.floats(-1.0, 719.0, allow_nan=False)
point = st.tuples(coordinate, coordinate)


@st.composite
def paths(draw: st.DrawFn) -> TracedPath:
    corners = draw(st.lists(point, min_size=2, max_size=6))
    closed = draw(st.booleans())
    if closed:
        corners.append(corners[0])
    segments: list[LineSegment | ArcSegment | CubicSegment] = []
    for a, b in pairwise(corners):
        match draw(st.sampled_from(["line", "arc", "cubic"])):
            case "line":
                segments.append(LineSegment(start=a, end=b))
            case "arc":
                radius = draw(st.tuples(st.floats(0.5, 200.0), st.floats(0.5, 200.0)))
                segments.append(ArcSegment(start=a, end=b, radius=radius, sweep=draw(st.booleans())))
            case _:
                segments.append(CubicSegment(start=a, control1=draw(point), control2=draw(point), end=b))
    title = draw(st.text(st.characters(blacklist_categories=("Cs", "Cc", "Co", "Cn")), max_size=8))
    return TracedPath(
        id=draw(st.text("ab-é'\"<&", min_size=1, max_size=5)), closed=closed, segments=segments, title=title
    )


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(path=paths())
def test_whatever_is_accepted_is_read_back_from_the_file(tmp_path: Path, path: TracedPath) -> None:
    """A path that the desk takes in must never make `tracing.svg` unreadable."""
    from limewash.facade.svg import tracing_svg
    from limewash.studio.wire import to_traced

    try:
        item = to_traced(path, (960, 720))
    except InputError:
        return
    file = tmp_path / "tracing.svg"
    file.write_text(tracing_svg(Tracing((960, 720), (item,)), "photo.png"), encoding="utf-8")
    read = read_tracing(file).items
    assert len(read) == 1
    assert (read[0].id, read[0].kind, read[0].path.closed) == (item.id, item.kind, item.path.closed)
    assert read[0].path.start == pytest.approx(item.path.start)


def test_the_preview_is_the_exact_homography(desk: Desk) -> None:
    preview = {path.id: np.array(path.points) for path in desk.tracing.preview().paths}
    window = preview["window-1"]
    corners = to_projector([(260, 300), (340, 300), (340, 440), (260, 440)])
    for corner in corners:
        assert np.linalg.norm(window - corner, axis=1).min() < 0.05
    inverse = desk.ground.carrier.back(corners)
    np.testing.assert_allclose(desk.ground.carrier.carry(inverse), corners, atol=1e-6)


def test_drawing_on_the_house_becomes_a_path_of_the_tracing(desk: Desk) -> None:
    hand = desk.hand
    for corner in [(100.0, 60.0), (160.0, 60.0), (160.0, 120.0)]:
        hand.act(Move(do="move", dx=corner[0] - hand.at[0], dy=corner[1] - hand.at[1]))
        hand.act(Put(do="put"))
    hand.act(Finish(do="finish", closed=True, kind=Kind.WINDOW, title="Attic"))
    path = next(p for p in desk.tracing.preview().paths if p.title == "Attic")
    for corner in [(100.0, 60.0), (160.0, 60.0), (160.0, 120.0)]:
        assert np.linalg.norm(np.array(path.points) - corner, axis=1).min() < 0.05


def test_a_point_put_twice_is_one_and_two_points_of_a_line_are_never_an_area(desk: Desk) -> None:
    hand = desk.hand
    for corner in [(100.0, 60.0), (160.0, 60.0)]:
        hand.act(Move(do="move", dx=corner[0] - hand.at[0], dy=corner[1] - hand.at[1]))
        hand.act(Put(do="put"))
        hand.act(Put(do="put"))
    assert len(hand.state().points) == 2
    hand.act(Put(do="put", bend=True))
    assert [mark.bend for mark in hand.marks] == [False, True], "the last word on it counts"
    with pytest.raises(InputError, match="encloses nothing"):
        hand.act(Finish(do="finish", closed=True, kind=Kind.WINDOW))
    hand.act(Finish(do="finish", closed=True, kind=Kind.ROOF_LINE))
    assert not desk.tracing.tracing.items[-1].is_area


def test_an_arc_by_hand_is_a_circle_through_its_three_points(desk: Desk) -> None:
    from limewash.geometry.path_measure import points_at
    from limewash.studio.hand_shapes import Mark, segments_of
    from limewash.studio.wire import to_traced

    segments = segments_of([Mark((10.0, 50.0)), Mark((40.0, 20.0), bend=True), Mark((70.0, 50.0))])
    path = to_traced(TracedPath(id="a", closed=False, segments=list(segments)), (960, 720)).path
    found = np.vstack([points_at(s, np.linspace(0, 1, 50)) for s in path.segments])
    np.testing.assert_allclose(np.hypot(*(found - (40.0, 50.0)).T), 30.0, atol=30.0 * 5e-6)
    assert found[:, 1].min() == pytest.approx(20.0, abs=1e-3)


def test_a_held_corner_moves_by_quarter_pixels_and_is_one_step(desk: Desk) -> None:
    hand = desk.hand
    corner = to_projector([(260.0, 300.0)])[0]
    hand.act(Move(do="move", dx=corner[0] - hand.at[0] + 5, dy=corner[1] - hand.at[1]))
    hand.act(Plain(do="hold"))
    assert hand.held is not None and hand.held.path_id == "window-1"
    for _ in range(3):
        hand.act(Nudge(do="nudge", dx=0.25, dy=0.0))
    hand.act(Plain(do="let-go"))
    path = next(p for p in desk.tracing.preview().paths if p.id == "window-1")
    assert np.linalg.norm(np.array(path.points) - (corner + np.array([0.75, 0.0])), axis=1).min() < 0.05
    state = desk.tracing.state()
    desk.tracing.undo(state.revision)
    assert desk.tracing.state().can_undo is None


def test_without_a_camera_the_photo_is_the_projectors_picture(tmp_path: Path) -> None:
    from limewash.project.folder import create_project
    from limewash.project.models import House, Projector, Rig
    from limewash.studio.ground import make_by_eye

    project = create_project(tmp_path / "eye", House(name="x", rig=(Rig(projector=Projector(size=PROJECTOR)),)))
    make_by_eye(project)
    desk = Desk(Recent(tmp_path / "recent.json"))
    desk.open(project.root)
    try:
        desk.tracing.add(line("sill", (100.0, 100.0), (200.0, 130.0)))
        path = desk.tracing.preview().paths[0]
        np.testing.assert_allclose(path.points[0], (100.0, 100.0), atol=0.02)
        np.testing.assert_allclose(path.points[-1], (200.0, 130.0), atol=0.02)
    finally:
        desk.close()


def test_a_form_is_refused_at_its_fields_and_saved_with_its_comments(desk: Desk, root: Path) -> None:
    file = root / "house.toml"
    file.write_text(file.read_text() + "\n# the lamp was changed in May\n")
    desk.look()
    state = desk.house.state()
    wrong = {**state.house, "facade": {"width_m": -1, "height_m": 6}}
    with pytest.raises(FaultyFormError) as caught:
        desk.house.change(HouseChange(revision=state.revision, house=wrong))
    assert caught.value.where == "facade.width_m"
    right = {**state.house, "facade": {"width_m": "39 ft 4 in", "height_m": 6}}
    desk.house.change(HouseChange(revision=state.revision, house=right))
    desk.save()
    assert "# the lamp was changed in May" in file.read_text()
    assert desk.project.house.facade is not None
    assert desk.project.house.facade.width_m == pytest.approx(39.3333 * 0.3048, abs=1e-3)
    with pytest.raises(ConflictError):
        desk.house.change(HouseChange(revision=state.revision - 1, house=right))


def test_settling_makes_another_scan_and_leaves_the_filmed_one_alone(desk: Desk, root: Path) -> None:
    filmed = (root / "scans" / "scan-1" / "correspondence.npz").read_bytes()
    settle = desk.settle
    for n, place in enumerate([(100.0, 60.0), (500.0, 70.0), (480.0, 300.0), (90.0, 290.0)]):
        state = settle.add(NewCheckPoint(revision=settle.state().revision, map_px=place))
        moved = (place[0] + 3.0, place[1] - 2.0)
        settle.change(f"point {n + 1}", MovedCheckPoint(revision=state.revision, to_px=moved))
    before = np.array(next(p for p in settle.state().before if p.id == "roof").points)
    after = np.array(next(p for p in settle.state().paths if p.id == "roof").points)
    np.testing.assert_allclose(after - before, np.broadcast_to((3.0, -2.0), before.shape), atol=0.02)
    desk.keep_settled()
    assert desk.project.scan_folder().name == "scan-1-settled"
    assert (root / "scans" / "scan-1" / "correspondence.npz").read_bytes() == filmed
    new = load_correspondence(root / "scans" / "scan-1-settled" / "correspondence.npz")
    old = load_correspondence(root / "scans" / "scan-1" / "correspondence.npz")
    np.testing.assert_allclose(new.sample([(203.0, 98.0)]), old.sample([(200.0, 100.0)]), atol=0.01)
    # The check points are those of the filmed scan still, and can be gone on with.
    assert desk.settle.state().scan == "scan-1"
    assert desk.settle.state().kept


def test_recent_projects_survive_and_a_damaged_list_is_empty(tmp_path: Path) -> None:
    root = make_project(tmp_path / "h").root
    recent = Recent(tmp_path / "s" / "recent.json")
    recent.add(root, "House")
    recent.add(tmp_path / "gone", "Gone")
    assert [item.name for item in recent.projects()] == ["House"]
    (tmp_path / "s" / "recent.json").write_text("{not json")
    assert recent.projects() == []


def test_a_change_that_names_a_path_twice_or_an_unknown_one_changes_nothing(desk: Desk) -> None:
    state = desk.tracing.state()
    with pytest.raises(InputError, match="no path 'rof'; did you mean 'roof'"):
        desk.tracing.change(Change(revision=state.revision, remove=["rof"]))
    with pytest.raises(InputError, match="twice"):
        desk.tracing.change(Change(revision=state.revision, put=[line("roof", (1, 1), (9, 9))], remove=["roof"]))
    assert desk.tracing.state() == state
