"""Clicks by hand on both virtual houses, settled on the photo, against where every edge truly is."""

import numpy as np
import pytest
from hand_clicks import apart, by_hand, front_of, settled

from limewash.world.virtual import HOUSES, load_world

HANDS = (500, 501, 502, 503)


@pytest.mark.slow
@pytest.mark.parametrize("house", HOUSES)
def test_clicks_by_hand_land_on_the_edges(house: str) -> None:
    """Two pixels of noise on every click. Over many hands 0.7 px is aimed at; one far click sways four of them."""
    front = front_of(load_world(house))
    drawn, done = [], []
    for seed in HANDS:
        clicked = by_hand(front, seed)
        drawn.append(apart(front, clicked).shown_px)
        done.append(apart(front, settled(front, clicked)).shown_px)
    before, after = np.concatenate(drawn), np.concatenate(done)
    rmse = float(np.sqrt((after**2).mean()))
    told = f"{house}: drawn {np.sqrt((before**2).mean()):.2f}, settled {rmse:.2f}, median {np.median(after):.2f}"
    assert np.sqrt((before**2).mean()) > 1.4, told  # the hand is not a steadier one than said
    assert np.median(after) < 0.2, told
    assert rmse < 0.75, told
