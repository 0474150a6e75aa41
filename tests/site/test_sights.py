"""The search's shadows against the ray caster that draws the virtual world."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from limewash.geometry.rays import ANY, STACK_DEPTH, build_tree, nearest
from limewash.project.models import House
from limewash.site.scene import WHOLE, Scene, build_scene
from limewash.site.search import stand_places
from limewash.site.sights import Lookout
from limewash.site.tables import outer_corners, section_table

Array = NDArray[np.float64]


def reached(scene: Scene, lens: Array, points: Array) -> NDArray[np.bool_]:
    """Whether a ray reaches each point past all that casts shadows, up to the thousandth next to the point."""
    found = []
    for _, blocker in scene.blockers:
        for piece in shapely.get_parts(shapely.constrained_delaunay_triangles(blocker.outline)):
            found.append(blocker.world(np.array(piece.exterior.coords)[:3]))
    tree, stack = build_tree(np.array(found)), np.empty(STACK_DEPTH, dtype=np.int64)
    return np.array([nearest(tree, *lens, *(p - lens), 0.999, ANY, stack)[0] < 0 for p in points])


def test_the_ways_that_are_free_are_those_that_rays_find(house: House) -> None:
    scene = build_scene(house)
    stands = stand_places(scene)
    sights = Lookout(scene, stands).sights(section_table(WHOLE, scene))
    rows = np.random.default_rng(8).choice(len(stands), 25, replace=False)
    ours, theirs = [], []
    for row in rows:
        points = np.concatenate([sights.section.samples[:, :3], sights.eyes])
        ours.append(np.concatenate([sights.free[row], sights.eyes_free[row]]))
        theirs.append(reached(scene, stands[row], points))
    assert (np.array(ours) == np.array(theirs)).all()
    assert 0.01 < 1.0 - np.mean(ours) < 0.5


def test_one_stand_alone_is_judged_as_among_all(house: House) -> None:
    scene = build_scene(house)
    stands = stand_places(scene)
    sights = Lookout(scene, stands).sights(section_table(WHOLE, scene))
    projector = house.rig[0].projector
    every = sights.judge(projector, scene.ambient_lx)
    for index in (0, len(stands) // 2, len(stands) - 1):
        assert (sights.at(index).judge(projector, scene.ambient_lx) == every[index]).all()


def test_outer_corners_bound_all_the_others() -> None:
    rng = np.random.default_rng(3)
    cube = np.array([(x, y, z) for x in (0, 1) for y in (0, 2) for z in (0, 3)], dtype=float)
    inner = rng.uniform((0.1, 0.1, 0.1), (0.9, 1.9, 2.9), (40, 3))
    kept = outer_corners(np.concatenate([inner, cube]))
    assert {tuple(corner) for corner in kept} == {tuple(corner) for corner in cube}
    flat = outer_corners(np.concatenate([inner, cube]) * (1.0, 1.0, 0.0))
    assert {tuple(corner) for corner in flat} == {(x, y, 0.0) for x in (0.0, 1.0) for y in (0.0, 2.0)}
