"""The painted house traced from nothing in a real browser: what was found well is accepted, the rest drawn."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from demo_tracing import distances_px, sides_of
from drawing import Drawing

from limewash.facade.tracing import Kind
from limewash.media.images import write_image
from limewash.project.folder import create_project
from limewash.project.models import House, Projector, Rig
from limewash.scan.correspondence import save_correspondence
from limewash.studio.desk import Desk
from limewash.studio.recent import Recent
from limewash.world.develop import develop
from limewash.world.virtual import load_world

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
            self.until(lambda n=before: len(self.paths) > n, f"a {kind.value}")


@pytest.fixture(scope="module")
def painted() -> tuple[Any, np.ndarray, Any]:
    """The house, its photo by the projector's light, and its exact scan."""
    world = load_world("painted")
    photo = develop(world.view().picture(np.full((1080, 1920), 255, np.uint8)))
    return world, photo, world.truth()


@pytest.fixture
def desk(painted: Any, tmp_path: Path) -> Iterator[Desk]:
    """With nothing traced yet; the fixture `studio` serves it."""
    _, photo, scan = painted
    rig = Rig(projector=Projector(size=(1920, 1080)))
    project = create_project(tmp_path / "house", House(name="Painted", rig=(rig,)))
    folder = project.root / "scans" / "scan-1"
    folder.mkdir(parents=True)
    write_image(folder / "photo.png", photo)
    save_correspondence(folder / "correspondence.npz", scan)
    made = Desk(Recent(tmp_path / "recent.json"))
    made.open(project.root)
    yield made
    made.close()


@pytest.mark.slow
def test_the_house_is_traced_with_few_clicks(painted: Any, studio: Any, browser: Browser) -> None:
    """The walls of the main front and of the dormer are left out: what is traced of them has no edge in the photo."""
    world, photo, scan = painted
    features = {f.id: f for f in world.features()}
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.goto(studio.address + "/trace")
    person = Person(page, studio)

    def corner(name: str, n: int) -> np.ndarray:
        return world.camera.project(features[name].edges[n].at(0.0))

    def end(name: str, n: int) -> np.ndarray:
        return world.camera.project(features[name].edges[n].at(1.0))

    person.press("j")
    page.wait_for_selector(".found:not([hidden])", timeout=120_000)
    person.press("x")  # none but those that lie well
    done = set()
    for proposal in page.request.get(studio.address + "/api/trace/proposals").json()["proposals"]:
        name = nearest_feature(proposal["path"], features)
        if name in LIE_WELL and name not in done:
            done.add(name)
            first = proposal["path"]["segments"][0]
            person.click(*np.mean([first["start"], first["end"]], axis=0))
            person.count += 1
    person.press("Enter", "g")  # nothing shall catch the pointer but the photo's edges
    person.until(lambda: len(person.paths) == len(done), "accepted")

    def rectangles(kind: Kind, names: list[str]) -> None:
        left = [name for name in names if name not in done]
        if left:
            person.draw(kind, "r", [[corner(name, 0), corner(name, 2)] for name in left])

    rectangles(
        Kind.WINDOW,
        [f.id for f in features.values() if f.kind is Kind.WINDOW and len(f.edges) == 4 and "round" not in f.id],
    )
    rectangles(Kind.DOOR, ["front-door"])
    rectangles(Kind.GARAGE, ["garage-door"])
    rectangles(Kind.TRIM, ["porch-beam"])
    rectangles(Kind.POST, [f"porch-post-{n}" for n in (1, 2, 3, 4)])
    rectangles(Kind.WALL, ["wing-wall"])
    if "half-round-window" not in done:
        arch = features["half-round-window"].edges[2]
        person.draw(
            Kind.WINDOW,
            "h",
            [[corner("half-round-window", 0), corner("half-round-window", 1), world.camera.project(arch.at(0.5))]],
        )
    lines = [[corner(name, n) for n in range(len(features[name].edges))] + [end(name, -1)]
             for name in (f.id for f in features.values() if f.kind is Kind.ROOF_LINE) if name not in done]  # fmt: skip
    person.draw(Kind.ROOF_LINE, "l", lines, open_end=True)
    person.draw(
        Kind.STEP, "l", [[corner(f"porch-step-{n}", 0), end(f"porch-step-{n}", 0)] for n in (2, 3)], open_end=True
    )
    page.close()

    kinds = tuple(kind for kind in KEYS if kind not in (Kind.WALL, Kind.ROOF_LINE))
    sides = sides_of(world, photo)
    off = distances_px(studio.desk.tracing.tracing, scan, sides, kinds)
    rmse = float(np.sqrt((off**2).mean()))
    told = f"{person.count} interactions, {len(person.paths)} paths, RMSE {rmse:.2f}, median {np.median(off):.2f} px"
    print(f"painted: {told}")  # noqa: T201
    assert person.count < 60, told
    assert rmse <= 1.0, told


LIE_WELL = ("lower-right-window", "front-door", "main-roof-line")
"""What a person sees to lie well among what was found; the rest is refused and drawn."""


def nearest_feature(path: Any, features: dict[str, Any]) -> str:
    middle = np.mean([s["start"] for s in path["segments"]], axis=0)
    alike = [f for f in features.values() if f.kind.value == path["kind"]]
    return min(alike, key=lambda f: np.hypot(*(np.mean([s.start for s in f.camera.segments], axis=0) - middle))).id
