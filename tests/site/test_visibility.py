"""What an eye sees of a surface, against the world's ray caster, trimesh and shapely."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from numpy.typing import NDArray

from limewash.geometry.device import Device
from limewash.geometry.rays import ANY, STACK_DEPTH, build_tree, nearest
from limewash.project.models import House
from limewash.site.scene import Scene, build_scene
from limewash.site.surface import Surface, flat_surface
from limewash.site.visibility import frame_shape, seen, seen_by_eye

Array = NDArray[np.float64]


def projector(house: House) -> Device:
    device = house.rig[0].device()
    assert device is not None
    return device


def triangles_of(scene: Scene) -> Array:
    """Every thing that casts shadows, as triangles, by shapely's constrained triangulation."""
    found = []
    for _, blocker in scene.blockers:
        for piece in shapely.get_parts(shapely.constrained_delaunay_triangles(blocker.outline)):
            found.append(blocker.world(np.array(piece.exterior.coords)[:3]))
    return np.array(found)


def reached(scene: Scene, lens: Array, points: Array) -> NDArray[np.bool_]:
    """Whether a ray from the lens reaches each point, by the ray caster that the virtual world uses."""
    tree = build_tree(triangles_of(scene))
    stack = np.empty(STACK_DEPTH, dtype=np.int64)
    free = []
    for p in points:
        d = p - lens
        hit, *_ = nearest(tree, *lens, *d, 1.0 - 1e-5, ANY, stack)
        free.append(hit < 0)
    return np.array(free)


def test_lit_and_shaded_points_agree_with_the_ray_caster(house: House) -> None:
    scene, device = build_scene(house), projector(house)
    rng = np.random.default_rng(4)
    for part in scene.parts:
        sight = seen(device, part, scene.blockers)
        left, bottom, right, top = part.outline.bounds
        uv = rng.uniform((left, bottom), (right, top), (3000, 2))
        uv = uv[shapely.contains_xy(part.shape, uv[:, 0], uv[:, 1])]
        # Points within a millimetre of an edge may fall on either side.
        edge = shapely.distance(sight.plane.boundary, shapely.points(uv)) < 1e-3
        uv = uv[~edge]
        points = part.world(uv)
        pixels = device.project(points)
        in_frame = shapely.contains_xy(frame_shape(device), pixels[:, 0], pixels[:, 1])
        ours = shapely.contains_xy(sight.plane, uv[:, 0], uv[:, 1])
        theirs = in_frame & reached(scene, device.position_m, points)
        assert (ours == theirs).all()
        assert 0.05 < ours.mean() < 1.0


def test_the_footprint_agrees_with_trimesh_lines_on_a_plane() -> None:
    device = Device.from_throw(
        (1920, 1080), throw_ratio=1.2, position_m=(2.0, 1.5, 9.0), yaw_rad=0.3, tilt_rad=0.15, roll_rad=0.05
    )
    corners = np.array([(-40.0, -20, 1.0), (40, -20, -3.0), (40, 30, -3.0), (-40, 30, 1.0)])
    slanted = flat_surface(corners, name="slanted")
    sight = seen(device, slanted, [])
    rays = device.rays(shapely.get_coordinates(frame_shape(device))[:-1])
    ends = np.stack([np.broadcast_to(device.position_m, rays.shape), device.position_m + 100 * rays])
    hits, valid = trimesh.intersections.plane_lines(slanted.origin_m, slanted.normal, ends)
    assert valid.all()
    expected = shapely.Polygon(slanted.plane(hits))
    assert sight.plane.symmetric_difference(expected).area < 1e-9 * expected.area


def test_a_post_casts_the_shadow_that_similar_triangles_say() -> None:
    # Lens 10 m off, a post 0.2 m wide half way: its shadow is 0.4 m wide on the wall.
    wall = flat_surface(np.array([(-5.0, 0, 0), (5, 0, 0), (5, 5, 0), (-5, 5, 0)]), name="wall")
    post = flat_surface(np.array([(-0.1, 0, 5), (0.1, 0, 5), (0.1, 9, 5), (-0.1, 9, 5)]), name="post")
    device = Device.from_throw((1920, 1080), throw_ratio=1.0, position_m=(0.0, 1.5, 10.0))
    sight = seen(device, wall, [("post", post)])
    assert set(sight.shadows) == {"post"}
    left, _, right, _ = sight.shadows["post"].bounds
    assert (left, right) == pytest.approx((-0.2, 0.2), abs=1e-9)
    lit = seen(device, wall, []).plane.area
    assert sight.plane.area == pytest.approx(lit - sight.shadows["post"].area)


def test_the_back_of_a_wall_is_never_seen() -> None:
    wall = flat_surface(np.array([(-5.0, 0, 0), (5, 0, 0), (5, 5, 0), (-5, 5, 0)]), name="wall")
    behind = Device.from_throw((1920, 1080), throw_ratio=1.0, position_m=(0.0, 1.5, -4.0))
    assert seen(behind, wall, []).plane.is_empty


def test_things_behind_the_lens_and_behind_the_wall_cast_no_shadow() -> None:
    wall = flat_surface(np.array([(-5.0, 0, 0), (5, 0, 0), (5, 5, 0), (-5, 5, 0)]), name="wall")
    device = Device.from_throw((1920, 1080), throw_ratio=1.0, position_m=(0.0, 1.5, 10.0))
    for z in (-1.0, 12.0):
        board = flat_surface(np.array([(-9.0, 0, z), (9, 0, z), (9, 9, z), (-9, 9, z)]), name="board")
        assert seen(device, wall, [("board", board)]).shadows == {}


def test_openings_take_no_light_but_stop_it(data: dict[str, Any], make: Callable[[dict[str, Any]], House]) -> None:
    scene = build_scene(make(data))
    wall = scene.parts[0]
    assert len(wall.panes) == 2
    assert wall.outline.area - wall.shape.area == pytest.approx(2 * 1.15 * 1.55)


def test_an_eye_beside_a_forward_part_does_not_see_round_it(house: House) -> None:
    scene = build_scene(house)
    wall = scene.parts[0]
    right_of_garage = np.array([12.5, 1.6, 4.0])
    from_there = seen_by_eye(right_of_garage, wall, scene.blockers)
    from_front = seen_by_eye(np.array([4.0, 1.6, 12.0]), wall, scene.blockers)
    corner = shapely.Point(7.5, 1.0)
    assert not from_there.covers(corner)
    assert from_front.covers(corner)


def test_a_surface_keeps_its_corners() -> None:
    corners = np.array([(7.6, 2.75, 0.4), (11.9, 2.75, 0.4), (11.9, 4.0, -1.4), (7.6, 4.0, -1.4)])
    roof: Surface = flat_surface(corners, name="roof")
    back = roof.world(shapely.get_coordinates(roof.outline)[:-1])
    assert back == pytest.approx(corners, abs=1e-9)
    assert roof.normal[2] > 0.0
    assert np.cross(roof.axes[0], roof.axes[1]) == pytest.approx(roof.axes[2], abs=1e-12)
