"""What the projector makes of a video's code values."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from limewash.light.colour import decode_bt1886
from limewash.world.view import Picture, View

_LIGHT = decode_bt1886(np.arange(256) / 255.0).astype(np.float32)


def under_video(view: View, *, defocus_px: float = 0.0) -> Callable[[NDArray[np.uint8]], Picture]:
    """The scene while a video plays, frame by frame.

    Parameters
    ----------
    view : View
    defocus_px : float
        Standard deviation of the projector lens's blur. [projector px]

    Returns
    -------
    picture_of : callable
        Takes a frame, uint8 (H, W, 3) full-range R'G'B'; gives the picture in cd/m2, float32 (h, w, 3). The projector
        is taken to be in its plain video mode: Rec. ITU-R BT.1886.
    """

    def picture_of(frame: NDArray[np.uint8]) -> Picture:
        return view.picture(_LIGHT[frame], defocus_px=defocus_px)

    return picture_of
