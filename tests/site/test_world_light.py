"""The site's figures on both virtual houses against the light that is ray-traced there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from limewash.light.colour import LUMA_BT709
from limewash.project.models import House as ProjectHouse
from limewash.site.light_maps import illuminance_lx
from limewash.site.placement import PartResult, Placement, check_rig
from limewash.site.scene import build_scene
from limewash.site.search import search
from limewash.world.model import HOUSES, House, Material, read_house
from limewash.world.sketch import facade_of, mean_reflectance, rig_of, site_of
from limewash.world.truth import Hits, cast
from limewash.world.virtual import VirtualHouse

VIEW = (480, 270)


def described(name: str, house: House) -> ProjectHouse:
    """What the owner of a virtual house would write into `house.toml`."""
    return ProjectHouse(name=name, facade=facade_of(house), site=site_of(house), rig=(rig_of(house),))


@dataclass(frozen=True)
class Traced:
    """One house: what we reckon, and what the world's caster finds at the camera's pixels."""

    placement: Placement
    luminance: NDArray[np.float64]
    hits: Hits

    def both_lit(self, part: PartResult) -> NDArray[np.bool_]:
        """Pixels that see the plain wall of a part where both say that there is light."""
        wall, points = part.surface, self.hits.position_m
        uv = wall.plane(points)
        on_wall = np.abs(wall.height_above(points)) < 0.003
        on_wall &= (self.hits.normal @ wall.normal > 0.999) & self.hits.diffuse
        inside = shapely.contains_xy(part.seen.plane.buffer(-0.02), uv[:, 0], uv[:, 1])
        return on_wall & inside & self.hits.free & (self.luminance > 0.0)


def trace(name: str, house: House) -> Traced:
    project = described(name, house)
    world = VirtualHouse(house)
    view = world.view(1, VIEW)
    white = view.picture(np.ones((world.projector.size[1], world.projector.size[0]), dtype=np.float32))
    columns, rows = np.meshgrid(np.arange(VIEW[0]), np.arange(VIEW[1]))
    pixels = np.stack([columns, rows], axis=-1).reshape(-1, 2).astype(np.float64)
    return Traced(
        placement=check_rig(build_scene(project), project.rig[0]),
        luminance=np.asarray((white - view.ambient) @ np.asarray(LUMA_BT709), dtype=np.float64).ravel(),
        hits=cast(world.scene, view.camera, pixels, world.projector.position_m),
    )


@pytest.fixture(scope="module", params=HOUSES)
def painted_flat(request: pytest.FixtureRequest) -> Traced:
    """A virtual house whose walls are painted in one flat colour: no joints, no boards, no grain."""
    house = read_house(request.param)
    flat = {
        name: material if material.kind in ("glass", "room", "leaf") else Material(colour=material.colour)
        for name, material in house.materials.items()
    }
    return trace(request.param, house.model_copy(update={"materials": flat}))


@pytest.fixture(scope="module", params=HOUSES)
def as_built(request: pytest.FixtureRequest) -> Traced:
    """A virtual house with its real boards and bricks."""
    return trace(request.param, read_house(request.param))


def test_luminance_agrees_point_by_point_on_flat_paint(painted_flat: Traced) -> None:
    compared = 0
    for part in painted_flat.placement.parts:
        both = painted_flat.both_lit(part)
        points = painted_flat.hits.position_m[both]
        ours = illuminance_lx(painted_flat.placement.device, painted_flat.placement.output, points, part.surface.normal)
        theirs = painted_flat.luminance[both] * np.pi / part.surface.reflectance
        # The reflectance of the sketch has three digits; the light itself agrees to the last ones.
        assert theirs == pytest.approx(ours, rel=6e-3)
        compared += int(both.sum())
    assert compared > 5000


def test_light_on_the_wall_agrees_within_two_percent_as_built(as_built: Traced) -> None:
    # All the lit wall that the phone sees, part by part: fronts, gables, roof edges and slopes.
    compared = []
    for part in as_built.placement.parts:
        both = as_built.both_lit(part)
        if both.sum() < 100:
            continue
        points = as_built.hits.position_m[both]
        light = illuminance_lx(as_built.placement.device, as_built.placement.output, points, part.surface.normal)
        ours, theirs = float(light.sum()) * part.surface.reflectance / np.pi, float(as_built.luminance[both].sum())
        assert ours == pytest.approx(theirs, rel=0.02), part.surface.name
        compared.append((ours, theirs))
    assert len(compared) >= 6
    ours, theirs = np.sum(compared, axis=0)
    assert ours == pytest.approx(theirs, rel=0.01)


def test_lit_and_unlit_wall_agree(as_built: Traced) -> None:
    # The sketch has bushes and the porch as boxes; their shadows' edges are all that may differ.
    for part in as_built.placement.parts:
        wall, points = part.surface, as_built.hits.position_m
        uv = wall.plane(points)
        on_wall = (np.abs(wall.height_above(points)) < 0.003) & as_built.hits.diffuse
        on_wall &= shapely.contains_xy(wall.shape.buffer(-0.02), uv[:, 0], uv[:, 1])
        if on_wall.sum() < 200:
            continue
        ours = shapely.contains_xy(part.seen.plane, uv[:, 0], uv[:, 1])[on_wall]
        theirs = (as_built.hits.free & (as_built.luminance > 0.0))[on_wall]
        assert (ours == theirs).mean() > 0.97, part.surface.name


@pytest.mark.parametrize("name", HOUSES)
def test_lumens_on_the_front_agree_with_rays_from_the_projector(name: str) -> None:
    # Every pixel of the panel carries the same light: count the pixels whose rays meet a part first. The sketch
    # leaves out rails, sashes and slats, which take some of it.
    house = read_house(name)
    project = described(name, house)
    placement = check_rig(build_scene(project), project.rig[0])
    world = VirtualHouse(house)
    width, height = world.projector.size
    columns, rows = np.meshgrid(np.arange(2, width, 6), np.arange(2, height, 6))
    pixels = np.stack([columns, rows], axis=-1).reshape(-1, 2).astype(np.float64)
    hits = cast(world.scene, world.projector, pixels, world.camera.position_m)
    theirs = 0.0
    for part in placement.parts:
        uv = part.surface.plane(hits.position_m)
        # Casings and boards stand a little forward, doors a little back.
        above = part.surface.height_above(hits.position_m)
        near = (above > -0.3) & (above < 0.15)
        on_part = near & hits.diffuse & shapely.contains_xy(part.surface.shape, uv[:, 0], uv[:, 1])
        theirs += float(on_part.mean()) * placement.output.light_lm
    assert sum(part.light_lm for part in placement.parts) == pytest.approx(theirs, rel=0.02)


@pytest.mark.parametrize("name", HOUSES)
def test_the_search_finds_stands_for_a_virtual_house(name: str) -> None:
    house = described(name, read_house(name))
    data = house.model_dump(mode="json", exclude_none=True)
    data["site"]["search"] = {
        "step_m": 0.75,
        "projectors": ["standard", "short throw", "laser"],
        "need_contrast": 7,
        "need_coverage": 0.7,
    }
    house = ProjectHouse.model_validate(data)
    scene = build_scene(house)
    result = search(house, scene)
    assert result.best[0].meets
    exact = check_rig(scene, result.best[0].rig)
    assert exact.lit_m2 > 0.0


def test_mean_reflectance_of_flat_paint_is_its_colour() -> None:
    # sRGB grey 188 is 0.5 in linear light (IEC 61966-2-1), from wherever the light comes.
    assert mean_reflectance(Material(colour="#bcbcbc")) == pytest.approx(0.503, abs=1e-3)
    assert mean_reflectance(Material(colour="#bcbcbc"), (2.0, -1.0, 1.0)) == pytest.approx(0.503, abs=1e-3)


def test_boards_that_lean_to_the_light_give_more_of_it_back() -> None:
    # A face turned by a towards light that comes at b to the wall gets cos(b - a) / cos(b) of the wall's (Lambert).
    lean, steep = 0.1, np.radians(50.0)
    board = Material(kind="courses", colour="#bcbcbc", unit_m=(1.0, 0.15), lean=lean)
    for sign in (1.0, -1.0):
        light = (0.0, sign * np.sin(steep), np.cos(steep))
        expected = 0.503 * np.cos(steep - sign * np.arctan(lean)) / np.cos(steep)
        assert mean_reflectance(board, light) == pytest.approx(expected, rel=2e-3)
