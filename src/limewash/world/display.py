"""What player and projector make of a video's code values on their way to the wall."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limewash.light.colour import decode_bt1886
from limewash.world.view import Picture, View

_LIGHT = decode_bt1886(np.arange(256) / 255.0).astype(np.float32)

Codes = NDArray[np.uint8]


@dataclass(frozen=True)
class Chain:
    """What lies between a video file and the projector's panel. By default nothing: pixel for pixel.

    Attributes
    ----------
    scale : (float, float)
        Growth of the picture about the panel's middle, along x and y; what grows over the rim is lost. [-]
    keystone : float
        Share of its width by which a keystone correction narrows the picture's upper edge. [-]
    mirrored, upside_down : bool
        Rear projection and ceiling mode left on.
    defocus_px : float
        Standard deviation of the projector lens's blur. [projector px]
    bounce : float
        Share of the light on the house that reaches its surfaces a second time. [-]
    """

    scale: tuple[float, float] = (1.0, 1.0)
    keystone: float = 0.0
    mirrored: bool = False
    upside_down: bool = False
    defocus_px: float = 0.0
    bounce: float = 0.0

    def to_panel(self, size: tuple[int, int]) -> NDArray[np.float64]:
        """Homography (3, 3) from the video's pixels to the panel's, both of `size` (width, height)."""
        width, height = size
        to_middle = np.array([[1.0, 0.0, -0.5 * (width - 1)], [0.0, 1.0, -0.5 * (height - 1)], [0.0, 0.0, 1.0]])
        turn_x = -1.0 if self.mirrored != self.upside_down else 1.0
        turn_y = -1.0 if self.upside_down else 1.0
        grown = np.diag([turn_x * self.scale[0], turn_y * self.scale[1], 1.0])
        # With the lower edge as it is, the upper one shrinks by the share asked for.
        lean = self.keystone / (2.0 - self.keystone)
        keystone = np.array([[1.0 - lean, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, -lean / (0.5 * height), 1.0]])
        keystone[1, 1] = 1.0 - lean
        return np.asarray(np.linalg.inv(to_middle) @ keystone @ grown @ to_middle)

    def on_panel(self, frame: Codes) -> Codes:
        """The panel's codes for a frame of the video, (H, W, 3); a scaler interpolates codes, not light."""
        size = frame.shape[1], frame.shape[0]
        matrix = self.to_panel(size)
        if np.allclose(matrix, np.eye(3)):
            return frame
        warped = cv2.warpPerspective(frame, matrix, size, flags=cv2.INTER_LINEAR, borderValue=(0.0, 0.0, 0.0))
        return np.asarray(warped, dtype=np.uint8)


def under_video(view: View, chain: Chain | None = None) -> Callable[[Codes], Picture]:
    """The scene while a video plays, frame by frame.

    Parameters
    ----------
    view : View
    chain : Chain, optional
        Player and projector; by default they show the video pixel for pixel, in focus.

    Returns
    -------
    picture_of : callable
        Takes a frame, uint8 (H, W, 3) full-range R'G'B'; gives the picture in cd/m2, float32 (h, w, 3). The projector
        is taken to be in its plain video mode: Rec. ITU-R BT.1886.
    """
    chain = chain or Chain()

    def picture_of(frame: Codes) -> Picture:
        return view.picture(_LIGHT[chain.on_panel(frame)], defocus_px=chain.defocus_px, bounce=chain.bounce)

    return picture_of
