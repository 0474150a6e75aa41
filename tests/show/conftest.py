from __future__ import annotations

import pytest
from invented_house import invented_map, invented_wall

from limewash.show.fields import Fields


@pytest.fixture(scope="session")
def fields() -> Fields:
    """The invented house at 480 x 270."""
    return Fields(invented_map(), invented_wall())
