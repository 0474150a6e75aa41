"""House files, polygons cut into pieces (against shapely), and what the finished houses contain."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from bare import BOX, WALL, bare_house, small_world
from hypothesis import given, settings
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.light.colour import LUMA_BT709, decode_srgb
from limewash.light.materials import REFLECTANCES
from limewash.world.mesh import MeshBuilder, fill, half_disc, rectangle
from limewash.world.model import HOUSES, House, read_house
from limewash.world.openings import clear_outline, traced_outline
from limewash.world.scene import mesh_of
from limewash.world.virtual import load_world


def area(pieces: list[np.ndarray]) -> float:
    return float(sum(shapely.Polygon(piece).area for piece in pieces))


@settings(max_examples=40, deadline=None)
@given(
    peak=st.floats(0.0, 3.0), holes=st.lists(st.tuples(st.floats(0.4, 8.0), st.floats(0.3, 2.5)), max_size=3),
    radius=st.floats(0.1, 0.6),
)  # fmt: skip
def test_a_wall_with_holes_is_filled_exactly(peak: float, holes: list[tuple[float, float]], radius: float) -> None:
    outline = np.array([(0, 0), (10, 0), (10, 4), (5, 4 + peak), (0, 4)], dtype=float)
    windows = [rectangle((x, x + 0.3), (y, y + 0.7)) for x, y in holes]
    windows = [w for i, w in enumerate(windows) if not any(np.abs(w[0] - o[0]).max() < 1.1 for o in windows[:i])]
    windows.append(half_disc(9.2, 0.5, radius))
    apart = [w for w in windows[:-1] if not shapely.Polygon(w).intersects(shapely.Polygon(windows[-1]))]
    apart.append(windows[-1])
    pieces = fill(outline, apart)
    assert area(pieces) == pytest.approx(shapely.Polygon(outline, apart).area, rel=1e-7)
    for piece in pieces:
        assert shapely.Polygon(piece).is_valid


def test_faces_carry_their_size_in_metres() -> None:
    mesh = MeshBuilder()
    mesh.face([(1, 2, 0), (4, 2, 0), (4, 6, 0), (1, 6, 0)], "grey")
    built = mesh.build()
    np.testing.assert_allclose(np.ptp(built.texture_m.reshape(-1, 2), axis=0), (3.0, 4.0))
    np.testing.assert_allclose(built.across, [(1, 0, 0)] * 2)


@pytest.mark.parametrize("name", HOUSES)
def test_a_house_is_sound(name: str) -> None:
    mesh = mesh_of(read_house(name))
    assert np.isfinite(mesh.corners_m).all()
    edges = np.diff(mesh.corners_m, axis=1)
    areas = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    assert np.mean(areas < 1e-12) < 0.001
    np.testing.assert_allclose(np.linalg.norm(mesh.across, axis=1), 1.0, atol=1e-6)


@pytest.mark.parametrize("name", HOUSES)
def test_a_house_has_what_a_show_needs(name: str) -> None:
    house = read_house(name)
    windows = [window for block in house.blocks for window in block.windows]
    assert len(windows) >= 6
    assert any(window.shape == "half-round" for window in windows)
    assert any(block.doors for block in house.blocks)
    assert any(block.garages for block in house.blocks)
    depths = [block.front_z_m for block in house.blocks if block.garages]
    assert all(abs(z) > 1.0 for z in depths)  # set forward or back
    assert house.porches[0].posts_x_m
    assert house.lamps


@pytest.mark.parametrize(
    ("name", "material", "surface"),
    [("painted", "siding", "white paint"), ("painted", "trim", "white paint"), ("brick", "brick", "dark red")],
)
def test_paints_reflect_as_the_tables_say(name: str, material: str, surface: str) -> None:
    # Published reflectances hold within 0.1 (check-values 2.19, 2.20).
    paint = read_house(name).materials[material]
    colours = [colour for colour in (paint.colour, paint.second) if colour]
    linear = [decode_srgb([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]) for colour in colours]
    reflectance = float(np.mean(linear, axis=0) @ np.array(LUMA_BT709))
    assert reflectance == pytest.approx(REFLECTANCES[surface], abs=0.1)


def test_outlines_of_openings_nest() -> None:
    for block in read_house("painted").blocks:
        for opening in block.openings:
            clear, traced = (shapely.Polygon(f(opening)) for f in (clear_outline, traced_outline))
            assert traced.is_valid
            assert traced.buffer(1e-9).contains(clear)


@pytest.mark.parametrize("name", HOUSES)
def test_sizes_do_not_change_what_is_seen(name: str) -> None:
    small, large = small_world(name), load_world(name)
    corners = np.array([(-0.5, -0.5), (383.5, 215.5)])
    np.testing.assert_allclose(
        small.projector.rays(corners), large.projector.rays((corners + 0.5) * 5.0 - 0.5), atol=1e-12
    )


def changed(**changes: Any) -> dict[str, Any]:
    return {**bare_house(WALL, BOX).model_dump(), **changes}


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"blocks": [{**WALL, "wall": "gray"}]}, "unknown material 'gray'; did you mean 'grey'"),
        ({"blocks": [WALL, {**BOX, "id": "wall"}]}, "two parts have the id 'wall'"),
        ({"blocks": []}, "at least 1 item"),
        ({"materials": {"grey": {"colour": "#b4b4b4"}}}, "unknown material"),
        ({"materials": {"grey": {"colour": "grey"}}}, "should match pattern"),
        ({"colour": "red"}, "Extra inputs are not permitted"),
    ],
)
def test_a_wrong_house_says_what_is_wrong(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        House.model_validate(changed(**changes))


def test_a_half_round_window_must_be_half_as_high_as_wide() -> None:
    window = {
        "id": "w", "title": "W", "shape": "half-round", "casing": "grey", "frame": "grey",
        "middle_x_m": 5.0, "sill_y_m": 5.0, "width_m": 1.0, "height_m": 0.6,
    }  # fmt: skip
    with pytest.raises(ValueError, match="height_m = width_m / 2"):
        House.model_validate(changed(blocks=[{**WALL, "windows": [window]}]))


def test_an_unknown_house_names_the_nearest() -> None:
    with pytest.raises(InputError, match="unknown house 'brik'; did you mean 'brick'"):
        load_world("brik")


def test_a_missing_broken_or_wrong_file_is_told_apart(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_house(tmp_path / "none.toml")
    broken = tmp_path / "broken.toml"
    broken.write_text("name = ")
    with pytest.raises(InputError, match="not a TOML file"):
        read_house(broken)
    wrong = tmp_path / "wrong.toml"
    wrong.write_text('name = "x"\ntitle = "X"\n[projector]\nlumens = -5\n')
    with pytest.raises(InputError, match=r"wrong\.toml: "):
        read_house(wrong)
