"""The whole tracing of both virtual houses through a noisy scan, against where every edge truly is."""

import numpy as np
import pytest
from flat_scene import noisy

from limewash.facade.map import build_map
from limewash.facade.transfer import transfer
from limewash.world.edges import edge_accuracy
from limewash.world.virtual import HOUSES, load_world

SIZE = (960, 540)


@pytest.mark.slow
@pytest.mark.parametrize("house", HOUSES)
def test_every_edge_of_a_house_lands(house: str) -> None:
    """Exact photo points in; 0.3 px noise and 1 % outliers on the true correspondence."""
    world = load_world(house, camera_size=SIZE, projector_size=SIZE)
    scan = noisy(world.truth(), noise_px=0.3, outliers=0.01)
    found = edge_accuracy(build_map(transfer(world.tracing(), scan), SIZE), world.features())
    print(f"{house}: edges land with RMSE {found.rmse_px:.3f}, worst {found.worst_px:.2f} projector px")  # noqa: T201
    assert np.isfinite(found.rmse_px)
    assert found.rmse_px <= 0.5, found.by_path
    assert found.worst_px <= 2.0, found.by_path
