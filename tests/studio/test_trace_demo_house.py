"""Both virtual houses traced from nothing in a real browser: what was found well is accepted, the rest drawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from demo_tracing import distances_px, sides_of
from drawing import Drawing
from waiting import until

from limewash.facade.tracing import Kind
from limewash.media.images import write_image
from limewash.project.folder import create_project
from limewash.project.models import House, Projector, Rig
from limewash.scan.correspondence import Correspondence, save_correspondence
from limewash.studio.desk import Desk
from limewash.studio.recent import Recent
from limewash.world.develop import develop
from limewash.world.features import Feature, Round
from limewash.world.virtual import HOUSES, VirtualHouse, load_world

if TYPE_CHECKING:
    from playwright.sync_api import Browser

KEYS = {Kind.WINDOW: "1", Kind.DOOR: "2", Kind.GARAGE: "3", Kind.ROOF_LINE: "4", Kind.WALL: "5", Kind.POST: "6",
        Kind.TRIM: "7", Kind.STEP: "8"}  # fmt: skip
HAND_PX = 1.0
"""Spread of a click around where it was meant, along x and y. [photo px]"""


class Person(Drawing):
    """Counts every click and key."""

    def __init__(self, page: Any, studio: Any) -> None:
        super().__init__(page, studio)
        self.count = 0
        self.tool = ""
        self.hand = np.random.default_rng(4)

    def press(self, *keys: str) -> None:
        self.key(*keys)
        self.count += len(keys)

    def point(self, at: Any, *, twice: bool = False) -> None:
        x, y = np.asarray(at) + self.hand.normal(0.0, HAND_PX, 2)
        self.click(float(x), float(y), click_count=2 if twice else 1)
        self.count += 1

    def draw(self, kind: Kind, tool: str, shapes: list[list[Any]], *, open_end: bool = False) -> None:
        """One kind with one tool: the keys once, then the points of each shape."""
        if tool != self.tool:
            self.press(tool)
        self.tool = tool
        self.press(KEYS[kind])
        for points in shapes:
            before = len(self.paths)
            for n, at in enumerate(points):
                self.point(at, twice=open_end and n == len(points) - 1)
            until(lambda n=before: len(self.paths) > n, f"a {kind.value}")


LIE_WELL = {
    "painted": ("lower-right-window", "front-door", "main-roof-line"),
    "brick": ("upper-middle-window", "garage-roof-line", "bay-roof-line"),
}
"""What a person sees to lie well among what was found; the rest is refused and drawn."""
WALLS = {"painted": ["wing-wall"], "brick": []}
"""The other walls are left out: most of what is traced of them has no edge in the photo."""


@dataclass(frozen=True)
class Place:
    """A house, its photo by the projector's light, and its exact scan."""

    name: str
    world: VirtualHouse
    photo: np.ndarray
    scan: Correspondence


@pytest.fixture(scope="module", params=HOUSES)
def place(request: pytest.FixtureRequest) -> Place:
    world = load_world(request.param)
    photo = develop(world.view().picture(np.full((1080, 1920), 255, np.uint8)))
    return Place(request.param, world, photo, world.truth())


@pytest.fixture
def desk(place: Place, tmp_path: Path) -> Iterator[Desk]:
    """With nothing traced yet; the fixture `studio` serves it."""
    rig = Rig(projector=Projector(size=(1920, 1080)))
    project = create_project(tmp_path / "house", House(name=place.name, rig=(rig,)))
    folder = project.root / "scans" / "scan-1"
    folder.mkdir(parents=True)
    write_image(folder / "photo.png", place.photo)
    save_correspondence(folder / "correspondence.npz", place.scan)
    made = Desk(Recent(tmp_path / "recent.json"))
    made.open(project.root)
    yield made
    made.close()


@pytest.mark.slow
def test_a_house_is_traced_with_few_clicks(place: Place, studio: Any, browser: Browser) -> None:
    features = {f.id: f for f in place.world.features()}
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.goto(studio.address + "/trace")
    person = Person(page, studio)
    done = accept_some(person, features, LIE_WELL[place.name])
    person.press("g")  # nothing shall catch the pointer but the photo's edges
    draw_the_rest(person, place, {name: f for name, f in features.items() if name not in done})
    before = person.paths
    person.press("s")  # all together once more
    until(lambda: person.paths != before, "settled together", seconds=60.0)
    page.close()

    kinds = tuple(kind for kind in KEYS if kind is not Kind.WALL)
    sides = sides_of(place.world, place.photo)
    off = distances_px(studio.desk.tracing.tracing, place.scan, sides, kinds)
    rmse = float(np.sqrt((off**2).mean()))
    told = f"{person.count} interactions, {len(person.paths)} paths, RMSE {rmse:.2f}, median {np.median(off):.2f} px"
    print(f"{place.name}: {told}")  # noqa: T201
    assert person.count < 60, told
    assert rmse <= 1.0, told


def accept_some(person: Person, features: dict[str, Any], well: tuple[str, ...]) -> set[str]:
    """Look at what is found, and take of it only what lies well."""
    person.press("j")
    person.page.wait_for_selector(".found:not([hidden])", timeout=120_000)
    person.press("x")  # none but those that are chosen now
    done: set[str] = set()
    for proposal in person.page.request.get(person.studio.address + "/api/trace/proposals").json()["proposals"]:
        name = nearest_feature(proposal["path"], features)
        if name in well and name not in done:
            done.add(name)
            first = proposal["path"]["segments"][0]
            person.click(*np.mean([first["start"], first["end"]], axis=0))
            person.count += 1
    person.press("Enter")
    until(lambda: len(person.paths) == len(done), "accepted")
    return done


def draw_the_rest(person: Person, place: Place, left: dict[str, Feature]) -> None:
    """Rectangles by two corners, half-rounds by their ends and top, lines point by point; kind by kind."""
    camera = place.world.camera

    def corners(feature: Feature, *which: int) -> list[np.ndarray]:
        return [camera.project(feature.edges[n].at(0.0)) for n in which]

    def of(kind: Kind) -> list[Feature]:
        walls = WALLS[place.name]
        return [f for f in left.values() if f.kind is kind and (kind is not Kind.WALL or f.id in walls)]

    rounds = [f for f in left.values() if any(isinstance(edge, Round) for edge in f.edges)]
    for kind in (Kind.WINDOW, Kind.DOOR, Kind.GARAGE, Kind.TRIM, Kind.POST, Kind.WALL):
        shapes = [corners(f, 0, 2) for f in of(kind) if f not in rounds]
        if shapes:
            person.draw(kind, "r", shapes)
    arches = [(f, next(edge for edge in f.edges if isinstance(edge, Round))) for f in rounds]
    person.draw(Kind.WINDOW, "h", [[*corners(f, 0, 1), camera.project(arch.at(0.5))] for f, arch in arches])
    for kind, unseen in ((Kind.ROOF_LINE, ()), (Kind.STEP, ("porch-step-1",) if place.name == "painted" else ())):
        lines = [f for f in of(kind) if f.id not in unseen]
        ends = [[*corners(f, *range(len(f.edges))), camera.project(f.edges[-1].at(1.0))] for f in lines]
        person.draw(kind, "l", ends, open_end=True)


def nearest_feature(path: Any, features: dict[str, Any]) -> str:
    middle = np.mean([s["start"] for s in path["segments"]], axis=0)
    alike = [f for f in features.values() if f.kind.value == path["kind"]]
    return min(alike, key=lambda f: np.hypot(*(np.mean([s.start for s in f.camera.segments], axis=0) - middle))).id
